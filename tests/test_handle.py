"""The handle's colour word, judged on plain colours whose names are published, and on what is no colour at all."""

from dataclasses import replace

import numpy as np
import pytest
from skimage.color import rgb2lab

from vision.find import Candidate
from vision.handle import LEAST_PX, HandleColour, handle_colour, handle_reading
from vision.nominal import COLOURS

# Named colours of the W3C's CSS Color Module Level 4 (from memory), 8-bit sRGB, that a person would call by the word.
NAMED = {
    "gold": ((255, 215, 0), "yellow"),
    "firebrick": ((178, 34, 34), "red"),
    "crimson": ((220, 20, 60), "red"),
    "dodgerblue": ((30, 144, 255), "blue"),
    "steelblue": ((70, 130, 180), "blue"),
    "forestgreen": ((34, 139, 34), "green"),
    "seagreen": ((46, 139, 87), "green"),
    "darkorchid": ((153, 50, 204), "purple"),
    "hotpink": ((255, 105, 180), "pink"),
    "grey": ((128, 128, 128), "grey"),
    "black": ((0, 0, 0), "black"),
    "whitesmoke": ((245, 245, 245), "white"),
}
SHAPE = (40, 60)


def linear(code):
    """Linear light of an 8-bit sRGB code (IEC 61966-2-1)."""
    c = np.asarray(code, dtype=float) / 255
    return np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)


def coloured(code, *, noise=0.002, glint=0.0, rim=0.0):
    """A plane picture, paper = 1, with a handle of one colour; shares of it are glints or dark rims."""
    draw = np.random.default_rng(3)
    mask = np.zeros(SHAPE, dtype=bool)
    mask[10:30, 15:50] = True
    relative = np.ones((*SHAPE, 3))
    relative[mask] = linear(code)
    lot = draw.uniform(size=SHAPE)
    relative[mask & (lot < glint)] = 1.4
    relative[mask & (lot > 1 - rim)] *= 0.2
    relative += draw.normal(0, noise, relative.shape)
    empty = np.zeros_like(mask)
    return relative.astype(np.float32), Candidate(mask, empty, mask, empty, (0, 0), cut=False)


@pytest.mark.parametrize("name", NAMED)
def test_published_colour_names(name):
    """A handle of a named colour gets the word that its name says, with noise, glints and dark rims on it."""
    code, word = NAMED[name]

    assert handle_colour(*coloured(code)).word == word
    assert handle_colour(*coloured(code, noise=0.02, glint=0.15, rim=0.1)).word == word


@pytest.mark.parametrize("name", NAMED)
def test_colour_measured_is_that_of_a_general_library(name):
    """L*, a*, b* of the handle are those that scikit-image gives for the same sRGB code."""
    code, _ = NAMED[name]
    expected = rgb2lab(np.array(code, dtype=float)[None, None] / 255)[0, 0]

    # The handle's own noise moves its median a little; an eye notices about 2.3 (from memory).
    assert np.linalg.norm(np.subtract(handle_colour(*coloured(code)).lab, expected)) < 0.5


@pytest.mark.parametrize("name", NAMED)
def test_shares_are_probabilities(name):
    """Shares cover the size colours, 'bleached' and 'other' and nothing else, and add up to one."""
    shares = handle_colour(*coloured(NAMED[name][0])).shares

    assert set(shares) <= {*COLOURS, "bleached", "other"}
    assert sum(shares.values()) == pytest.approx(1.0, abs=0.01)


def test_a_handle_out_of_the_frame_has_no_colour():
    """Without enough of the handle there is no word, no measured colour and no share."""
    relative, candidate = coloured((178, 34, 34))
    candidate.handle[:] = False
    candidate.handle[10, 15 : 15 + LEAST_PX // 2] = True

    assert handle_colour(relative, candidate) == HandleColour({}, None)
    assert handle_reading(HandleColour({}, None)).sizes == ()


def test_a_white_handle_on_white_paper_is_not_grey():
    """The plane's mask holds such a handle's shadowed rims alone; a band along the axis lies on the handle itself."""
    relative, candidate = coloured((255, 255, 255))
    ramp = np.linspace(0.8, 1.0, SHAPE[1])[None, :, None]
    relative = (relative * ramp).astype(np.float32)
    relative[10:12, 15:50] = relative[28:30, 15:50] = linear((150, 150, 150))
    candidate.handle[12:28] = False

    assert handle_colour(relative, candidate).word == "grey"
    assert handle_colour(relative, candidate, band(14, 26, 18, 46)).word == "white"


@pytest.mark.parametrize(("code", "rank", "word"), [((0, 0, 0), 2, "black"), ((0, 0, 0), 1, "white"), ((150, 150, 150), 2, "white")])
def test_a_band_beside_a_handle_that_its_colour_told_says_nothing(code, rank, word):
    """An axis that went astray leaves the handle sideways. Of a pale handle the mask may hold the shadow alone, so there the band tells."""
    relative, candidate = coloured(code)
    relative[30:, :] *= np.linspace(0.85, 1.0, SHAPE[1], dtype=np.float32)[None, :, None]
    candidate = replace(candidate, rank=rank)

    assert handle_colour(relative, candidate, band(27, 38, 18, 46)).word == word


def test_bare_paper_behind_a_wrong_front_has_no_colour():
    """Where the band holds nothing but paper no colour is told, least of all white."""
    relative, candidate = coloured((255, 255, 255))
    candidate.handle[:] = False
    relative[:] = 1.0 + np.random.default_rng(1).normal(0, 0.01, relative.shape)

    assert handle_colour(relative, candidate, band(14, 26, 18, 46)) == HandleColour({}, None)


@pytest.mark.parametrize("name", NAMED)
@pytest.mark.parametrize("share", [0.25, 0.4])
def test_a_faded_handle_never_wears_another_colour(name, share):
    """With a part of its colour gone to pale plastic (invented: a warm grey) a handle keeps its word, or is told by none."""
    code, word = NAMED[name]
    pale = linear((206, 193, 183))
    mixed = (1 - share) * linear(code) + share * pale
    relative, candidate = coloured((0, 0, 0))
    relative[10:30, 15:50] = mixed
    said = handle_colour(relative.astype(np.float32), candidate).word

    assert said in (word, None, "bleached") or (word, said) == ("black", "grey")


@pytest.mark.parametrize("name", NAMED)
@pytest.mark.parametrize("light", [(1.0, 0.8, 0.5), (0.7, 0.9, 1.2), (0.3, 0.3, 0.3), (1.1, 1.1, 1.1)])
def test_any_light_on_sheet_and_handle_alike(name, light):
    """Warm, cold, dim or bright: what is judged is the handle over the paper beside it (von Kries, each channel by itself)."""
    code, word = NAMED[name]
    relative, candidate = coloured(code)
    photo = relative * np.array(light)
    paper = np.median(photo[~candidate.whole], axis=0)

    assert handle_colour((photo / paper).astype(np.float32), candidate).word == word


def band(top, bottom, left, right):
    """Plane pixels (x, y) of a rectangle."""
    y, x = np.mgrid[top:bottom, left:right]
    return np.column_stack([x.ravel(), y.ravel()])


def test_between_two_colours_no_word_is_given():
    """A colour that two words claim about equally gets neither."""
    torn = HandleColour({"red": 0.5, "pink": 0.45, "other": 0.05}, (50.0, 50.0, 10.0))

    assert torn.word is None
    assert handle_reading(torn).colour is None


def test_the_word_carries_its_sizes():
    """A blue handle stands for 30, 60 and 120: two independent teaching tables (read)."""
    reading = handle_reading(handle_colour(*coloured(NAMED["steelblue"][0])))

    assert (reading.colour, reading.sizes) == ("blue", (30, 60, 120))
