"""Handles that touch are told apart by their colours: the same way whatever was read before."""

from __future__ import annotations

import cv2
import numpy as np

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
