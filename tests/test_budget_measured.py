"""Budgets of what the measuring code itself hands out: their parts agree with D16 = D0 + 16 taper, cause by cause."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from test_crests import draw

from vision.blank import BlankEvidence, weigh_blanks
from vision.budget import CAUSES, CONE, LONG_MM, correlations
from vision.crests import Crests
from vision.dimensions import Dimensions, measure
from vision.outline import read_outline
from vision.place import Profile
from vision.shapes import SQUARE, TRIANGLE, Blank
from vision.tip import Tip
from vision.width_budget import RIDGE_THIN_SPREAD

SHANK_MM = 4.0


def measured(
    blank: Blank, *, height_u: float, blur_px: float, px_per_mm: float = 60.0, spread_px: float = 0.6, tip_u_px: float = 1.0,
    row_px: float = 1.0, grooves: tuple[Crests, Crests] | None = None, smoothed_px: float = 0.0
) -> Dimensions:
    """A drawn instrument with its smooth shank through outline, evidence and dimensions."""
    drawn = draw(blank, d0_mm=0.30, lead_mm=2.4, noise_mm=0.002, seed=3, px_per_mm=px_per_mm)
    x = np.arange(0.0, drawn.x_mm[-1] + SHANK_MM, 1.0 / px_per_mm)
    shaft = np.full(len(x) - len(drawn.x_mm), drawn.radius_mm[-1])
    axis = np.concatenate([drawn.axis_mm, np.full(len(shaft), drawn.axis_mm[-1])])
    upper = np.concatenate([drawn.upper_mm, axis[-1] + shaft])
    lower = np.concatenate([drawn.lower_mm, axis[-1] - shaft])
    profile = Profile(x, upper, lower, np.arange(len(x)), px_per_mm, height_u, (upper, lower), np.ones((2, len(x))), np.zeros((2, len(x))))
    outline = read_outline(profile, from_mm=0.0, to_mm=float(x[-1]), clear_of_mm=None)
    outline = outline if grooves is None else replace(outline, upper=grooves[0], lower=grooves[1], groove=outline.wire)
    return measure(
        profile,
        outline,
        weigh_blanks(outline) if grooves is None else BlankEvidence({"groove": 1.0}, None, {}, ()),
        Tip(0.0, tip_u_px, None, None),
        front_mm=None,
        loss=None,
        scale_u=0.006,
        blur_px=blur_px,
        spread_px=spread_px,
        row_px=row_px,
        doubt_px=0.0,
        smoothed_px=smoothed_px,
        tip_seen=True,
    )


@pytest.mark.parametrize(
    ("blank", "height_u", "blur_px"), [(SQUARE, 0.012, 1.0), (TRIANGLE, 0.001, 3.0)], ids=["free", "held and blurred"]
)
def test_d0_d16_and_taper_agree_in_value_and_uncertainty(blank: Blank, height_u: float, blur_px: float) -> None:
    """5.2.2 of JCGM 100:2008: u²(D16) = u²(D0) + 16² u²(taper) + 2 · 16 r u(D0) u(taper), for every cause and for all together."""
    seen = measured(blank, height_u=height_u, blur_px=blur_px)
    d0, d16, taper = seen.d0_mm, seen.d16_mm, seen.taper_mm_per_mm

    assert d16.value == pytest.approx(d0.value + LONG_MM * taper.value, abs=1e-9)
    for label in dict(d0.parts):
        a, b, c = dict(d0.parts)[label], dict(d16.parts)[label], LONG_MM * dict(taper.parts)[label]
        # 3 % on widths whose known thinness was put right after the scale: their difference is not theirs
        assert abs(a - c) <= b * 1.03, label
        assert b <= (a + c) * 1.03, label
    r = correlations({"d0_mm": d0, "d16_mm": d16, "taper_mm_per_mm": taper})["d0_mm"]["taper_mm_per_mm"]
    together = d0.u**2 + (LONG_MM * taper.u) ** 2 + 2 * r * d0.u * LONG_MM * taper.u
    assert math.sqrt(together) == pytest.approx(d16.u, rel=0.02)


def test_every_part_of_a_measured_budget_is_explained() -> None:
    """No label without words for what it is and what makes it smaller."""
    seen = measured(SQUARE, height_u=0.01, blur_px=1.0)
    labels = {label for name in (*CONE, "shank_width_mm", "pitch_mm", "working_part_mm") for label, _ in getattr(seen, name).parts}

    assert labels
    assert labels <= set(CAUSES)


@pytest.mark.parametrize(
    ("px_per_mm", "spread_px", "read"),
    [(60.0, 1.7, True), (60.0, 1.9, False), (40.0, 1.4, True), (40.0, 1.6, False), (150.0, 2.4, True), (150.0, 2.6, False)],
)
def test_an_outline_that_nobody_is_sure_of_gives_no_number(px_per_mm: float, spread_px: float, read: bool) -> None:
    """At most 0.03 mm of doubt, never refused below 1.5 px (usual photos reach that), always above 2.5 px; the reason says both sides."""
    seen = measured(SQUARE, height_u=0.01, blur_px=1.0, px_per_mm=px_per_mm, spread_px=spread_px)
    names = ("d0_mm", "d16_mm", "taper_mm_per_mm", "tip_width_mm", "shank_width_mm", "pitch_mm", "working_part_mm", "helix_angle_deg")

    assert [getattr(seen, name) is not None for name in names] == [read] * len(names)
    if not read:
        assert f"in doubt by {spread_px:.1f} px, at most" in " ".join(seen.notes)


def test_a_tip_in_doubt_is_a_diameter_in_doubt_by_the_taper() -> None:
    """0.7 mm of doubt where the metal ends is 0.7 times the taper in D0, the same in D16, and none in the taper itself."""
    sure, doubtful = (measured(SQUARE, height_u=0.001, blur_px=1.0, tip_u_px=u) for u in (0.0, 0.7 * 60.0))

    for name in ("d0_mm", "d16_mm"):
        grown = math.sqrt(getattr(doubtful, name).u ** 2 - getattr(sure, name).u ** 2)
        assert grown == pytest.approx(0.7 * sure.taper_mm_per_mm.value, rel=0.02)
    assert doubtful.taper_mm_per_mm.u == sure.taper_mm_per_mm.u


def test_every_width_carries_what_smoothing_cuts_in_full() -> None:
    """Both edges by 0.5 px at 60 px/mm: D0 and shank 1/60 mm each, whatever share of the edge model's u they carry."""
    seen = measured(SQUARE, height_u=0.001, blur_px=1.0, smoothed_px=0.5)

    for quantity in (seen.d0_mm, seen.shank_width_mm):
        assert dict(quantity.parts)["smoothing"] == pytest.approx(1.0 / 60.0)
    assert "smoothing" in CAUSES
    assert "smoothing" not in dict(measured(SQUARE, height_u=0.001, blur_px=1.0).d0_mm.parts)


def edge_part(dimensions: Dimensions) -> float:
    """What the edge model contributes to u of D0, mm."""
    return dict(dimensions.d0_mm.parts)["edge model"]


def test_an_outline_is_as_unsure_as_the_network_that_saw_it() -> None:
    """In rows of what it was shown: twice as coarse costs twice as much, a row in doubt costs more than a usual one, blur alone nothing."""
    usual = measured(SQUARE, height_u=0.001, blur_px=1.0, spread_px=0.5)
    coarse = measured(SQUARE, height_u=0.001, blur_px=1.0, spread_px=1.0, row_px=2.0)
    wavers = [measured(SQUARE, height_u=0.001, blur_px=1.0, spread_px=s) for s in (0.5, 0.54, 0.66, 1.14)]
    blurred = measured(SQUARE, height_u=0.001, blur_px=3.0, spread_px=0.5)

    assert edge_part(coarse) == pytest.approx(2.0 * edge_part(usual))
    grown = [edge_part(one) - edge_part(usual) for one in wavers]
    assert grown == pytest.approx([0.0, grown[1], 2.0 * grown[1], 4.0 * grown[1]])  # the root of the doubt beyond a usual one
    assert grown[1] > 0.0
    assert edge_part(blurred) == pytest.approx(edge_part(usual))


def test_ridges_in_doubt_are_put_right_and_carried() -> None:
    """A one-groove helix's crests are ridges: what the network rounds off is added, by more where it wavers, and with more u."""
    ridges = (crests(1.0, 1.0), crests(1.5, 1.0))
    sure, wavers = (measured(SQUARE, height_u=0.001, blur_px=1.0, spread_px=s, grooves=ridges) for s in (0.5, 1.0))

    added = 2.0 * RIDGE_THIN_SPREAD * 0.5 / 60.0
    assert wavers.d0_mm.value - sure.d0_mm.value == pytest.approx(added, rel=1e-6)
    assert dict(wavers.d0_mm.parts)["fit"] > dict(sure.d0_mm.parts)["fit"] + 0.5 * added


def test_a_helix_angle_carries_its_diameter() -> None:
    """tan = pi D / (lead of one edge): relative u of the tangent is at least that of D at 8 mm."""
    seen = measured(SQUARE, height_u=0.03, blur_px=1.0)
    tangent = math.tan(math.radians(seen.helix_angle_deg.value))
    across = 0.03  # of the height alone

    assert math.radians(seen.helix_angle_deg.u) * (1.0 + tangent**2) / tangent > across


def crests(first_mm: float, pitch_mm: float) -> Crests:
    """Even crests on one edge of a one-groove helix, up to 15 mm."""
    x = np.arange(first_mm, 15.0, pitch_mm)
    return Crests(x, np.full(len(x), 0.2), x[:-1] + pitch_mm / 2.0, np.full(len(x) - 1, 0.15))


def test_a_pitch_on_which_the_two_edges_disagree_carries_the_difference() -> None:
    """Crests 1.0 mm apart on one edge and 1.25 mm on the other are no helix; where both have 1.0 mm nothing is added."""
    even = measured(SQUARE, height_u=0.001, blur_px=1.0, grooves=(crests(1.0, 1.0), crests(1.5, 1.0))).pitch_mm
    torn = measured(SQUARE, height_u=0.001, blur_px=1.0, grooves=(crests(1.0, 1.0), crests(1.5, 1.25))).pitch_mm

    assert even.value == pytest.approx(1.0, abs=0.01)
    assert even.u < 0.02
    assert torn.u > max(abs(torn.value - 1.0), abs(torn.value - 1.25))
