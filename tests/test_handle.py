"""The handle's colour word, judged on plain colours whose names are published, and on what is no colour at all."""

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


def test_between_two_colours_no_word_is_given():
    """A colour that two words claim about equally gets neither."""
    torn = HandleColour({"red": 0.5, "pink": 0.45, "other": 0.05}, (50.0, 50.0, 10.0))

    assert torn.word is None
    assert handle_reading(torn).colour is None


def test_the_word_carries_its_sizes():
    """A blue handle stands for 30, 60 and 120: two independent teaching tables (read)."""
    reading = handle_reading(handle_colour(*coloured(NAMED["steelblue"][0])))

    assert (reading.colour, reading.sizes) == ("blue", (30, 60, 120))
