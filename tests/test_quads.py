"""Busy pictures do not keep the search for markers: noise, a wall of tiles; and a sheet before such a wall is still found."""

import time

import cv2
import numpy as np
import pytest

from calib.sheet import MARKER_DICTIONARY, every_sheet
from vision.markers import find_markers, foreign_markers
from vision.quads import LEAST_SIDE_PX, MOST_QUADS, least_side_px


def noise(width, height):
    return np.random.default_rng(3).integers(0, 256, (height, width)).astype(np.uint8)


def wall(width, height, step, side):
    """Dark tiles of that side, one every ``step`` px."""
    row, column = np.ogrid[:height, :width]
    return np.where((row % step < side) & (column % step < side), 0, 255).astype(np.uint8)


@pytest.mark.parametrize("grey", [noise(600, 450), wall(1600, 1200, 16, 11)], ids=["noise", "tiles"])
def test_busy_pictures_are_done_with_soon(grey):
    """Reading every outline of four corners, each of these took a minute and more."""
    began = time.process_time()

    assert find_markers(grey) == []
    assert foreign_markers(grey) == 0
    assert time.process_time() - began < 6.0


def test_the_least_side_leaves_so_many_outlines_at_most():
    grey = wall(1600, 1200, 16, 11)

    assert least_side_px(grey[:300, :300], [45]) == LEAST_SIDE_PX
    assert len(grey[::16, ::16].ravel()) > MOST_QUADS
    assert 10.0 < least_side_px(grey, [45]) < 13.0


def test_a_sheets_markers_before_a_wall_of_tiles_are_found():
    grey = wall(1600, 1200, 16, 11)
    codes = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, MARKER_DICTIONARY))
    wanted = [marker.id for marker in every_sheet()["A4-1"].markers[:6]]
    for k, number in enumerate(wanted):
        top, left = 200 + 300 * (k // 3), 200 + 300 * (k % 3)
        grey[top - 30 : top + 90, left - 30 : left + 90] = 255
        grey[top : top + 60, left : left + 60] = cv2.aruco.generateImageMarker(codes, number, 60)

    assert sorted(one.id for one in find_markers(grey)) == sorted(wanted)
