"""Sight, axis -> the axis as far as metal is seen. Finding works on a reduced picture, where a pale tip is lost in the paper.

Metal is busy where paper is even: along the straight continuation of the axis, the spread of light across the shaft is compared with
that beside it, at the frame's own fineness.
"""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.live.sight import Sight
from vision.strip import straighten

Array = NDArray[np.floating[Any]]
MOST_MM = 14.0
SLOPE_MM = 4.0  # the direction to run on in is taken over so much
CORE_MM, BESIDE_MM = 0.35, 0.75  # where metal is looked for, and paper beside it, from the axis
BUSIER, LEAST_SPREAD = 1.7, 0.03  # than the paper beside it; of the paper's light
GAP_MM = 0.45
INK = 0.55  # of the paper's light beside the axis: print ends what can be told


def run_on(sight: Sight, axis_px: Array, paper: float) -> Array:
    """Return the axis (N, 2), tip first, with what can be added before its tip; the same where there is nothing."""
    ahead = _ahead(sight, axis_px)
    if len(ahead) < 4:
        return axis_px
    strip = straighten(sight.frame, ahead, int(BESIDE_MM * sight.px_per_mm) + 1)
    metal = _metal(np.asarray(cv2.GaussianBlur(strip.values, (3, 3), 0.8)), strip.half_px, sight.px_per_mm, paper)
    gap, last = round(GAP_MM * sight.px_per_mm), -1
    for place in np.flatnonzero(metal):
        if place - last > gap:
            break
        last = int(place)
    return axis_px if last < 0 else np.concatenate([ahead[: last + 1][::-1], axis_px])


def _ahead(sight: Sight, axis_px: Array) -> Array:
    """Points 1 px apart from the tip straight on, as far as the frame goes."""
    way = np.linalg.norm(np.diff(axis_px, axis=0), axis=1).cumsum()
    back = int(np.searchsorted(way, SLOPE_MM * sight.px_per_mm))
    step = axis_px[0] - axis_px[min(back, len(axis_px) - 1)]
    if not step.any():
        return np.empty((0, 2))
    ahead = axis_px[0] + np.arange(1, round(MOST_MM * sight.px_per_mm))[:, None] * step / np.linalg.norm(step)
    inside = ((ahead > 2.0) & (ahead < [sight.frame.width_px - 3.0, sight.frame.height_px - 3.0])).all(axis=1)
    return np.asarray(ahead if inside.all() else ahead[: int(np.argmin(inside))])


def _metal(values: Array, half: int, px_per_mm: float, paper: float) -> NDArray[np.bool_]:
    core = max(round(CORE_MM * px_per_mm), 1)
    inner, sides = values[half - core : half + core + 1], (values[: half - core], values[half + core + 1 :])
    usual = float(np.median([np.ptp(side, axis=0) for side in sides]))
    spread = cv2.blur(np.ptp(inner, axis=0)[None, :].astype(np.float32), (max(round(0.25 * px_per_mm), 1), 1))[0]
    bare = np.minimum(*(np.median(side, axis=0) for side in sides)) > INK * paper
    until = len(bare) if bare.all() else int(np.argmin(bare))
    busy = spread > max(BUSIER * usual, usual + LEAST_SPREAD * paper)
    return np.asarray(busy & (np.arange(len(busy)) < until))
