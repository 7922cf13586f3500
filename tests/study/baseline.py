"""The plain way, side by side: one global threshold and the width of the dark region, with scikit-image alone.

It is told by the truth where the instrument lies and where the working part ends, and has the scale of the same sheet; it
knows nothing of light, of height, or of uncertainty. Diameters come from straight lines under the crests of each window.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image
from scipy.signal import find_peaks
from scipy.stats import theilslopes
from skimage.color import rgb2gray
from skimage.filters import threshold_otsu
from skimage.measure import label
from skimage.transform import AffineTransform, warp

from vision.together import Looked

ASIDE_MM, BEFORE_MM, NEAR_MM = 1.6, 1.5, 0.2
CUT_MM, STOP_CLEAR_MM = 3.6, 1.0  # left out before the handle, where the dark table may show, and before a stop, for its shadow
PITCH_AROUND_MM = 3.0


def plain_measurement(path: Path, truth: dict[str, Any], looked: Sequence[Looked]) -> dict[str, float | None] | None:
    """D0, D16, taper, shank width and pitch, mm; None where no photo could be scaled or no region was found."""
    if not looked:
        return None
    one = truth["instruments"][0]
    tip, front = np.array(one["tip_px"]), np.array(one["handle_px"])
    middle = (tip + front) / 2.0
    scale = looked[0].scale.px_per_mm_at((float(middle[0]), float(middle[1]))).value
    until = min(one["length_mm"] - CUT_MM, (one["stop_from_tip_mm"] or np.inf) - STOP_CLEAR_MM)
    x, upper, lower = outline(np.asarray(Image.open(path)), tip, tip + until / one["length_mm"] * (front - tip), scale)
    return None if len(x) < 50 else dimensions(x, upper, lower, one)


def outline(rgb: np.ndarray, tip: np.ndarray, end: np.ndarray, px_per_mm: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Threshold a level picture of the shaft from the tip to `end` (px); x from the first dark column, edges about the axis, mm.

    Every dark region that comes near the axis counts, since bright facets and glints cut the metal into many; one that
    reaches the band's border is print, shadow or table.
    """
    level = _levelled(rgb, tip, end, px_per_mm)
    regions = label(level < threshold_otsu(level))
    middle, near = regions.shape[0] // 2, round(NEAR_MM * px_per_mm)
    close = np.unique(regions[middle - near : middle + near + 1])
    mask = np.isin(regions, np.setdiff1d(close[close > 0], regions[[0, -1]]))
    columns = np.flatnonzero(mask.any(axis=0))
    if len(columns) < 2:
        return np.empty(0), np.empty(0), np.empty(0)
    first, last = mask.argmax(axis=0)[columns], mask.shape[0] - mask[::-1].argmax(axis=0)[columns]
    return (columns - columns[0]) / px_per_mm, (last - middle) / px_per_mm, (first - middle) / px_per_mm


def dimensions(x: np.ndarray, upper: np.ndarray, lower: np.ndarray, one: dict[str, Any]) -> dict[str, float | None]:
    """A straight line under the windows' largest widths, the median width behind the working part, spacing of peaks."""
    part, width = float(one["working_part_mm"]), upper - lower
    window = float(np.clip(one["pitch_mm"] or 1.0, 0.4, 3.0))
    edges = np.arange(1.0, part, window)
    inside = [(a, (x >= a) & (x < a + window)) for a in edges]
    rows = [(a + window / 2.0, np.max(upper[use]) - np.min(lower[use])) for a, use in inside if use.sum() > 3]
    slope, d0 = (float("nan"),) * 2 if len(rows) < 3 else theilslopes(*np.array(rows).T[::-1])[:2]
    smooth = width[x > part + 0.7]
    found = {
        "d0_mm": d0,
        "d16_mm": d0 + 16.0 * slope,
        "taper_mm_per_mm": slope,
        "shank_width_mm": float(np.median(smooth)) if len(smooth) > 10 else None,
        "pitch_mm": _pitch(x, upper, one["pitch_mm"]),
    }
    return {name: float(value) if value is not None and np.isfinite(value) else None for name, value in found.items()}


def _pitch(x: np.ndarray, upper: np.ndarray, rough_mm: float | None) -> float | None:
    """Mean spacing of the upper edge's peaks about 8 mm; a peak stands half a pitch clear of the next."""
    if rough_mm is None or len(x) < 3:
        return None
    gap = max(round(0.5 * rough_mm / float(np.median(np.diff(x)))), 1)
    peaks, _ = find_peaks(upper, distance=gap, prominence=0.005)
    at = x[peaks]
    at = at[np.abs(at - 8.0) < max(PITCH_AROUND_MM, 1.6 * rough_mm)]
    return float(np.mean(np.diff(at))) if len(at) > 2 else None


def _levelled(rgb: np.ndarray, tip: np.ndarray, end: np.ndarray, px_per_mm: float) -> np.ndarray:
    """Grey picture with the axis level in its middle row, tip on the left."""
    along = (end - tip) / np.linalg.norm(end - tip)
    length, half = float(np.linalg.norm(end - tip)), round(ASIDE_MM * px_per_mm)
    start = tip - BEFORE_MM * px_per_mm * along + half * np.array([along[1], -along[0]])
    matrix = np.array([[along[0], -along[1], start[0]], [along[1], along[0], start[1]], [0.0, 0.0, 1.0]])
    shape = (2 * half + 1, round(length + BEFORE_MM * px_per_mm))
    return np.asarray(warp(rgb2gray(rgb), AffineTransform(matrix), output_shape=shape, order=1, mode="edge"))
