"""Handles that touch are told apart by their colours: the same way whatever was read before."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from vision.grips import find_grips

PX_PER_MM = 10.0


def test_the_same_picture_gives_the_same_handles_after_any_other() -> None:
    """Three handles side by side: halving by colour has two answers, and a generator that runs on would choose between them."""
    solid, colour = np.zeros((160, 200), dtype=bool), np.ones((160, 200, 3), dtype=np.float32)
    for k, paint in enumerate(((0.8, 0.1, 0.1), (0.1, 0.7, 0.1), (0.1, 0.1, 0.8))):
        place = slice(20 + 35 * k, 55 + 35 * k), slice(40, 150)
        solid[place], colour[place] = True, paint
    found = []
    for seed in range(12):
        cv2.setRNGSeed(seed)
        grips = find_grips(solid, colour, np.zeros_like(solid), PX_PER_MM)
        found.append([(grip.offset_px, grip.mask.tobytes()) for grip in grips])
    assert found[0]
    assert all(one == found[0] for one in found)


@pytest.mark.parametrize("angle_deg", [0.0, 20.0, 35.0])
def test_two_handles_of_one_colour_that_touch_are_told_apart_at_any_angle(angle_deg: float) -> None:
    """Each 12 mm long and 4 mm thick; the second leaves the first one's side near its end."""
    solid = np.zeros((300, 300), np.uint8)
    way = np.array([np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))])
    ends = [(np.array([60.0, 100.0]), np.array([140.0, 100.0]))]
    ends.append((np.array([60.0, 143.0]), np.array([60.0, 143.0]) + 80.0 * way))
    for first, last in ends:
        cv2.line(solid, *(tuple(int(v) for v in np.rint(end)) for end in (first, last)), 1, 40)
    colour = np.ones((300, 300, 3), np.float32)
    colour[solid > 0] = (0.1, 0.7, 0.1)
    solid[115:128, 50:80] = 1  # where they touch

    found = find_grips(solid > 0, colour, np.zeros(solid.shape, bool), PX_PER_MM)

    assert len(found) == 2
    for first, last in ends:
        middle, axis = (first + last) / 2.0, (last - first) / 80.0
        best = min(found, key=lambda grip: float(np.linalg.norm(grip.middle_px - middle)))
        assert np.linalg.norm(best.middle_px - middle) < 0.8 * PX_PER_MM
        assert abs(best.axis @ axis) > np.cos(np.radians(5.0))
