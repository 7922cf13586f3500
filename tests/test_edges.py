"""A line that was led beside the metal is laid on its middle, and a tip is where the network marks it."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from vision import edges
from vision.axis import Axis
from vision.exif import CameraInfo
from vision.instrument import _is_tip_cut, _tip_guess
from vision.marks import NO_MARKS, NOTHING, WORKING, Mark
from vision.metal import MetalSight
from vision.photo import Photo
from vision.strip import normals

METAL_Y, HALF_PX, LENGTH = 100.0, 10.0, 900


@pytest.fixture
def looks(monkeypatch: pytest.MonkeyPatch) -> list[np.ndarray]:
    """A bar of metal along y = METAL_Y in place of a photo; the lines along which it was looked at."""
    seen: list[np.ndarray] = []

    def see(_near: object, line: np.ndarray, _half: float) -> MetalSight:
        seen.append(line)
        aside = (METAL_Y - line[:, 1]) * np.sign(normals(line)[:, 1])
        kinds = np.zeros((5, len(line)))
        kinds[WORKING, 60:], kinds[NOTHING, :60] = 1.0, 1.0
        half = np.where(kinds[WORKING] > 0.5, HALF_PX, np.nan)
        spread = np.full((2, len(line)), 0.5)
        return MetalSight(aside + half, aside - half, spread, kinds, spread, np.zeros(14))

    monkeypatch.setattr(edges, "see_metal", see)
    monkeypatch.setattr(edges, "light_nearby", lambda *_: None)
    return seen


def line(astray_px: float) -> np.ndarray:
    """Along the bar, and beside it toward the tip."""
    x = np.arange(float(LENGTH))
    return np.column_stack([x, METAL_Y + astray_px * np.clip((350.0 - x) / 150.0, 0.0, 1.0)])


def test_a_line_led_astray_is_laid_on_the_metal(looks):
    laid, sight = edges._looked_along(None, line(30.0), 2 * HALF_PX, 60.0)

    assert len(looks) == 2
    assert np.abs(laid[100:, 1] - METAL_Y).max() < 5.0
    assert np.nanmax(np.abs(sight.upper_px + sight.lower_px)) < 12.0


@pytest.mark.usefixtures("looks")
def test_toward_the_handle_it_is_left():
    """There a stop's shadow leads astray, and the metal itself tells the way elsewhere."""
    turned = line(30.0)
    turned[:, 1] = turned[::-1, 1]

    assert edges._looked_along(None, turned, 2 * HALF_PX, 60.0)[0] is turned


def test_a_look_that_goes_blind_is_not_kept(looks, monkeypatch):
    """Beyond the light that a new line leads into nothing may be seen: then the first look counts."""
    see = edges.see_metal

    def blind(near: object, at: np.ndarray, half: float) -> MetalSight:
        sight = see(near, at, half)
        if len(looks) == 1:
            return sight
        nothing = np.full(len(at), np.nan)
        return replace(sight, upper_px=nothing, lower_px=nothing, kinds=np.zeros((5, len(at))))

    monkeypatch.setattr(edges, "see_metal", blind)
    before = line(30.0)

    assert edges._looked_along(None, before, 2 * HALF_PX, 60.0)[0] is before
    assert len(looks) == 2


def test_a_line_near_enough_is_left(looks):
    before = line(5.0)

    assert edges._looked_along(None, before, 2 * HALF_PX, 60.0)[0] is before
    assert len(looks) == 1


def test_in_an_overview_what_lies_beside_may_be_anothers(looks):
    before = line(30.0)

    assert edges._looked_along(None, before, 2 * HALF_PX, 20.0)[0] is before
    assert len(looks) == 1


def test_the_tip_is_where_it_is_marked():
    """A fibre that was found with the metal runs on to the frame's border: that is not the tip."""
    axis = Axis(line(0.0), 3, None, 0.3)

    assert _tip_guess(axis, replace(NO_MARKS, tip=Mark(120.4, 1.0))) == 120
    assert _tip_guess(axis, NO_MARKS) == 3


@pytest.mark.parametrize(("column", "u", "cut"), [(120.0, 1.0, False), (30.0, 1.0, True), (60.0, 30.0, True)])
def test_where_the_find_runs_to_the_border_only_a_clear_mark_inside_is_a_tip(column, u, cut):
    photo = Photo(Path("grey"), np.full((200, LENGTH, 3), 200, np.uint8), CameraInfo())
    axis = Axis(line(0.0), 3, None, 0.3)

    assert _is_tip_cut(photo, axis, replace(NO_MARKS, tip=Mark(column, u)), 60.0) is cut


def test_metal_farther_aside_of_a_line_than_allowed_has_no_outline(looks):
    """Beyond a crossing it is another's; near enough it stays as it was seen."""
    sight = edges.see_metal(None, line(30.0), HALF_PX)
    kept = edges._on_the_line(sight, 12.0)

    aside = np.abs(METAL_Y - line(30.0)[:, 1])
    near, shown = aside <= 7.0, np.isfinite(kept.upper_px - kept.lower_px)  # then the farther outline lies 17 px aside
    assert shown[60:][near[60:]].all()
    assert not shown[aside >= 9.0].any()
    assert np.array_equal(kept.upper_px[near], sight.upper_px[near], equal_nan=True)
    assert edges._on_the_line(sight, np.inf) is sight
    assert len(looks) == 1
