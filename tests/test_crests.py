"""Crests of one edge on outlines drawn from the closed form: where they are, how high, how regular."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter1d
from scipy.signal import argrelmax

from vision.crests import Crests, find_crests, upper_line
from vision.shapes import RHOMBUS, SQUARE, TRIANGLE, Blank, support

WORKING_MM = 16.0
FROM_MM, TO_MM = 0.5, 15.5


@dataclass(frozen=True)
class Drawn:
    """Both edges of a drawn instrument, heights from a curved axis, and the twist that they were drawn with."""

    x_mm: np.ndarray
    upper_mm: np.ndarray
    lower_mm: np.ndarray
    axis_mm: np.ndarray
    theta_rad: np.ndarray
    radius_mm: np.ndarray

    def crests(self, from_mm=FROM_MM, to_mm=TO_MM) -> tuple[Crests, Crests]:
        """Crests of both edges about the drawn axis."""
        above, below = self.upper_mm - self.axis_mm, self.axis_mm - self.lower_mm
        return tuple(find_crests(self.x_mm, edge, from_mm=from_mm, to_mm=to_mm) for edge in (above, below))


def draw(
    blank: Blank = SQUARE,
    *,
    d0_mm=0.25,
    taper=0.02,
    lead_mm=2.2,
    rounding=0.05,
    low_corner=1.0,
    noise_mm=0.0,
    unsteady_deg=0.0,
    bend_mm=0.02,
    px_per_mm=60.0,
    seed=0,
) -> Drawn:
    """Edges of a twisted blank with uneven twist (slow wander of ``unsteady_deg``) and white noise on both edges."""
    draws = np.random.default_rng(seed)
    x = np.arange(0.0, WORKING_MM, 1.0 / px_per_mm)
    wander = gaussian_filter1d(draws.normal(size=len(x)), 1.5 * px_per_mm)
    theta = 2.0 * np.pi * x / lead_mm + draws.uniform(0.0, 6.0)
    theta += np.radians(unsteady_deg) * wander / wander.std()
    radius = (d0_mm + taper * x) / 2.0
    axis = bend_mm * np.sin(x / 8.0)
    above = radius * support(blank, theta, rounding, low_corner)
    below = radius * support(blank, theta + np.pi, rounding, low_corner)
    upper = axis + above + draws.normal(0.0, noise_mm, len(x))
    return Drawn(x, upper, axis - below + draws.normal(0.0, noise_mm, len(x)), axis, theta, radius)


def saw_tooth(*, d0_mm=0.30, taper=0.02, pitch_mm=0.8, steep_share=0.2, core=0.55, px_per_mm=60.0) -> Drawn:
    """Edges of a round wire with one helical groove: gentle toward the tip, steep toward the handle, half a pitch apart."""
    x = np.arange(0.0, WORKING_MM, 1.0 / px_per_mm)
    turn = x / pitch_mm

    def height(turns):
        """One at a crest; the groove falls fast just behind it and rises slowly to the next."""
        u = turns % 1.0
        depth = np.where(u < steep_share, u / steep_share, (1.0 - u) / (1.0 - steep_share))
        return 1.0 - (1.0 - core) * depth

    radius = (d0_mm + taper * x) / 2.0
    axis = np.zeros_like(x)
    return Drawn(x, radius * height(turn), -radius * height(turn + 0.5), axis, 2.0 * np.pi * turn, radius)


KINDS = [
    pytest.param({"blank": SQUARE, "lead_mm": 2.2}, 2.2 / 4, id="square"),
    pytest.param({"blank": TRIANGLE, "lead_mm": 4.0, "d0_mm": 0.30}, 4.0 / 3, id="triangle"),
    pytest.param({"blank": RHOMBUS, "lead_mm": 2.2, "low_corner": 0.6}, 2.2 / 2, id="rhombus, high corners"),
    pytest.param({"blank": SQUARE, "lead_mm": 4.5, "d0_mm": 0.80}, 4.5 / 4, id="thick square"),
]


def corners_mm(drawn: Drawn, blank: Blank, *, below: bool) -> np.ndarray:
    """Where the drawn twist turns a full corner into the edge: theta a multiple of the step between equal corners."""
    step = np.pi if blank is RHOMBUS else 2.0 * np.pi / blank.corners
    theta = drawn.theta_rad + (np.pi if below else 0.0)
    turns = np.arange(np.ceil(theta[0] / step), theta[-1] / step)
    return np.interp(turns * step, theta, drawn.x_mm)


@pytest.mark.parametrize(("kind", "pitch_mm"), KINDS)
@pytest.mark.parametrize("noise_mm", [0.0, 0.002])
def test_crests_stand_where_the_corners_turn_up(kind, pitch_mm, noise_mm):
    """Every corner between the stations is found once, in its place, on both edges, and nothing else is found."""
    drawn = draw(**kind, noise_mm=noise_mm, unsteady_deg=4.0, seed=3)
    for crests, below in zip(drawn.crests(), (False, True), strict=True):
        truth = corners_mm(drawn, kind["blank"], below=below)
        inner = truth[(truth > FROM_MM + pitch_mm / 2) & (truth < TO_MM - pitch_mm / 2)]
        nearest = crests.x_mm[np.abs(crests.x_mm[:, None] - inner).argmin(axis=0)]
        miss = np.abs(nearest - inner)
        assert miss.max() < (0.1 * pitch_mm if noise_mm else 0.03)  # a rounded crest is flat: noise moves it sideways
        assert np.median(miss) < 0.03
        assert len(inner) <= len(crests.x_mm) <= len(inner) + 2
        assert np.median(crests.spacing_mm) == pytest.approx(pitch_mm, rel=0.03)


@pytest.mark.parametrize("kind", [pytest.param(one.values[0], id=one.id) for one in KINDS])
def test_crests_are_as_high_as_the_enclosing_circle(kind):
    """Smoothing along the edge costs less than 1 µm of a crest's height; noise of 2 µm adds no bias either."""
    for noise_mm in (0.0, 0.002):
        drawn = draw(**kind, noise_mm=noise_mm, seed=5)
        off = np.concatenate([c.height_mm - np.interp(c.x_mm, drawn.x_mm, drawn.radius_mm) for c in drawn.crests()])
        assert abs(np.median(off)) < 1e-3
        assert np.abs(off).max() < 1e-3 + 3.0 * noise_mm


@pytest.mark.parametrize(
    ("kind", "swing"),
    [
        ({"blank": SQUARE, "rounding": 0.0, "lead_mm": 6.0, "d0_mm": 0.8}, 1.0 - np.sqrt(0.5)),
        ({"blank": TRIANGLE, "rounding": 0.0, "lead_mm": 6.0, "d0_mm": 0.8}, 0.5),
    ],
    ids=["square", "triangle"],
)
def test_swing_is_that_of_the_section(kind, swing):
    """The depth of the valleys is the closed form's: 0.29 of the radius for a square, 0.5 for a triangle."""
    drawn = draw(**kind)

    for crests in drawn.crests():
        assert crests.swing == pytest.approx(swing, rel=0.08)  # valleys are pointed, and smoothing fills them a little
        assert crests.skew == pytest.approx(0.5, abs=0.03)


def test_squares_crest_together_and_triangles_take_turns():
    """A square's crests face each other; a triangle's lower crests fall midway between the upper ones."""
    for blank, share in ((SQUARE, 0.0), (TRIANGLE, 0.5)):
        upper, lower = draw(blank, lead_mm=3.0).crests()
        phase = np.interp(lower.x_mm[1:-1], upper.x_mm, np.arange(len(upper.x_mm)))
        away = np.abs((phase - share + 0.5) % 1.0 - 0.5)
        assert away.max() < 0.04


@pytest.mark.parametrize("steep_share", [0.15, 0.25])
def test_a_saw_tooth_is_lopsided(steep_share):
    """One groove's teeth have their valley just behind the crest: the skew tells it from the 0.5 of a twisted blank."""
    for crests in saw_tooth(steep_share=steep_share, pitch_mm=2.0).crests():
        assert crests.skew == pytest.approx(steep_share, abs=0.05)
    for crests in saw_tooth(steep_share=steep_share, pitch_mm=0.8).crests():
        assert steep_share < crests.skew < 0.35  # a steep flank of 0.1 to 0.2 mm is seen smoothed, so less lopsided
        assert np.median(crests.spacing_mm) == pytest.approx(0.8, rel=0.01)


def test_crests_are_those_of_a_general_library():
    """On a clean edge the crests are the local maxima that SciPy's argrelmax gives, to a grid step."""
    drawn = draw(lead_mm=3.0)
    edge = drawn.upper_mm - drawn.axis_mm
    crests, _ = drawn.crests()
    maxima = drawn.x_mm[argrelmax(edge, order=10)[0]]
    inner = maxima[(maxima > crests.x_mm[0] - 0.2) & (maxima < crests.x_mm[-1] + 0.2)]

    assert len(inner) == len(crests.x_mm)
    assert np.abs(inner - crests.x_mm).max() < 1.0 / 60.0 + 0.01


def test_a_plain_wire_has_no_crests():
    """A smooth tapered wire with 2 µm of noise, and a stretch with no edge at all, give none."""
    draws = np.random.default_rng(2)
    x = np.arange(0.0, WORKING_MM, 1.0 / 60.0)
    wire = (0.3 + 0.02 * x) / 2.0 + draws.normal(0.0, 0.002, len(x))

    assert len(find_crests(x, wire, from_mm=FROM_MM, to_mm=TO_MM).x_mm) == 0
    assert len(find_crests(x, np.full(len(x), np.nan), from_mm=FROM_MM, to_mm=TO_MM).x_mm) == 0
    assert np.isnan(find_crests(x, wire, from_mm=FROM_MM, to_mm=TO_MM).skew)


def test_gaps_are_bridged_without_new_crests():
    """Places where the edge was not found are left out: the other crests stay, none is made up."""
    drawn = draw(lead_mm=3.0)
    edge = drawn.upper_mm - drawn.axis_mm
    whole = find_crests(drawn.x_mm, edge, from_mm=FROM_MM, to_mm=TO_MM)
    torn = edge.copy()
    torn[np.random.default_rng(6).uniform(size=len(edge)) < 0.15] = np.nan
    again = find_crests(drawn.x_mm, torn, from_mm=FROM_MM, to_mm=TO_MM)

    assert len(again.x_mm) == len(whole.x_mm)
    assert again.x_mm == pytest.approx(whole.x_mm, abs=0.03)


def test_single_bad_columns_are_no_crests():
    """A dust speck of one or two columns neither adds a crest nor moves one."""
    drawn = draw(lead_mm=3.0)
    edge = drawn.upper_mm - drawn.axis_mm
    dirty = edge.copy()
    dirty[[200, 411, 412, 700]] += 0.15
    clean, spotted = (find_crests(drawn.x_mm, e, from_mm=FROM_MM, to_mm=TO_MM) for e in (edge, dirty))

    assert spotted.x_mm == pytest.approx(clean.x_mm, abs=0.02)
    assert spotted.height_mm == pytest.approx(clean.height_mm, abs=2e-3)


def test_upper_line_rides_on_the_upper_part():
    """The line is near the top of a swinging edge and keeps its slope; it never falls to zero."""
    drawn = draw(lead_mm=3.0, bend_mm=0.0)
    line = upper_line(drawn.x_mm, drawn.upper_mm)

    assert (line < drawn.radius_mm).mean() > 0.95
    assert (line > 0.9 * drawn.radius_mm).all()
    assert np.polyfit(drawn.x_mm, line, 1)[0] == pytest.approx(0.01, rel=0.1)
    assert (upper_line(drawn.x_mm, -np.ones(len(drawn.x_mm))) > 0.0).all()
