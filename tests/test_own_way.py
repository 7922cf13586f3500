"""Two shafts that cross at a narrow angle: each keeps its own way, also where one is led along the other."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from vision.crowd import _again, _Held, _on_its_own, _own_ways, _piece, _strays_onto
from vision.grips import Grip
from vision.shafts import Ground, Shaft, aside, follow_end

PPM = 15.0


def grip(middle_mm: tuple[float, float], axis: np.ndarray) -> Grip:
    """A coloured handle 10 mm long and 4 mm thick, drawn upright where its axis is steep."""
    half = PPM * (np.abs(axis) * 5.0 + np.abs(axis[::-1]) * 2.0)
    low = np.rint(PPM * np.array(middle_mm) - half).astype(int)
    size = np.rint(2.0 * half).astype(int)
    return Grip(np.ones((size[1], size[0]), bool), (int(low[0]), int(low[1])), PPM * np.array(middle_mm), axis, PPM * 5.0, False, 3)


def crossing(angle_deg: float) -> tuple[Ground, list[_Held]]:
    """Shafts of 25 mm from handles at 40 mm, one level; the other crosses it 10 mm from its own tip. Lines go from handle to tip."""
    away = np.array([np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))])
    crossed = np.array([20.0, 20.0])
    ends = [(np.array([10.0, 20.0]), np.array([35.0, 20.0])), (crossed - 10.0 * away, crossed + 15.0 * away)]
    metal = np.zeros((round(50 * PPM), round(70 * PPM)), np.uint8)
    for tip, front in ends:
        cv2.line(metal, *(tuple(int(v) for v in np.rint(PPM * end)) for end in (tip, front)), 1, round(0.5 * PPM))
    ground = Ground(metal.astype(bool), np.ones(metal.shape, bool), PPM)
    level = _Held(grip((40.0, 20.0), np.array([1.0, 0.0])), Shaft(PPM * np.linspace((35, 20), (10, 20), 100), 100.0), 100.0)
    way = PPM * np.linspace(crossed + 15.0 * away, crossed - 10.0 * away, 100)
    other = _Held(grip(tuple(crossed + 20.0 * away), away), Shaft(way, 100.0), 100.0)
    return ground, [level, other]


def led_off(one: _Held) -> _Held:
    """Its path turns onto the level shaft where they cross."""
    line = one.shaft.line_px.copy()
    beyond = line[:, 0] < PPM * 20.0
    line[beyond, 1] = PPM * 20.0
    return _Held(one.grip, Shaft(line, 120.0), 120.0)


@pytest.mark.parametrize("angle_deg", [12.0, 16.0, 20.0])
def test_a_path_that_went_on_along_the_other_shaft_is_found_again_on_its_own(angle_deg: float) -> None:
    ground, (level, other) = crossing(angle_deg)

    found = _own_ways([level, led_off(other)], ground)

    assert found[0] is level
    straight = other.shaft.line_px
    off_mm = [aside(place, straight) / PPM for place in found[1].shaft.line_px]
    assert max(off_mm) < 0.5
    assert np.linalg.norm(found[1].shaft.line_px[-1] - straight[-1]) < 1.5 * PPM


@pytest.mark.parametrize("angle_deg", [12.0, 16.0, 40.0])
def test_paths_that_only_cross_and_a_second_find_of_one_handle_are_left_alone(angle_deg: float) -> None:
    ground, (level, other) = crossing(angle_deg)

    assert _own_ways([level, other], ground) == [level, other]
    again = _Held(grip((42.0, 21.5), np.array([1.0, 0.0])), level.shaft, 90.0)
    assert not _strays_onto(again, level, PPM)


@pytest.mark.parametrize("dashed", [False, True])
def test_what_is_found_again_takes_the_old_paths_place_where_it_is_long_enough_though_print_hides_most(dashed: bool) -> None:
    """Of its own shaft there are 6 mm beside the handle: too short; or a third of it, in dashes between print, all along."""
    ground, (level, other) = crossing(16.0)
    front = np.array([20.0, 20.0]) + 15.0 * other.grip.axis
    own = np.zeros(ground.metal.shape, np.uint8)
    ends = (front, front - (25.0 if dashed else 6.0) * other.grip.axis)
    cv2.line(own, *(tuple(int(v) for v in np.rint(PPM * end)) for end in ends), 1, round(0.5 * PPM))
    dash = (np.arange(own.shape[1]) // round(0.5 * PPM)) % 3 == 0
    shown = (own > 0) & (dash | (not dashed))
    metal = shown | (np.abs(np.arange(len(own)) - PPM * 20.0)[:, None] < 0.25 * PPM) & (np.arange(own.shape[1]) < PPM * 35.0)
    astray = led_off(other)

    found = _own_ways([level, astray], Ground(metal, shown | (own == 0), PPM))[1]

    assert (found is not astray) == dashed
    assert not dashed or max(aside(place, other.shaft.line_px) / PPM for place in found.shaft.line_px) < 0.5


def test_a_path_that_still_strays_is_not_its_own() -> None:
    _, (level, other) = crossing(16.0)

    assert _on_its_own(other, [level], PPM)
    assert not _on_its_own(led_off(other), [level], PPM)


def held(area_mm2: float, middle_mm: tuple[float, float], rank: int, worth: float = 90.0) -> _Held:
    """A handle of that size, 25 mm of shaft along y = 20 mm."""
    side = round(np.sqrt(area_mm2) * PPM)
    middle = PPM * np.array(middle_mm)
    mask = np.ones((side, side), bool)
    shaft = Shaft(PPM * np.linspace((35, 20), (10, 20), 100), worth)
    return _Held(Grip(mask, (0, 0), middle, np.array([1.0, 0.0]), side / 2.0, False, rank), shaft, worth)


@pytest.mark.parametrize(
    ("area_mm2", "middle_mm", "worth", "counts"),
    [(20.0, (45, 20), 90.0, True), (12.0, (45, 20), 90.0, False), (20.0, (50, 20), 90.0, False), (20.0, (45, 20), 60.0, False)],
)
def test_two_pieces_of_a_handle_with_one_shaft_are_as_good_as_a_whole_one(
    area_mm2: float, middle_mm: tuple[float, float], worth: float, counts: bool
) -> None:
    """Print under a white handle parts it. Too little, too far away, or hardly a shaft: two heaps of something else."""
    one = held(12.0, (40.0, 20.0), 1, worth)

    assert _piece(one, [one, held(area_mm2, middle_mm, 1)], PPM) == counts
    assert not _piece(one, [one], PPM)


@pytest.mark.parametrize(("area_mm2", "rank", "again"), [(30.0, 2, False), (30.0, 1, True), (14.0, 2, True), (14.0, 3, False)])
def test_a_whole_handle_far_from_another_is_one_of_its_own_though_both_have_one_line(area_mm2: float, rank: int, again: bool) -> None:
    """At a crossing a line may stray onto the other's shaft: then neither handle is any less there."""
    assert _again(held(area_mm2, (5.0, 20.0), rank), held(40.0, (40.0, 20.0), 3), PPM) == again


@pytest.mark.parametrize(("more_mm", "follows"), [(5.0, True), (20.0, False)])
def test_a_bent_end_is_followed_unless_it_makes_the_shaft_longer_than_any(more_mm: float, follows: bool) -> None:
    """Of 25 mm of shaft it turns off by 20 deg; what goes on for 20 mm more is another's, whose handle was not found."""
    metal = np.zeros((round(40 * PPM), round(70 * PPM)), np.uint8)
    turn, way = np.array([35.0, 20.0]), np.array([np.cos(np.radians(20.0)), np.sin(np.radians(20.0))])
    for first, last in ((np.array([10.0, 20.0]), turn), (turn, turn + more_mm * way)):
        cv2.line(metal, *(tuple(int(v) for v in np.rint(PPM * end)) for end in (first, last)), 1, round(0.6 * PPM))
    shaft = Shaft(PPM * np.linspace((10, 20), (35, 20), 101), 100.0)

    found = follow_end(Ground(metal > 0, np.ones(metal.shape, bool), PPM), shaft)

    assert (found is shaft) != follows
    assert not follows or np.linalg.norm(found.line_px[-1] - PPM * (turn + more_mm * way)) < PPM
