"""A piece without a handle that lies beside a shaft all along is its shadow; what crosses it, or has a handle too, is not."""

from __future__ import annotations

import numpy as np

from vision.twice import NEAR_MM, SHADOW_MM, counted_once

PPM = 14.0


def line(first_mm: tuple[float, float], last_mm: tuple[float, float]) -> np.ndarray:
    return PPM * np.linspace(first_mm, last_mm, 400)


SHAFT, BESIDE, ACROSS = line((10, 20), (35, 20)), line((10, 21.8), (35, 20.4)), line((20, 10), (24, 30))


def test_a_hard_shadow_beside_a_shaft_is_no_instrument() -> None:
    assert counted_once([SHAFT, BESIDE, ACROSS], [40.0, 0.0, 0.0], PPM, [NEAR_MM, SHADOW_MM, SHADOW_MM]) == [True, False, True]


def test_neighbours_with_handles_and_two_pieces_without_are_both_counted() -> None:
    assert counted_once([SHAFT, BESIDE], [40.0, 30.0], PPM, [NEAR_MM, NEAR_MM]) == [True, True]
    assert counted_once([SHAFT, BESIDE], [0.0, 0.0], PPM, [SHADOW_MM, SHADOW_MM]) == [True, True]
