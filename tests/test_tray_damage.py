"""Damage as an overview shows it: bends, ends that come too early, straightened parts; drawn by hand and tiny."""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import cv2
import numpy as np
import pytest
from invented_readings import k_file
from scipy.stats import norm

from vision.find import Candidate
from vision.flutes import seen_flutes, seen_period
from vision.marks import Mark, Marks
from vision.quantity import Quantity
from vision.reading import Choice, Finding, InstrumentReading
from vision.tray.agreed import AGREED_U_MM, agreed_length, agreed_part, mask_length
from vision.tray.from_above import _bare
from vision.tray.kinks import DOUBT_DEG, STRAIGHT_MM, bent_beyond_doubt, mask_middle, seen_bend, sharpest
from vision.tray.short import GONE_MM, PART_SPREAD_MM, ends_early, gone_beyond_doubt, tip_gone
from vision.tray.straightened import DOUBT, FOUND, SURE, straightened

PPM = 15.0


def bent(angle_deg: float, radius_mm: float = 0.0) -> Candidate:
    """A shaft of 24 mm with a kink, or a curve, over its last 6 mm."""
    steps = np.arange(0.0, 24.0, 0.1)
    heading = np.where(steps > 18.0, np.radians(angle_deg), 0.0)
    if radius_mm:
        heading = np.maximum(steps - 24.0 + np.radians(angle_deg) * radius_mm, 0.0) / radius_mm
    line = np.cumsum(0.1 * np.column_stack([np.cos(heading), np.sin(heading)]), axis=0) * PPM
    canvas = np.zeros((400, 700), np.uint8)
    cv2.polylines(canvas, [np.rint(line + [200, 100]).astype(np.int32)], False, 1, 5)
    handle = np.zeros_like(canvas)
    handle[70:130, 20:195] = 1
    thin = canvas.astype(bool) & ~handle.astype(bool)
    return Candidate(thin | handle.astype(bool), thin, handle.astype(bool), np.zeros_like(thin), (0, 0), False)


@pytest.mark.parametrize("angle_deg", [20.0, 35.0, 60.0])
def test_a_kink_is_told_by_its_angle(angle_deg: float) -> None:
    bend = sharpest(mask_middle(bent(angle_deg), PPM))

    assert bend is not None
    assert bend.miss_mm < STRAIGHT_MM
    assert bend.angle_deg == pytest.approx(angle_deg, abs=4.0)


@pytest.mark.parametrize(("angle_deg", "radius_mm"), [(0.0, 0.0), (5.0, 0.0), (70.0, 10.0), (9.0, 150.0)])
def test_a_straight_shaft_and_a_gentle_curve_are_no_kink(angle_deg: float, radius_mm: float) -> None:
    bend = sharpest(mask_middle(bent(angle_deg, radius_mm), PPM))

    assert bend is None or bend.miss_mm > STRAIGHT_MM or bend.angle_deg < DOUBT_DEG


def outlined(angle_deg: float, seen_mm: float = 24.0) -> InstrumentReading:
    """A reading whose outlines run beside the same line as ``bent`` draws, tip first, so far as seen from the handle."""
    steps = np.arange(0.0, seen_mm, 0.1)
    heading = np.where(steps > 18.0, np.radians(angle_deg), 0.0)
    line = np.cumsum(0.1 * np.column_stack([np.cos(heading), np.sin(heading)]), axis=0)[::-1] * PPM + [200, 100]
    trace = replace(k_file().trace, axis_px=line, upper_px=line - [0.0, 2.5], lower_px=line + [0.0, 2.5])
    return replace(k_file(), trace=trace, local_px_per_mm=PPM, tip_px=tuple(line[0]), handle_px=tuple(line[-1]))


def test_a_bend_that_mask_and_outlines_show_is_sure() -> None:
    seen = seen_bend(bent(30.0), PPM, outlined(30.0))

    assert seen is not None
    assert seen[0] == pytest.approx(30.0, abs=4.0)
    assert seen[1]


@pytest.mark.parametrize(("mask_deg", "outline_deg", "doubted"), [(25.0, 0.0, True), (15.0, 0.0, False), (0.0, 30.0, False)])
def test_a_bend_that_one_of_them_shows_is_a_close_up_at_most(mask_deg: float, outline_deg: float, doubted: bool) -> None:
    seen = seen_bend(bent(mask_deg), PPM, outlined(outline_deg))

    assert (seen is not None and not seen[1]) if doubted else seen is None


def test_a_bend_too_sharp_for_the_outlines_to_follow_is_sure_by_the_mask_alone() -> None:
    seen = seen_bend(bent(45.0), PPM, outlined(0.0, seen_mm=18.0))

    assert seen is not None
    assert seen[0] == pytest.approx(45.0, abs=5.0)
    assert seen[1]


def test_a_bend_of_the_mask_alone_is_not_where_the_outlines_are_straight_all_along() -> None:
    seen = seen_bend(bent(45.0), PPM, outlined(0.0))

    assert seen == (pytest.approx(45.0, abs=5.0), False)


def test_outlines_tell_a_bend_by_themselves_where_no_handle_was_found_to_lay_the_mask_by() -> None:
    pale = replace(bent(0.0), handle=np.zeros_like(bent(0.0).handle))

    assert seen_bend(pale, PPM, outlined(30.0)) == (pytest.approx(30.0, abs=4.0), True)
    assert seen_bend(pale, PPM, outlined(6.0)) is None


@pytest.mark.parametrize(
    ("front_mm", "tip", "agreed"), [(24.0, 100.0, True), (22.0, 100.0, False), (None, 100.0, False), (24.0, None, False)]
)
def test_a_length_stands_where_marks_and_mask_agree(front_mm: float | None, tip: float | None, agreed: bool) -> None:
    shaft = bent(0.0)  # drawn from 195 px on, the handle's end, to 560 px, half a line's width beyond the last point
    front = None if front_mm is None else Quantity(front_mm, 0.1)
    seen: Any = SimpleNamespace(front_mm=front, tip=SimpleNamespace(column=tip))

    assert mask_length(shaft, PPM) == pytest.approx((560.0 - 195.0) / PPM, abs=0.4)
    length = agreed_length(laid(None, length_mm=None), shaft, seen, PPM)
    assert (length is not None) == agreed
    if agreed:
        assert length is not None
        assert (length.value, length.u) == (24.0, pytest.approx(math.hypot(AGREED_U_MM, 0.1)))
    assert agreed_length(laid(None, length_mm=25.0), shaft, seen, PPM) == laid(None, length_mm=25.0).length_mm


@pytest.mark.parametrize(("end_mm", "hidden", "part_mm"), [(13.0, True, 13.5), (20.0, True, None), (13.0, False, None)])
def test_a_part_that_ends_beneath_a_stop_is_as_long_as_to_the_stop(end_mm: float, hidden: bool, part_mm: float | None) -> None:
    """Between 12.5 and 14.5 mm from the tip; what the handle hides, or outlines too unsure to measure, tells no part."""
    x = np.arange(0.0, 25.0, 0.05)
    profile = SimpleNamespace(column=np.arange(len(x)), x_mm=x, px_per_mm=20.0)
    marks = Marks(None, (Mark(250.0, 1.0), Mark(290.0, 1.0)), None, Mark(end_mm * 20.0, 4.0), hidden)
    seen: Any = SimpleNamespace(profile=profile, marks=marks, stop_mm=(12.5, 14.5))
    part = agreed_part(laid(None, length_mm=21.8), seen)

    assert (part is None) == (part_mm is None)
    assert part is None or part.value == pytest.approx(part_mm)
    assert agreed_part(laid(16.0), seen) == laid(16.0).working_part_mm  # what was measured stays


def test_a_short_part_beneath_a_stop_tells_a_lost_tip_whose_length_alone_would_not() -> None:
    """21.8 mm is as near to a whole one of 21 mm as to a longer one that lost its tip."""
    one = laid(None, length_mm=21.8)
    said = [ends_early(one, sheet(), one.length_mm, Quantity(part_mm, 0.8)) for part_mm in (13.2, 16.0)]

    assert said[0] is not None
    assert said[0][1]
    assert said[1] is None
    assert ends_early(one, sheet(), one.length_mm, None) is None


def laid(part_mm: float | None, family: str = "k-file", length_mm: float | None = 25.0) -> InstrumentReading:
    """An invented reading with its tip at (100, 100) px, its shaft to the right, 20 px/mm."""
    one = k_file()
    axis = np.column_stack([100.0 + np.arange(0.0, 480.0), np.full(480, 100.0)])
    return replace(
        one,
        family=Choice(family, 0.97, {}),
        length_mm=None if length_mm is None else Quantity(length_mm, 0.3),
        working_part_mm=None if part_mm is None else Quantity(part_mm, 0.2),
        trace=replace(one.trace, axis_px=axis),
        tip_px=(100.0, 100.0),
        handle_px=(579.0, 100.0),
        local_px_per_mm=20.0,
    )


def sheet(light: float = 1.0, ink: bool = False, fine: bool = False) -> Any:
    """A plane of bare paper at 20 px/mm, with ink, fine print or something dark ahead of the tip."""
    printed, relative = np.ones((200, 700)), np.ones((200, 700, 3))
    printed[90:110, 78:85] = 0.0 if ink else 1.0
    if fine:
        printed[90:110, 60:100:2] = 0.0
    relative[90:110, 78:85] = light
    plane = SimpleNamespace(printed=printed, x0_mm=0.0, y0_mm=0.0, px_per_mm=20.0)
    scale = SimpleNamespace(sheet="a sheet", to_plane_mm=lambda px: (np.asarray(px) + 0.5) / 20.0)
    return SimpleNamespace(plane=plane, scale=scale, relative=relative)


@pytest.mark.parametrize(
    ("part_mm", "length_mm", "family", "early"),
    [(13.0, 22.0, "k-file", True), (13.2, 27.8, "reamer", True), (8.0, 17.8, "barbed-broach", True), (15.2, 25.0, "k-file", False),
     (16.4, 25.1, "reamer", False), (None, 25.0, "k-file", False), (11.0, 25.0, "barbed-broach", False), (13.0, 22.0, "spreader", False),
     (1.0, 25.0, "k-file", False), (15.3, 24.4, "k-file", False), (13.0, 38.0, "k-file", False)],
)  # fmt: skip
def test_one_that_is_short_of_a_standard_length_and_of_its_part_is_told(
    part_mm: float | None, length_mm: float, family: str, early: bool
) -> None:
    said = ends_early(one := laid(part_mm, family, length_mm), sheet(), one.length_mm, one.working_part_mm)

    assert (said is not None and said[1]) == early
    assert said is None or f"{part_mm:.1f} mm" in said[0]


@pytest.mark.parametrize("hidden", [sheet(light=0.4), sheet(ink=True), sheet(light=0.4, fine=True)])
def test_an_end_under_something_or_over_what_is_not_as_printed_is_never_sure(hidden: Any) -> None:
    said = ends_early(one := laid(13.0, length_mm=22.0), hidden, one.length_mm, one.working_part_mm)

    assert said is not None
    assert not said[1]
    assert said[0].startswith("perhaps")


def test_the_chance_of_a_lost_tip_follows_bayes_rule() -> None:
    """One in twenty lost so much; a working part of 13.0 mm alone, against 16.1 mm (u 0.75 and 0.2): worked with SciPy's densities."""
    spread = np.hypot(PART_SPREAD_MM, 0.2)
    density = 0.96 * norm(16.1, spread).pdf(13.0 + np.concatenate([[0.0], GONE_MM])) + 0.04 / 30.0
    odds = 0.05 / 0.95 * np.average(density[1:], weights=np.exp(-GONE_MM / 3.0)) / density[0]

    chance, gone = tip_gone(None, Quantity(13.0, 0.2), 0.0)

    assert chance == pytest.approx(odds / (1.0 + odds), rel=1e-6)
    assert gone == pytest.approx(3.1, abs=0.11)


LOST = Finding("unwound", 2.8, 5.2, Quantity(300.0, 20.0), "deg of twist lost", 0.99)


def twisted(bare_mm: tuple[float, float] = (0.0, 0.0), *, period_mm: float = 1.0, ppm: float = 20.0) -> tuple[Any, Any, float]:
    """What was measured of a shaft of 18 mm whose flutes shade it and swing its edges, but for a bare stretch."""
    x = np.arange(-2.0, 18.0, 1.0 / ppm)
    rng = np.random.default_rng(7)
    there = np.where((x > bare_mm[0]) & (x < bare_mm[1]), 0.0, 1.0)
    half = ppm * (0.2 + 0.01 * np.clip(x, 0.0, 16.0))
    rows = np.arange(-20, 21)[:, None]
    phase = 2.0 * np.pi * (x / period_mm + 0.25 * rows / half)
    metal = 0.45 + 0.2 * there * np.sin(phase)
    light = np.where(np.abs(rows) < half, metal, 0.9) + rng.normal(0.0, 0.01, metal.shape)
    upper = half + 0.7 * there * np.cos(2.0 * np.pi * x / period_mm) + rng.normal(0.0, 0.1, len(x))
    lower = -half - 0.7 * there * np.cos(2.0 * np.pi * x / period_mm) + rng.normal(0.0, 0.1, len(x))
    edges = SimpleNamespace(lower_px=lower, upper_px=upper, strip=SimpleNamespace(values=light.astype(np.float32), half_px=20))
    return edges, SimpleNamespace(x_mm=x), ppm


def test_the_period_of_flutes_is_read_where_they_are_sound() -> None:
    flutes = seen_flutes(*twisted((2.0, 5.0)))

    assert flutes is not None
    assert flutes.period_mm == pytest.approx(1.0, abs=0.06)
    assert flutes.repeats > 0.9
    assert seen_period(*twisted(period_mm=0.6)) == pytest.approx(0.6, abs=0.05)


@pytest.mark.parametrize("period_mm", [0.6, 1.0, 1.6])
def test_a_stretch_without_flutes_is_told_and_a_whole_shaft_is_not(period_mm: float) -> None:
    hurt, whole = (seen_flutes(*twisted(bare, period_mm=period_mm)) for bare in ((2.2, 5.8), (0.0, 0.0)))

    assert hurt is not None
    assert whole is not None
    bare, at_mm = straightened(hurt, ())
    assert bare > SURE
    assert at_mm == pytest.approx(4.0, abs=1.3)
    assert straightened(whole, ())[0] < DOUBT


def test_lost_crests_add_to_it_where_a_tip_is_turned_and_nothing_is_told_of_what_never_repeats() -> None:
    flutes = seen_flutes(*twisted((2.2, 5.8)))
    assert flutes is not None

    alone, beyond = (straightened(flutes, found)[0] for found in ((), (replace(LOST, from_mm=9.0, to_mm=12.0),)))
    assert straightened(flutes, (LOST,))[0] == pytest.approx(alone + FOUND)
    assert beyond == alone
    assert straightened(replace(flutes, repeats=0.1), (LOST,)) == (0.0, 0.0)


@pytest.mark.parametrize(("bare", "told"), [(None, "perhaps"), ((0.0, 0.0), None)], ids=["no flutes seen", "whole by its flutes"])
def test_lost_crests_alone_are_a_reason_to_look_closer_where_flutes_do_not_show(bare: Any, told: str | None) -> None:
    edges, profile, ppm = twisted() if bare else twisted((-2.0, 18.0))
    seen = SimpleNamespace(edges=edges, profile=profile, scale_at=Quantity(ppm, 0.01))

    said = _bare(laid(16.2), seen, [LOST])

    assert (said is None) == (told is None)
    assert said is None or (said[0].startswith("perhaps") and not said[1])


@pytest.mark.parametrize(("family", "sure"), [("barbed-broach", True), ("k-file", False)])
def test_a_slight_bend_of_two_straight_pieces_is_sure_on_what_nobody_curves(family: str, sure: bool) -> None:
    seen = seen_bend(bent(9.0), PPM, replace(outlined(9.0), family=Choice(family, 0.97, {}), size=Choice(25, 0.97, {})))

    assert seen is not None
    assert seen[0] == pytest.approx(9.0, abs=1.5)
    assert seen[1] == sure


def test_a_bend_that_the_outlines_show_plainly_needs_but_a_trace_of_it_in_the_mask() -> None:
    assert seen_bend(bent(8.0), PPM, outlined(30.0)) == (pytest.approx(30.0, abs=4.0), True)


@pytest.mark.parametrize(("mask_deg", "outline_deg", "certain"), [(35.0, 35.0, True), (16.0, 16.0, False), (0.0, 35.0, False)])
def test_a_check_asks_for_a_plainer_bend(mask_deg: float, outline_deg: float, certain: bool) -> None:
    assert bent_beyond_doubt(bent(mask_deg), PPM, outlined(outline_deg)) == certain


@pytest.mark.parametrize(("length_mm", "part_mm", "certain"), [(21.0, 12.0, True), (25.0, 16.2, False), (23.4, 14.6, False)])
def test_a_check_asks_for_a_piece_that_is_surely_gone(length_mm: float, part_mm: float, certain: bool) -> None:
    """Of a file of 25 mm: 4 mm less, whole, and 1.6 mm less."""
    assert gone_beyond_doubt(laid(part_mm, length_mm=length_mm), sheet()) == certain
