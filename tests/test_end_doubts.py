"""What speaks against a tip or a front widens its u and moves nothing; the strips are drawn by hand."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from vision.axis import Axis
from vision.edge_lines import Edges
from vision.end_doubts import APART_MM, MAYBE_STOP_U_MM, doubted
from vision.marks import HANDLE, NOTHING, SMOOTH, STOP, WORKING, Marks, read_marks
from vision.strip import Strip

PPM = 50.0
Array = NDArray[np.floating[Any]]


def kinds(*parts: tuple[dict[int, float], float]) -> Array:
    """Chances (5, N) of stretches one after the other: what each shows, and how many mm of it."""
    rows = [np.repeat([[shown.get(k, 0.0)] for k in range(5)], round(mm * PPM), axis=1) for shown, mm in parts]
    return np.concatenate(rows, axis=1)


def look(
    strip: Array, *, colour_mm: float | None = None, wavers: bool = False, u_px: Array | None = None, gripped: bool = False
) -> tuple[Marks, Marks]:
    """The marks as the network gives them, and with what speaks against them; ``u_px`` (2, N) of the outlines, 1 unless given."""
    count = strip.shape[1]
    line = np.column_stack([np.arange(float(count)), np.zeros(count)])
    upper = np.full(count, 10.0)
    values = np.ones((41, count))
    edges = Edges(Strip(line, np.tile([0.0, 1.0], (count, 1)), values, 20), upper, -upper, np.ones((2, count)), 1.0, 1.0, kinds=strip)
    edges = replace(edges, u_px=np.ones((2, count)) if u_px is None else u_px)
    front = None if colour_mm is None else round(colour_mm * PPM)
    axis = Axis(px=line, tip_index=None, front_index=front, half_mm=0.5, by_handle=True)
    marks = read_marks(strip, PPM)
    return marks, doubted(marks, edges, axis, PPM, wavers=wavers, gripped=gripped)


PLAIN = (({NOTHING: 1.0}, 2.0), ({WORKING: 1.0}, 16.0), ({SMOOTH: 1.0}, 5.0), ({HANDLE: 1.0}, 6.0))


def test_ends_that_nothing_speaks_against_stay_as_they_are() -> None:
    before, after = look(kinds(*PLAIN), colour_mm=23.4)

    assert after == before


def test_a_tip_before_which_a_shadow_runs_on_is_in_doubt_by_the_shadows_length() -> None:
    """Between nothing and sure metal lie 0.7 mm that look like a little of everything, as a tip's own shadow does."""
    shadow = ({WORKING: 0.45, STOP: 0.15, HANDLE: 0.2, NOTHING: 0.2}, 0.7)
    before, after = look(kinds(PLAIN[0], shadow, *PLAIN[1:]))

    assert after.tip.column == before.tip.column == pytest.approx(100.0, abs=2.0)
    assert after.tip.u == pytest.approx(0.7 * PPM, rel=0.1)
    assert after.front == before.front


@pytest.mark.parametrize(("sides", "wavers_mm", "widened_mm"), [((0, 1), 2.0, 2.0), ((0, 1), 0.4, 0.0), ((1,), 2.0, 0.0)])
def test_where_both_outlines_waver_from_the_tip_it_may_be_its_shadow(sides: tuple[int, ...], wavers_mm: float, widened_mm: float) -> None:
    """One outline that wavers lies in a shadow; metal is sure at the other, and a point is only dim for a little."""
    strip = kinds(*PLAIN)
    u = np.full((2, strip.shape[1]), 0.6)
    for side in sides:
        u[side, 100 : 100 + round(wavers_mm * PPM)] = 4.0
    before, after = look(strip, u_px=u)

    assert after.tip.column == before.tip.column
    assert after.tip.u == pytest.approx(widened_mm * PPM if widened_mm else before.tip.u, rel=0.15)


def test_a_front_with_something_of_a_stop_behind_it_may_be_a_stop() -> None:
    stop = ({STOP: 0.3, HANDLE: 0.7}, 1.8)
    before, after = look(kinds(*PLAIN[:3], stop, PLAIN[3]))

    assert before.stop is None
    assert after.front.u == pytest.approx(float(np.hypot(before.front.u, MAYBE_STOP_U_MM * PPM)))


@pytest.mark.parametrize(
    ("colour_mm", "wavers", "apart_mm"), [(30.0, False, 7.0), (20.0, False, 3.0), (22.0, False, 0.0), (24.0, True, 0.0)]
)
def test_a_handles_colour_that_begins_elsewhere_is_carried(colour_mm: float, wavers: bool, apart_mm: float) -> None:
    """Later, with bright shaft seen behind the front; earlier, with no stop to explain it; and not where the two agree."""
    again = (({HANDLE: 1.0}, 4.0), ({SMOOTH: 1.0}, 1.0), ({HANDLE: 1.0}, 6.0))
    before, after = look(kinds(*PLAIN[:3], *again), colour_mm=colour_mm, wavers=wavers)

    assert after.front.column == before.front.column == pytest.approx(23.0 * PPM, abs=3.0)
    assert after.front.u == pytest.approx(float(np.hypot(before.front.u, apart_mm * PPM)), abs=3.0)


def test_a_later_colour_alone_says_nothing_unless_the_outline_wavers() -> None:
    """A handle's front part may be of another colour, or in the dark."""
    before, sure = look(kinds(*PLAIN), colour_mm=27.0)
    _, wavering = look(kinds(*PLAIN), colour_mm=27.0, wavers=True)

    assert sure.front == before.front
    assert wavering.front.u == pytest.approx(4.0 * PPM, rel=0.05)


STOPPED = (*PLAIN[:2], ({STOP: 1.0}, 1.6), ({SMOOTH: 1.0}, 8.0), PLAIN[3])  # from 18 to 19.6 mm


@pytest.mark.parametrize(("colour_mm", "apart_mm"), [(18.5, 0.0), (23.6, 4.0)])
def test_a_stop_explains_an_earlier_colour_only_where_it_lies(colour_mm: float, apart_mm: float) -> None:
    before, after = look(kinds(*STOPPED), colour_mm=colour_mm)

    assert before.stop is not None
    assert after.front.column == before.front.column == pytest.approx(27.6 * PPM, abs=3.0)
    assert after.front.u == pytest.approx(float(np.hypot(before.front.u, apart_mm * PPM)), abs=3.0)


@pytest.mark.parametrize("colour_mm", [18.5, 1.0])
def test_a_front_is_moved_neither_onto_a_stop_nor_before_the_tip(colour_mm: float) -> None:
    before, after = look(kinds(*STOPPED), colour_mm=colour_mm, gripped=True, wavers=True)

    assert after.front.column == before.front.column
    assert after.front.u > before.front.u


@pytest.mark.parametrize(("colour_mm", "moves"), [(23.6, True), (26.6, False), (18.5, False)])
def test_no_front_lies_far_inside_a_handle_that_its_colour_told(colour_mm: float, moves: bool) -> None:
    """What goes on as shaft there is a glint on the handle; a little apart the network is the finer, and a stop has a colour too."""
    before, after = look(kinds(*STOPPED), colour_mm=colour_mm, gripped=True)

    assert after.front.column == (pytest.approx(colour_mm * PPM, abs=1.0) if moves else before.front.column)
    assert after.front.u == (pytest.approx(APART_MM * PPM, rel=0.1) if moves else before.front.u)
