"""A shaft goes straight on where others cross it, what lies on a neighbour's handle is none, and print a little aside is no metal."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from vision.crowd import _Held, _held, _held_faintly, _on_line, _worthy
from vision.grips import Grip, find_grips
from vision.plane import Plane
from vision.shafts import (
    REACH_MM,
    SIDEWAYS_MM,
    Ground,
    Shaft,
    _fans,
    _straight_totals,
    _straight_worth,
    _widened,
    trace_shaft,
    turned,
)
from vision.unprinted import Unprinted, see_through_print

PPM = 20.0


def ground(*lines_mm: tuple[tuple[float, float], tuple[float, float]]) -> Ground:
    """Paper of 60 mm x 40 mm with shafts of 0.6 mm on it."""
    metal = np.zeros((800, 1200), np.uint8)
    for ends in lines_mm:
        first, last = (tuple(round(PPM * v) for v in end) for end in ends)
        cv2.line(metal, first, last, 1, round(0.6 * PPM))
    return Ground(metal.astype(bool), np.ones_like(metal, dtype=bool), PPM)


def test_a_line_goes_straight_on_through_a_crossing_to_its_own_end() -> None:
    """Both shafts cross at 25 degrees; the other one is longer beyond, and no reason to turn."""
    both = ground(((10.0, 20.0), (32.0, 20.0)), ((12.0, 14.4), (45.0, 29.8)))

    shaft = trace_shaft(both, PPM * np.array([10.5, 20.0]), np.array([1.0, 0.0]))

    assert shaft is not None
    assert shaft.line_px[-1] == pytest.approx(PPM * np.array([32.0, 20.0]), abs=0.8 * PPM)


def test_straight_lines_followed_piece_by_piece_are_worth_as_much_as_over_whole_fans() -> None:
    """Some of them meet bare paper in the first piece, some in a later one."""
    crossed = ground(((10.0, 20.0), (32.0, 20.0)), ((12.0, 14.4), (45.0, 29.8)), ((5.0, 30.0), (50.0, 24.0)))
    start, ways = PPM * np.array([10.5, 20.0]), np.array([turned(np.array([1.0, 0.0]), aim) for aim in np.arange(-16.0, 16.1, 1.0)])
    whole = _straight_worth(_widened(_fans(crossed, start, ways, REACH_MM, SIDEWAYS_MM + 0.2)[0], 5))

    totals = _straight_totals(crossed, start, ways)

    np.testing.assert_array_equal(totals, whole)
    assert 60.0 < totals.max() < 120.0  # a shaft of 22 mm, some bare paper beyond


def test_print_half_a_pixel_aside_is_no_metal() -> None:
    """A black bar on white, where the picture shows it as predicted and where it shows it half a px lower."""
    printed = np.ones((200, 200), np.float32)
    printed[80:120] = 0.0
    plane = Plane(np.empty((0, 0, 3), np.float32), printed, np.ones((200, 200), bool), (), None, (10.0, 10.0), 0.0, 0.0, PPM)
    aside = cv2.warpAffine(printed, np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.5]]), (200, 200), borderMode=cv2.BORDER_REPLICATE)
    seen = cv2.GaussianBlur(0.94 * aside + 0.06, (0, 0), 0.8)

    through = see_through_print(plane, np.dstack([seen] * 3))

    assert not through.metal.any()


def grip(left_mm: float, right_mm: float, y_mm: float) -> Grip:
    """A coloured handle of 4 mm that lies level."""
    mask = np.ones((round(4 * PPM), round((right_mm - left_mm) * PPM)), bool)
    middle = PPM * np.array([(left_mm + right_mm) / 2, y_mm])
    offset = (round(left_mm * PPM), round((y_mm - 2) * PPM))
    return Grip(mask, offset, middle, np.array([1.0, 0.0]), PPM * (right_mm - left_mm) / 2, False, rank=3)


def test_a_handle_close_behind_is_not_taken_for_the_shaft() -> None:
    """The shaft of the first is 9 mm long and seen; behind it lies another handle, 12 mm of metal and more."""
    paper = ground(((3.0, 20.0), (13.0, 20.0)))
    metal = paper.metal.copy()
    metal[round(18 * PPM) : round(22 * PPM), round(12 * PPM) : round(38 * PPM)] = True
    first, second = grip(12.0, 24.0, 20.0), grip(25.0, 38.0, 20.0)

    held = _held((first, second), Ground(metal, paper.known, PPM))

    own = next(one for one in held if one.grip is first)
    assert own.shaft.line_px[-1, 0] < PPM * 6.0


def test_a_neighbour_with_its_own_shaft_is_not_taken_for_a_faint_one() -> None:
    """As above, and the second handle's own shaft of 17 mm is plain: looked for faintly, the first's shaft stays its own."""
    paper = ground(((3.0, 20.0), (13.0, 20.0)), ((37.0, 20.0), (55.0, 20.0)))
    metal = paper.metal.copy()
    metal[round(18 * PPM) : round(22 * PPM), round(12 * PPM) : round(38 * PPM)] = True
    ground_of = Ground(metal, paper.known, PPM)
    handles = grip(12.0, 24.0, 20.0), grip(25.0, 38.0, 20.0)
    through = Unprinted(metal, metal, paper.known, np.zeros_like(metal))

    held = _held_faintly(handles, _held(handles, ground_of), ground_of, through)

    own = next(one for one in held if one.grip is handles[0])
    assert len(held) == 2
    assert own.shaft.line_px[-1, 0] < PPM * 6.0


def test_a_shaft_goes_on_beyond_a_stop_as_pale_as_paper() -> None:
    """Clear metal ends at the stop, 7 mm from the handle, and goes on 3 mm later; a faint outline joins both."""
    clear = ground(((24.0, 20.0), (31.0, 20.0)), ((34.0, 20.0), (50.0, 20.0)))
    faint = ground(((24.0, 20.0), (50.0, 20.0)))
    handle = grip(12.0, 24.0, 20.0)
    none = np.zeros_like(clear.metal)

    alone = _held((handle,), clear)
    both = _held_faintly((handle,), alone, clear, Unprinted(clear.metal, faint.metal, clear.known, none))

    assert alone[0].shaft.line_px[-1, 0] < PPM * 33.0
    assert len(both) == 1
    assert both[0].shaft.line_px[-1, 0] == pytest.approx(PPM * 50.0, abs=PPM)


def test_what_lies_on_a_shaft_is_told_from_what_lies_beside_it() -> None:
    held = _held((grip(12.0, 24.0, 20.0),), ground(((24.0, 20.0), (50.0, 20.0))))

    assert _on_line(grip(30.0, 40.0, 21.0), held[0].shaft, PPM)
    assert not _on_line(grip(30.0, 40.0, 26.0), held[0].shaft, PPM)


@pytest.mark.parametrize(
    ("light", "rank"), [((0.6, 0.6, 0.6), 1), ((0.97, 0.97, 0.97), 0), ((0.98, 1.3, 0.9), 3), ((0.9, 0.95, 0.9), 1)], ids=str
)
def test_what_is_thick_ranks_by_its_light(light: tuple[float, float, float], rank: int) -> None:
    """A shadow, bare paper between two sides, a colour, a pale handle in even light."""
    solid, colour = thick(light)

    assert [grip.rank for grip in find_grips(solid, colour, np.zeros_like(solid), PPM)] == ([rank] if rank else [])


def test_what_is_brighter_than_paper_is_a_handle_and_no_shadow() -> None:
    solid, colour = thick((0.85, 0.85, 0.85))
    lit = np.zeros_like(solid)
    lit[60:80, 100:340] = True  # a quarter of the handle faces the lamp
    colour[lit] = 1.2

    assert [grip.rank for grip in find_grips(solid, colour, np.zeros_like(solid), PPM)] == [2]


@pytest.mark.parametrize(
    ("wide_mm", "rank", "cut", "worthy"), [(11.0, 1, False, True), (5.5, 1, False, False), (5.5, 1, True, True), (5.5, 2, False, True)]
)
def test_a_heap_smaller_than_a_handle_is_none_unless_the_frame_cuts_it(wide_mm: float, rank: int, cut: bool, worthy: bool) -> None:
    line = np.column_stack([np.linspace(300.0, 40.0, 60), np.full(60, 100.0)])
    heap = replace(grip(16.0, 16.0 + wide_mm, 5.0), rank=rank, at_border=cut)
    held = _Held(heap, Shaft(line, 4.0 * 13.0), 4.0 * 13.0)  # metal all along its 13 mm

    assert _worthy(held, PPM) == worthy


def thick(light: tuple[float, float, float]) -> tuple[np.ndarray, np.ndarray]:
    """A bar of 12 by 4 mm on paper, of one light over the paper's."""
    solid, colour = np.zeros((200, 440), bool), np.ones((200, 440, 3), np.float32)
    solid[60:140, 100:340] = True
    colour[solid] = light
    return solid, colour
