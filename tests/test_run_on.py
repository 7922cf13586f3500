"""An axis that ends where metal goes on is carried on, and one that does not is left alone."""

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from vision import run_on
from vision.axis import Axis
from vision.exif import CameraInfo
from vision.marks import CUT_MM, HANDLE, NOTHING, WORKING
from vision.photo import Photo

PX_PER_MM = 20.0


def photo(width_px: int = 1200) -> Photo:
    return Photo(Path("grey"), np.full((200, width_px, 3), 200, np.uint8), CameraInfo())


def axis(first_px: float, last_px: float) -> Axis:
    x = np.arange(first_px, last_px)
    return Axis(np.column_stack([x, np.full(len(x), 100.0)]), 60, len(x) - 60, 0.3)


@pytest.fixture
def metal(monkeypatch: pytest.MonkeyPatch) -> list[tuple[float, float]]:
    """Where metal lies, px along x; stands in for the network."""
    span = [(200.0, 900.0)]

    def locate(_photo, line, _px_per_mm, _lit, before=None):  # noqa: ARG001
        kinds = np.zeros((5, len(line.px)))
        inside = (line.px[:, 0] > span[0][0]) & (line.px[:, 0] < span[0][1])
        kinds[WORKING], kinds[NOTHING] = inside, ~inside
        half = np.where(inside, 0.01 * line.px[:, 0], np.nan)  # the tip lies where x is small
        return SimpleNamespace(kinds=kinds, upper_px=half, lower_px=-half, strip=SimpleNamespace(axis_px=line.px))

    monkeypatch.setattr(run_on, "locate_edges", locate)
    return span


@pytest.mark.usefixtures("metal")
def test_an_axis_past_both_ends_stays():
    before = axis(140.0, 960.0)

    assert run_on.follow(photo(), before, PX_PER_MM, lambda _: None)[0] is before


@pytest.mark.usefixtures("metal")
def test_a_lost_tip_is_gone_after():
    after, edges = run_on.follow(photo(), axis(450.0, 960.0), PX_PER_MM, lambda _: None)

    assert after.px[0, 0] < 200.0 - run_on.LOOK_MM * PX_PER_MM / 2
    assert np.allclose(np.diff(after.px[:, 0]), 1.0)
    assert after.tip_index is None
    assert after.px[after.front_index or 0, 0] == pytest.approx(900.0)  # the same place as before
    assert edges.kinds.shape[1] == len(after.px)


@pytest.mark.usefixtures("metal")
def test_metal_taken_for_a_handle_is_gone_through():
    after, _ = run_on.follow(photo(), axis(140.0, 500.0), PX_PER_MM, lambda _: None)

    assert after.px[-1, 0] > 900.0
    assert after.front_index is None
    assert after.tip_index == 60


def test_the_picture_ends_it(metal: list[tuple[float, float]]):
    metal[0] = (-100.0, 2000.0)
    after, _ = run_on.follow(photo(700), axis(300.0, 500.0), PX_PER_MM, lambda _: None)

    assert after.px[0, 0] >= run_on.MARGIN_PX
    assert after.px[-1, 0] <= 700 - run_on.MARGIN_PX


@pytest.mark.usefixtures("metal")
def test_what_lies_beyond_the_picture_is_no_part_of_the_axis():
    """An axis is drawn some millimetres past the metal; of the picture's border, drawn out, nothing can be told."""
    beyond = axis(-80.0, 960.0)
    after, edges = run_on.follow(photo(), beyond, PX_PER_MM, lambda _: None)

    assert after.px[0, 0] == 0.0
    assert after.px[-1, 0] == 959.0
    assert (after.tip_index, after.front_index) == (None, len(beyond.px) - 60 - 80)
    assert edges.kinds.shape[1] == len(after.px)


def test_a_shiny_handle_is_not_run_through(monkeypatch: pytest.MonkeyPatch):
    def locate(_photo, line, _px_per_mm, _lit, before=None):  # noqa: ARG001
        x = line.px[:, 0]
        kinds = np.zeros((5, len(x)))
        kinds[NOTHING], kinds[HANDLE] = x < 200.0, (x > 500.0) & (x < 540.0)
        kinds[WORKING] = 1.0 - kinds[NOTHING] - kinds[HANDLE]
        half = 0.01 * x
        return SimpleNamespace(kinds=kinds, upper_px=half, lower_px=-half, strip=SimpleNamespace(axis_px=line.px))

    monkeypatch.setattr(run_on, "locate_edges", locate)
    before = axis(140.0, 600.0)

    assert run_on.follow(photo(), before, PX_PER_MM, lambda _: None)[0] is before


@pytest.mark.parametrize(("wide", "longer"), [(1200, True), (915, False)])
def test_where_too_little_of_a_handle_shows_more_of_it_is_looked_at(monkeypatch: pytest.MonkeyPatch, wide: int, longer: bool):
    """A millimetre of it: too little to take its front from. Where the picture ends there, nothing is gained."""

    def locate(_photo, line, _px_per_mm, _lit, before=None):  # noqa: ARG001
        kinds = np.zeros((5, len(line.px)))
        x = line.px[:, 0]
        kinds[WORKING], kinds[HANDLE] = (x > 200.0) & (x < 880.0), x >= 880.0
        half = np.where(x > 200.0, 0.01 * x, np.nan)
        return SimpleNamespace(kinds=kinds, upper_px=half, lower_px=-half, strip=SimpleNamespace(axis_px=line.px))

    monkeypatch.setattr(run_on, "locate_edges", locate)
    before = axis(140.0, 900.0)
    after, _ = run_on.follow(photo(wide), before, PX_PER_MM, lambda _: None)

    assert (after.px[-1, 0] - 880.0 >= CUT_MM * PX_PER_MM) == longer
    assert (after is before) != longer
    assert after.front_index == before.front_index  # what finding took for the front may still be it


@pytest.mark.usefixtures("metal")
@pytest.mark.parametrize("by_handle", [True, False])
def test_metal_that_grows_thinner_toward_the_handle_is_turned_round(by_handle: bool):
    right = replace(axis(140.0, 960.0), by_handle=by_handle)
    last = len(right.px) - 1
    wrong = replace(right, px=right.px[::-1], tip_index=55, front_index=last - 69)

    after, _ = run_on.follow(photo(), wrong, PX_PER_MM, lambda _: None)

    assert np.array_equal(after.px, right.px)
    assert (after.tip_index, after.front_index) == (69, last - 55)


@pytest.mark.parametrize("handle", [0, 60])
def test_an_axis_that_metal_leaves_sideways_is_laid_on_from_the_metal(handle: int):
    """Metal leans away by 0.15 from column 300 on and is lost at 600, where some columns may look like a handle; the axis goes on as the
    metal went."""
    before = axis(0.0, 900.0)
    column = np.arange(900.0)
    seen = (column > 50) & (column < 600)
    middle = np.where(seen, 0.15 * np.maximum(column - 300.0, 0.0), np.nan)
    kinds = np.zeros((5, 900))
    kinds[WORKING], kinds[NOTHING] = seen, ~seen
    kinds[:, 600 : 600 + handle], kinds[HANDLE, 600 : 600 + handle] = 0.0, 1.0
    edges = SimpleNamespace(kinds=kinds, upper_px=middle + 8.0, lower_px=middle - 8.0, strip=SimpleNamespace(axis_px=before.px))

    after = run_on._kept_on_metal(photo(), before, edges, PX_PER_MM)
    leans = np.polyfit(after.px[-60:, 0], after.px[-60:, 1], 1)[0]

    assert abs(leans) == pytest.approx(0.15, abs=0.03)
    assert after.tip_index == before.tip_index
    assert after.front_index is None


def test_a_line_is_joined_to_another_beside_its_end_without_a_corner():
    """Nor does a point stand there twice: normals of a line that stands still are none."""
    line = axis(0.0, 400.0).px
    ahead = line[-1] + [1.0, 8.0] + np.arange(80.0)[:, None] * [1.0, 0.0]
    led = run_on._joined(line, ahead, PX_PER_MM)

    assert len(led) == len(line) + len(ahead) - 1
    assert np.array_equal(led[:300], line[:300])
    assert np.array_equal(led[-80:], ahead)
    steps = np.diff(led, axis=0)
    assert np.linalg.norm(steps, axis=1).min() > 0.9
    turn_deg = np.degrees(np.diff(np.arctan2(steps[:, 1], steps[:, 0])))
    assert np.abs(turn_deg).max() < 1.0


@pytest.mark.parametrize(("handle_mm", "led", "turns"), [(6.0, False, True), (3.0, False, False), (6.0, True, False)])
def test_an_axis_that_begins_in_a_handle_and_ends_in_none_is_turned_round(
    monkeypatch: pytest.MonkeyPatch, handle_mm: float, led: bool, turns: bool
):
    """A shadow beside the shaft was taken for the handle. Of a neighbour's handle ahead of a tip no more is seen than an axis reaches."""

    def locate(_photo, line, _px_per_mm, _lit, before=None):  # noqa: ARG001
        x = line.px[:, 0]
        kinds = np.zeros((5, len(x)))
        kinds[WORKING], kinds[HANDLE] = (x > 300.0) & (x < 700.0), (x >= 700.0) & (x < 700.0 + handle_mm * PX_PER_MM)
        kinds[NOTHING] = 1.0 - kinds[WORKING] - kinds[HANDLE]
        half = np.full(len(x), 5.0)
        return SimpleNamespace(kinds=kinds, upper_px=half, lower_px=-half, strip=SimpleNamespace(axis_px=line.px))

    monkeypatch.setattr(run_on, "locate_edges", locate)
    right = axis(230.0, 860.0)
    wrong = replace(right, px=right.px[::-1])
    after, _ = run_on.follow(photo(), wrong, PX_PER_MM, lambda _: None, led=led)

    assert np.array_equal(after.px, right.px) == turns
    assert (after is wrong) != turns


def test_a_handle_told_by_colour_stays_known_where_a_glint_on_it_is_run_along(monkeypatch: pytest.MonkeyPatch):
    def locate(_photo, line, _px_per_mm, _lit, before=None):  # noqa: ARG001
        x = line.px[:, 0]
        kinds = np.zeros((5, len(x)))
        kinds[NOTHING] = x < 200.0
        kinds[WORKING] = 1.0 - kinds[NOTHING]
        half = 0.01 * x
        return SimpleNamespace(kinds=kinds, upper_px=half, lower_px=-half, strip=SimpleNamespace(axis_px=line.px))

    monkeypatch.setattr(run_on, "locate_edges", locate)
    before = axis(140.0, 600.0)
    fronts = [run_on.follow(photo(), before, PX_PER_MM, lambda _: None, gripped=told)[0].front_index for told in (True, False)]

    assert fronts == [before.front_index, None]
