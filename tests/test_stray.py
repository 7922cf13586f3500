"""Of two lines on one metal the one that left its own handle's way loses; a stop on the shaft makes no second instrument of it."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from vision.axis import Axis
from vision.find import Candidate
from vision.pipeline import _astray, _once, _unread_lines
from vision.quantity import Quantity
from vision.stray import along_handle, beside_own_line, leaves_askew, strayed
from vision.unread import HandleSeen, handle_seen

PPM = 20.0
SCALE: Any = SimpleNamespace(to_plane_mm=lambda px: np.asarray(px) / PPM, to_px=lambda mm: np.asarray(mm) * PPM)
PLANE: Any = SimpleNamespace(px_per_mm=PPM, to_mm=lambda px: np.asarray(px) / PPM)


def line(*through_mm: tuple[float, float]) -> np.ndarray:
    """A px apart, through these places."""
    corners = np.array(through_mm)
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(corners, axis=0), axis=1))])
    at = np.arange(0.0, along[-1], 1.0 / PPM)
    return PPM * np.column_stack([np.interp(at, along, corners[:, k]) for k in (0, 1)])


def handle(x: float, y: float) -> HandleSeen:
    return HandleSeen(np.array([x, y]), "red", np.array([5.0, 0.0]))


STRAIGHT, LED_OFF = line((5, 10), (30, 10)), line((5, 10), (23, 10), (30, 7))


def test_the_line_whose_handle_lies_aside_of_the_shared_metal_strayed_whichever_comes_first() -> None:
    own, other = handle(35, 10), handle(45, 3)
    assert strayed([STRAIGHT, LED_OFF], [own, other], SCALE, PPM) == [False, True]
    assert strayed([LED_OFF, STRAIGHT], [other, own], SCALE, PPM) == [True, False]


def test_a_stop_on_the_same_shaft_a_near_handle_or_none_has_led_nothing_astray() -> None:
    own = handle(35, 10)
    for again in (handle(20, 10.3), handle(42, 5), HandleSeen(None, None)):
        assert strayed([STRAIGHT, STRAIGHT], [own, again], SCALE, PPM) == [False, False]


def test_lines_that_cross_and_part_again_are_both_right() -> None:
    assert strayed([STRAIGHT, line((5, 14), (30, 7))], [handle(35, 10), handle(35, -4)], SCALE, PPM) == [False, False]


def test_what_strayed_lies_ahead_of_its_handle_as_long_as_the_shortest_standard_length() -> None:
    """21 mm is the shortest of JIS T 5419:1995 (read)."""
    placed = along_handle(Axis(LED_OFF, 0, len(LED_OFF) - 1, 0.2), HandleSeen(np.array([45.0, 3.0]), "red", np.array([4.0, -3.0])), SCALE)
    assert placed.px[placed.front_index] == pytest.approx([PPM * 41.0, PPM * 6.0])
    assert placed.px[placed.tip_index] == pytest.approx([PPM * (41.0 - 21.0 * 0.8), PPM * (6.0 + 21.0 * 0.6)])


@pytest.mark.parametrize(("tilt_deg", "half_mm", "askew"), [(0.0, 5.0, False), (7.0, 5.0, False), (-14.0, 5.0, True), (14.0, 3.0, False)])
def test_a_line_that_leaves_its_whole_handle_askew_is_not_that_of_its_shaft(tilt_deg: float, half_mm: float, askew: bool) -> None:
    tip = (30.0 - 20.0 * np.cos(np.radians(tilt_deg)), 10.0 + 20.0 * np.sin(np.radians(tilt_deg)))
    seen = Axis(line(tip, (30.0, 10.0)), 0, None, 0.2)
    assert leaves_askew(seen, HandleSeen(np.array([35.0, 10.0]), "red", np.array([half_mm, 0.0])), SCALE) == askew


def piece(axis_px: np.ndarray, x_mm: float, y_mm: float, length_mm: float) -> tuple[Candidate, Any]:
    """A candidate with a handle 4 mm thick whose middle lies there, and what was measured of it."""
    mask = np.zeros((round(20 * PPM), round(60 * PPM)), bool)
    first, last = (round(PPM * (x_mm + half)) for half in (-length_mm / 2, length_mm / 2))
    mask[max(round(PPM * (y_mm - 2)), 0) : round(PPM * (y_mm + 2)), first:last] = True
    nothing = np.zeros_like(mask)
    seen = SimpleNamespace(edges=SimpleNamespace(strip=SimpleNamespace(axis_px=axis_px), upper_px=np.ones(len(axis_px)),
                                                 lower_px=-np.ones(len(axis_px))), scale_at=Quantity(PPM, 0.1))  # fmt: skip
    return Candidate(mask, nothing, mask, nothing, (0, 0), False), seen


def test_the_larger_handle_wins_no_more_where_its_line_strayed() -> None:
    relative = np.ones((round(20 * PPM), round(60 * PPM), 3), np.float32)
    right, wrong = piece(STRAIGHT, 35, 10, 8.0), piece(LED_OFF, 45, 3, 12.0)
    stop = piece(STRAIGHT, 20, 10, 5.0)

    assert handle_seen(right[0], PLANE, relative).half_mm == pytest.approx([4.0, 0.0], abs=0.05)  # of a bar 8 mm long
    astray = _astray([right, wrong], relative, PLANE, SCALE)
    assert [candidate for candidate, _ in _once([right, wrong], astray, relative, PLANE)[0]] == [right[0]]
    assert _once([right, wrong], set(), relative, PLANE)[0] == [wrong]
    assert _once([right, stop], _astray([right, stop], relative, PLANE, SCALE), relative, PLANE)[0] == [right]


def test_what_lies_on_a_line_that_was_laid_anew_is_left_out_not_what_lies_where_that_strayed(monkeypatch: pytest.MonkeyPatch) -> None:
    """Both further ones have a handle so near to that of the strayed one that their line alone tells them apart."""
    relative = np.ones((round(20 * PPM), round(60 * PPM), 3), np.float32)
    seen, (lost, _) = piece(line((5, 18), (30, 18)), 35, 18, 8.0), piece(LED_OFF, 45, 3, 12.0)
    on_laid, on_strayed = (piece(STRAIGHT, 45, 3, 12.0)[0] for _ in range(2))
    lines = {id(lost): LED_OFF, id(on_laid): line((20, 3), (40, 3)), id(on_strayed): line((5, 10), (23, 10))}
    colours = {id(lost): "red", id(on_laid): "blue", id(on_strayed): "green", id(seen[0]): "red"}
    middles = {id(seen[0]): (35.0, 18.0)}
    monkeypatch.setattr("vision.pipeline.trace_axis", lambda _plane, _scale, one: Axis(lines[id(one)], 0, len(lines[id(one)]) - 1, 0.2))
    monkeypatch.setattr("vision.pipeline.handle_seen", lambda one, *_: HandleSeen(
        np.array(middles.get(id(one), (45.0, 3.0))), colours[id(one)], np.array([5.0, 0.0])))  # fmt: skip

    found = _unread_lines([lost, on_laid, on_strayed], {id(lost)}, [seen], PLANE, SCALE, relative)

    assert [candidate for candidate, _ in found] == [lost, on_strayed]


@pytest.mark.parametrize(("length_mm", "counted"), [(4.0, False), (12.0, True)])
def test_a_coloured_piece_on_the_shaft_of_another_is_its_stop_unless_it_is_as_large_as_a_handle(
    length_mm: float, counted: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Both lie 22 mm before the handle whose shaft they lie on, and have its line."""
    relative = np.ones((round(20 * PPM), round(60 * PPM), 3), np.float32)
    seen, (other, _) = piece(STRAIGHT, 40, 10, 8.0), piece(STRAIGHT, 18, 10, length_mm)
    monkeypatch.setattr("vision.pipeline.trace_axis", lambda *_: Axis(STRAIGHT, 0, len(STRAIGHT) - 1, 0.2))

    found = _unread_lines([other], set(), [seen], PLANE, SCALE, relative)

    assert [candidate for candidate, _ in found] == ([other] if counted else [])


CROSSING = line((5, 14), (30, 7))  # crosses the straight one half way


@pytest.mark.parametrize(
    ("seen", "left"),
    [
        (STRAIGHT, False), (line((5, 13.5), (16, 10.7), (20, 10), (30, 10)), True),
        (line((5, 14), (15, 11.2), (20, 10), (30, 10)), True), (line((5, 12), (30, 12)), False),
    ],
)
def test_an_axis_that_leaves_its_own_line_for_another_one_strayed(seen: np.ndarray, left: bool) -> None:
    """What lies aside of its own line without following another is a bow or a bend."""
    assert beside_own_line([seen, CROSSING], [STRAIGHT, CROSSING], PPM) == [left, False]


def test_who_was_not_measured_or_lies_alone_strayed_nowhere() -> None:
    nothing = np.empty((0, 2))
    assert beside_own_line([nothing, STRAIGHT], [STRAIGHT, nothing], PPM) == [False, False]


@pytest.mark.parametrize(("length_mm", "x_mm", "counted"), [(4.0, 38.0, False), (4.0, 18.0, True), (9.0, 38.0, True)])
def test_a_small_black_piece_beside_a_handle_is_its_deep_shadow(length_mm: float, x_mm: float, counted: bool, monkeypatch: Any) -> None:
    relative = np.full((round(20 * PPM), round(60 * PPM), 3), 0.05, np.float32)
    seen, (other, _) = piece(STRAIGHT, 35, 10, 8.0), piece(line((5, 16), (30, 16)), x_mm, 16, length_mm)
    black = replace(other, rank=2)
    monkeypatch.setattr("vision.pipeline.trace_axis", lambda *_: Axis(line((5, 16), (30, 16)), 0, 499, 0.2))
    monkeypatch.setattr("vision.pipeline.part_of_another", lambda *_: False)

    found = _unread_lines([black], set(), [seen], PLANE, SCALE, relative)

    assert [candidate for candidate, _ in found] == ([black] if counted else [])
