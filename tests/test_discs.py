"""Closing and opening in tiles against SciPy's on the whole picture, by the same disc."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from scipy import ndimage

from vision.discs import by_disc


def disc(radius):
    return cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * radius + 1, 2 * radius + 1)).astype(bool)


@pytest.mark.parametrize("share", [0.002, 0.3, 0.9])
@pytest.mark.parametrize(("does", "theirs"), [("close", ndimage.binary_closing), ("open", ndimage.binary_opening)])
def test_tiles_do_as_the_whole(does, theirs, share):
    mask = np.random.default_rng(3).random((431, 612)) < share
    mask[:200, :380] = False  # whole tiles without anything
    room = 14
    expected = theirs(np.pad(mask, room), disc(6))[room:-room, room:-room]
    np.testing.assert_array_equal(by_disc(mask, does, 6.0, room), expected)


def test_without_room_the_border_suits():
    mask = np.zeros((60, 60), dtype=bool)
    mask[10:50, [0, 6]] = True
    assert by_disc(mask, "close", 5.0)[30, :7].all()
    assert not by_disc(np.zeros((60, 60), dtype=bool), "close", 5.0).any()
