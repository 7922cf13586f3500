"""Sizes, colours and limits agree with the published tables."""

import math

import pytest

from vision.nominal import (
    BROACH_SIZES,
    COLOUR_OF_SIZE,
    COLOURS,
    LENGTHS_MM,
    OLDER_RISE_MM,
    SIZES,
    TAPER,
    TIP_ANGLE_DEG,
    diameter_limit,
    length_limit,
    sizes_of_colour,
    tip_angle_limit,
)

# JIS T 5419:1995, table 1, conical pluggers (read): size, diameter at the tip, diameter 16 mm from it. Files and reamers
# use the same size system.
PUBLISHED_MM = {
    15: (0.15, 0.47),
    20: (0.20, 0.52),
    25: (0.25, 0.57),
    30: (0.30, 0.62),
    35: (0.35, 0.67),
    40: (0.40, 0.72),
    45: (0.45, 0.77),
    50: (0.50, 0.82),
    55: (0.55, 0.87),
    60: (0.60, 0.92),
    70: (0.70, 1.02),
    80: (0.80, 1.12),
    90: (0.90, 1.22),
    100: (1.00, 1.32),
    110: (1.10, 1.42),
    120: (1.20, 1.52),
    130: (1.30, 1.62),
    140: (1.40, 1.72),
}

# Two independent teaching tables agree line by line: 'Principles of Operative Dentistry', ch. 3 (page read), and a
# teaching page on colour coding in Russian (read; it also meets orange for 06).
PUBLISHED_COLOURS = {
    "pink": (6,),
    "grey": (8,),
    "purple": (10,),
    "white": (15, 45, 90),
    "yellow": (20, 50, 100),
    "red": (25, 55, 110),
    "blue": (30, 60, 120),
    "green": (35, 70, 130),
    "black": (40, 80, 140),
}


@pytest.mark.parametrize(("size", "published"), PUBLISHED_MM.items(), ids=str)
def test_diameters_of_a_size(size, published):
    """The size number and the taper give both published diameters of every size from 015 to 140."""
    assert size in SIZES
    assert size / 100 == pytest.approx(published[0], abs=1e-9)
    assert size / 100 + 16 * TAPER == pytest.approx(published[1], abs=1e-9)


def test_no_size_beyond_the_published_ones():
    """There are 21 sizes: the 18 of the table and, from memory, 06, 08 and 10."""
    assert set(SIZES) == {6, 8, 10, *PUBLISHED_MM}
    assert list(SIZES) == sorted(SIZES)
    assert set(BROACH_SIZES) <= set(SIZES)


def test_older_rise_is_two_hundredths_short():
    """The older rule D16 = D0 + 0.30 mm (common practice, no source) differs from the published rise by 0.02 mm."""
    published = PUBLISHED_MM[25][1] - PUBLISHED_MM[25][0]  # JIS T 5419:1995, table 1 (read)

    assert published - OLDER_RISE_MM == pytest.approx(0.02, abs=1e-9)


def test_taper_is_a_cone_of_1_15_degrees():
    """A taper of 0.02 mm per mm is a full cone angle of 2 atan(0.01) = 1.146 degrees, not of 2."""
    assert math.degrees(2 * math.atan(TAPER / 2)) == pytest.approx(1.146, abs=5e-4)


@pytest.mark.parametrize(("colour", "published"), PUBLISHED_COLOURS.items(), ids=str)
def test_sizes_of_a_colour(colour, published):
    """Each handle colour stands for the published sizes and for no other."""
    assert sizes_of_colour(colour) == published
    assert {size for size, name in COLOUR_OF_SIZE.items() if name == colour} == set(published)


def test_every_size_has_one_of_the_colours():
    """The colour table is complete, and what is no size colour stands for no size."""
    assert set(COLOUR_OF_SIZE) == set(SIZES)
    assert set(COLOURS) == set(PUBLISHED_COLOURS)
    assert sizes_of_colour(None) == ()
    assert sizes_of_colour("bleached") == ()


@pytest.mark.parametrize("size", SIZES)
def test_diameter_tolerance(size):
    """Up to size 60 both verdicts use ±0.02 mm; above, 'within' uses the tighter and 'outside' the wider of two texts."""
    # ±0.02 mm for every size: JIS T 5419:1995, table 1 (read; pluggers). ±0.04 mm above size 60: from memory.
    limit = diameter_limit(size)

    assert limit.within.half_width == 0.02
    assert limit.outside.half_width == (0.02 if size <= 60 else 0.04)
    assert limit.within.read, "the tighter limit stands in a table that was read"
    assert limit.outside.read == (size <= 60), "the wider one above size 60 is only remembered, and says so"


def test_lengths_and_their_tolerance():
    """Lengths of 21, 25, 28 and 31 mm, ±0.5 mm: JIS T 5419:1995, table 1 (read)."""
    limit = length_limit()

    assert LENGTHS_MM == (21.0, 25.0, 28.0, 31.0)
    assert (limit.within.half_width, limit.outside.half_width) == (0.5, 0.5)
    assert "JIS T 5419:1995" in limit.within.source


def test_tip_angle_and_its_tolerance():
    """An included tip angle of 75 ± 15 deg, that is 60 to 90 deg: a teaching summary (read)."""
    limit = tip_angle_limit()

    assert (TIP_ANGLE_DEG - limit.within.half_width, TIP_ANGLE_DEG + limit.outside.half_width) == (60.0, 90.0)
    assert limit.within.read


def test_working_part_fits_every_length():
    """Every length leaves the 16 mm that the taper is defined over, ahead of its smooth shaft."""
    # 5, 9, 12 or 15 mm of smooth shaft: a vocational teaching page in German (read).
    shafts_mm = (5.0, 9.0, 12.0, 15.0)

    assert [length - shaft for length, shaft in zip(LENGTHS_MM, shafts_mm, strict=True)] == [16.0] * 4
