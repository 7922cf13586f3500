"""Stage 2b: where the sheet's checkerboard saddles lie in the photo, to a few hundredths of a px.

Saddles, not marker outlines, carry the scale: ink spread moves an outline outward by tens of µm and leaves a saddle
where it is.
"""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.floating[Any]]


def refine_saddles(grey: NDArray[np.uint8], predicted_px: Array, clear_px: Array) -> tuple[Array, NDArray[np.bool_]]:
    """Refine (N, 2) predicted saddles; returns positions and a mask of those that really look like saddles.

    ``clear_px`` is the half-width around each saddle that shows nothing but its four cells; the window stays inside. A saddle is
    kept when the four quadrants around it alternate dark and bright and the refinement moved it by less than half a window.
    """
    refined = predicted_px.astype(float).copy()
    good = np.zeros(len(refined), dtype=bool)
    half = np.clip(0.8 * clear_px, 3, 24).astype(int)
    for size in np.unique(half):
        chosen = np.flatnonzero(half == size)
        inside = chosen[_inside(grey, predicted_px[chosen], 2 * size + 3)]
        if len(inside) == 0:
            continue
        moved = _subpixel(grey, predicted_px[inside], int(size))
        near = np.linalg.norm(moved - predicted_px[inside], axis=1) < max(size * 0.8, 3.0)
        refined[inside] = moved
        good[inside] = near & _alternates(grey, moved, int(size))
    return refined, good


def _subpixel(grey: NDArray[np.uint8], points: Array, half: int) -> Array:
    criteria = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 40, 0.003)
    start = points.astype(np.float32).reshape(-1, 1, 2).copy()
    return np.asarray(cv2.cornerSubPix(grey, start, (half, half), (-1, -1), criteria), dtype=float).reshape(-1, 2)


def _inside(grey: NDArray[np.uint8], points: Array, margin: int) -> NDArray[np.bool_]:
    high = np.array([grey.shape[1] - 1 - margin, grey.shape[0] - 1 - margin])
    return np.asarray(((points >= margin) & (points <= high)).all(axis=1))


def _alternates(grey: NDArray[np.uint8], points: Array, half: int) -> NDArray[np.bool_]:
    """Tell whether a ring around each point crosses exactly four well separated dark and bright sectors."""
    angles = np.linspace(0.0, 2.0 * np.pi, 48, endpoint=False)
    ring = 0.75 * half * np.column_stack([np.cos(angles), np.sin(angles)])
    at = np.rint(points[:, None, :] + ring).astype(int)
    limit = np.array([grey.shape[1] - 1, grey.shape[0] - 1])
    at = np.clip(at, 0, limit)
    values = grey[at[..., 1], at[..., 0]].astype(float)
    low, high = np.percentile(values, 15, axis=1), np.percentile(values, 85, axis=1)
    bright = values > ((low + high) / 2.0)[:, None]
    changes = (bright != np.roll(bright, 1, axis=1)).sum(axis=1)
    share = bright.mean(axis=1)
    return np.asarray((high - low > 30.0) & (changes == 4) & (share > 0.3) & (share < 0.7))
