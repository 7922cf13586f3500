"""Why this name: clues in plain words, and ideal strips that have the outline that geometry gives them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
from invented_readings import k_file, reading
from shapely.affinity import rotate

from vision.reading import Clue
from vision.report.evidence import evidence_lines, says_text
from vision.report.ideal import KINDS, LOW_CORNER, PAPER, Stretch, ideal_edges, ideal_face
from vision.report.why_figure import _clues


def stretch(hand: float = 1.0) -> Stretch:
    x = np.linspace(2.0, 6.0, 400)
    return Stretch(x, 0.15 + 0.01 * x, x / 0.7, hand)


@pytest.mark.parametrize(
    ("says", "words"),
    [
        ({"k-file": 1.0, "reamer": 0.25, "other": 0.0001}, "K-file; reamer 4.0 times less, other over 1000 times less"),
        ({"k-file": 1.0, "reamer": 0.9, "other": 0.05}, "K-file or reamer; other 20 times less"),
        ({"k-file": 1.0, "reamer": 1.0}, "tells none apart"),
        ({"a": 1.0, "b": 1.0, "c": 1.0, "d": 1.0, "other": 0.1}, "against other 10 times less"),
        ({}, "nothing"),
    ],
)
def test_likelihoods_in_words(says, words):
    assert says_text(says, families=True) == words


def test_sizes_have_two_digits():
    assert says_text({"6": 1.0, "8": 0.5, "10": 0.1}, families=False) == "06; 08 2.0 times less, 10 10 times less"


def test_lines_end_with_what_all_give_together():
    one = reading().instruments[0]
    clue = Clue("taper", "0.0200 mm a mm", {"k-file": 1.0, "other": 0.01}, "a table (read)")
    learned = Clue("the whole strip", "looks like other", {"k-file": 0.1, "other": 1.0}, "strip network", learned=True)
    lines = list(evidence_lines(replace(one, family_clues=(clue, learned))))

    assert lines[0] == ("family", "taper", "0.0200 mm a mm [a table (read)]", "K-file; other 100 times less")
    assert lines[-1][1] == "together"
    assert "shape alone leans to K-file, the network to other" in lines[-1][2]
    assert not list(evidence_lines(k_file()))


@pytest.mark.parametrize(
    ("says", "words"),
    [
        ({"k-file": 1.0, "other": 1.0}, "It tells none apart."),
        ({"k-file": 1.0, "other": 0.01}, "Speaks for: K-file; other 100 times less."),
    ],
)
def test_the_picture_says_in_a_sentence_what_a_clue_speaks_for(says, words):
    one = replace(k_file(), family_clues=(Clue("length", "25.0 mm", says, "a table (read)"),))

    assert _clues(one)[0].text == f"family, length: 25.0 mm. {words}"


@pytest.mark.parametrize("kind", ["square", "triangle", "rhombus"])
def test_ideal_edges_are_those_of_the_turned_section(kind):
    """Upper and lower edge are the bounds of the polygon turned by the twist (general geometry library)."""
    made = stretch()
    upper, lower = ideal_edges(kind, made)
    corners = 3 if kind == "triangle" else 4
    low = [LOW_CORNER if kind == "rhombus" and k % 2 else 1.0 for k in range(corners)]
    points = [(r * np.cos(2 * np.pi * k / corners), r * np.sin(2 * np.pi * k / corners)) for k, r in enumerate(low)]
    for i in range(0, 400, 37):
        turned = rotate(shapely.Polygon(points), 2 * np.pi * made.crests[i] / corners, origin=(0, 0), use_radians=True)
        low_x, _, high_x, _ = turned.bounds
        assert (upper[i], lower[i]) == pytest.approx((high_x * made.radius_mm[i], low_x * made.radius_mm[i]), abs=1e-9)


@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind != "barbs"])
def test_the_face_fills_its_outline(kind):
    made, rows, half = stretch(), 121, 0.3
    face = ideal_face(kind, made, half, rows)
    y = np.linspace(-half, half, rows)[:, None]
    upper, lower = ideal_edges(kind, made)
    clear = 2.0 * half / rows

    assert face.shape == (rows, 400)
    assert (face[(y > upper + clear) | (y < lower - clear)] == PAPER).all()
    assert (face[(y < upper - clear) & (y > lower + clear)] < PAPER).mean() > 0.98


def test_the_other_hand_is_the_mirror_image():
    """A square's left-hand face is its right-hand one upside down, with the light from the other side; edges stay."""
    right, left = ideal_face("square", stretch(), 0.3, 121), ideal_face("square", stretch(-1.0), 0.3, 121)

    assert not np.allclose(right, left)
    assert ((right == PAPER) == (left == PAPER)).mean() > 0.99
