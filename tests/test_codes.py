"""Codes read on squares, against OpenCV's own detector on the same picture."""

import cv2
import numpy as np
import pytest

from calib.sheet import MARKER_DICTIONARY
from vision.codes import read_codes
from vision.quads import squares

WINDOW = 45
CODES = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, MARKER_DICTIONARY))


def picture(numbers, turned=0, side=42):
    """Markers in a row on a page seen slightly from aside, the whole page turned by quarters."""
    page = np.full((140, 100 * len(numbers)), 235, dtype=np.uint8)
    for k, number in enumerate(numbers):
        page[50 : 50 + side, 30 + 100 * k : 30 + 100 * k + side] = cv2.aruco.generateImageMarker(CODES, number, side)
    corners = np.array([[0, 0], [page.shape[1], 0], [page.shape[1], 140], [0, 140]], dtype=np.float32)
    moved = corners + np.array([[9, 4], [-6, 0], [0, -7], [5, 0]], dtype=np.float32)
    seen = cv2.warpPerspective(page, cv2.getPerspectiveTransform(corners, moved), page.shape[::-1])
    return cv2.GaussianBlur(np.ascontiguousarray(np.rot90(seen, turned)), (0, 0), 0.8)


@pytest.mark.parametrize("turned", range(4))
def test_codes_and_their_corners_are_those_of_opencvs_detector(turned):
    grey = picture([3, 200, 412, 733, 985], turned)
    parameters = cv2.aruco.DetectorParameters()
    parameters.adaptiveThreshWinSizeMin = parameters.adaptiveThreshWinSizeMax = WINDOW
    corners, ids, _ = cv2.aruco.ArucoDetector(CODES, parameters).detectMarkers(grey)
    theirs = {int(number): four.reshape(4, 2) for number, four in zip(np.ravel(ids), corners, strict=True)}
    assert len(theirs) == 5

    ours = read_codes(grey, squares(grey, WINDOW))

    assert {number for number, _ in ours} == set(theirs)
    for number, four in theirs.items():
        longest = next(own for one, own in ours if one == number)
        assert np.abs(longest - four).max() <= 1.0


def test_squares_that_hold_no_code_are_left_out():
    grey = picture([3, 200])
    grey[50:95, 20:80] = 235
    grey[55:90, 30:65] = 20  # a plain dark square
    grey[100:130, 100:140] = np.random.default_rng(1).integers(0, 256, (30, 40))

    assert {number for number, _ in read_codes(grey, squares(grey, WINDOW))} == {200}
    assert read_codes(grey, np.empty((0, 4, 2), dtype=np.float32)) == []


def test_a_code_with_more_wrong_bits_than_may_be_corrected_is_none():
    grey = picture([412])
    cell = 42 // 7
    for k in range(3):  # of its inner cells, against white and black alike
        part = grey[50 + cell * (1 + k) : 50 + cell * (2 + k), 30 + cell * 2 : 30 + cell * 3]
        part[:] = 255 - part
    assert read_codes(grey, squares(grey, WINDOW)) == []
