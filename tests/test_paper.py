"""The light of bare paper under handles and lamps: against the light with which the plane was made."""

import numpy as np
import pytest
from numpy.typing import NDArray

from vision.paper import _tiles, paper_light
from vision.plane import Plane

PX_PER_MM, WIDE_MM, HIGH_MM = 8.0, 90.0, 60.0
YELLOW = (1.5, 1.3, 0.45)  # over paper's, of a handle that a low lamp lights more than the paper: as bright as paper on the whole
ANCHORS_MM = np.array([[x, y] for x in np.arange(4.0, WIDE_MM, 8.0) for y in (6.0, 30.0, 54.0)])


def _lit(light: NDArray[np.float32], handle_mm: tuple[float, float, float, float] | None = None) -> Plane:
    """Bare paper in a light (H, W, 3), a yellow handle (x0, y0, x1, y1) on it."""
    rgb = light.copy()
    if handle_mm is not None:
        left, top, right, bottom = (round(v * PX_PER_MM) for v in handle_mm)
        rgb[top:bottom, left:right] *= np.float32(YELLOW)
    white = np.ones(rgb.shape[:2], np.float32)
    return Plane(rgb, white, white > 0.0, (), None, (WIDE_MM, HIGH_MM), 0.0, 0.0, PX_PER_MM)


def _falling_off() -> NDArray[np.float32]:
    """Light of one lamp that falls off by a third across the page."""
    across = np.linspace(1.0, 0.67, round(WIDE_MM * PX_PER_MM))[None, :, None]
    return np.asarray(0.3 * across * np.ones((round(HIGH_MM * PX_PER_MM), 1, 1)) * np.array([1.0, 0.95, 0.85]), dtype=np.float32)


def test_a_handle_as_bright_as_paper_leaves_the_paper_its_colour() -> None:
    light = _falling_off()
    seen = paper_light(_lit(light, (40.0, 15.0, 55.0, 23.0)), ANCHORS_MM)
    under = np.s_[round(15.0 * PX_PER_MM) : round(23.0 * PX_PER_MM), round(38.0 * PX_PER_MM) : round(57.0 * PX_PER_MM)]
    assert seen[under] == pytest.approx(light[under], rel=0.03)


def test_lamps_of_two_colours_are_both_followed() -> None:
    light = _falling_off()
    light[:, : light.shape[1] // 2] *= np.float32([1.0, 0.9, 0.6])
    seen = paper_light(_lit(light), ANCHORS_MM)
    for x_mm in (10.0, 80.0):
        column = round(x_mm * PX_PER_MM)
        assert seen[:, column] == pytest.approx(light[:, column], rel=0.03)


@pytest.mark.parametrize(("high", "wide", "block"), [(96, 120, 24), (101, 113, 24), (50, 47, 26), (7, 9, 4)])
def test_blocks_hold_every_so_manieth_pixel_and_nothing_beyond_the_rim(high: int, wide: int, block: int) -> None:
    picture = np.random.default_rng(1).random((high, wide, 3))[..., 1]
    rows, columns, step = -(-high // block), -(-wide // block), max(block // 12, 1)

    blocks = _tiles(picture, rows, columns, block)

    for row in range(rows):
        for column in range(columns):
            part = picture[row * block : (row + 1) * block : step, column * block : (column + 1) * block : step]
            shown = blocks[row, column].reshape(-(-block // step), -1)
            np.testing.assert_array_equal(shown[: part.shape[0], : part.shape[1]], part)
            assert shown.sum() == pytest.approx(part.sum())
