"""Stage 5d: Photo, Axis -> both outlines by the learned outline model, on a strip at the model's own resolution.

The model was trained on rendered strips whose light transport includes the mirrored sheet, contact shadows, sharpening
and JPEG; it marks the metal without barbs. Known bias on held-out renders: see models/README.md.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.net import metal
from vision.photo import Photo
from vision.strip import straighten

Array = NDArray[np.floating[Any]]
HALF = 96  # rows on each side that the model was trained with
WIDEST = 110.0  # metal wider than this many rows is sampled more coarsely
NEAR = 40  # rows within which the metal must meet the axis


def metal_edges(photo: Photo, axis_px: Array, half_width_px: float) -> tuple[Array, Array, Array]:
    """Return upper and lower offset in photo px per axis point (signed, NaN where none) and the edges' own u in px.

    ``half_width_px`` is a rough half width of the metal; ``axis_px`` (N, 2) runs at 1 px steps.
    """
    step = max(1, int(np.ceil(2.0 * half_width_px / WIDEST)))
    coarse = axis_px[::step]
    strip = straighten(photo, coarse, HALF, step_px=float(step))
    chance = metal(model_input(strip.values))[: 2 * HALF]
    upper, lower, u = _crossings(chance)
    at, want = np.arange(len(coarse)) * float(step), np.arange(float(len(axis_px)))
    spread = [_between(at, want, values * step) for values in (upper, lower, u)]
    return spread[0], spread[1], spread[2]


def model_input(values: Array) -> Array:
    """Brightness over that of the paper (80th percentile of the strip), toned by 1/2.2; rows -96 ... 95."""
    paper = max(float(np.quantile(values[: 2 * HALF : 4, ::4], 0.8)), 1e-3)
    return np.asarray(np.clip(values[: 2 * HALF] / paper, 0.0, 1.6) ** (1.0 / 2.2), dtype=np.float32)


def _crossings(chance: Array) -> tuple[Array, Array, Array]:
    """Follow each column from the metal nearest the axis outward to where the chance falls to a half."""
    rows = chance.shape[0]
    inside = chance >= 0.5
    distance = np.where(inside, np.abs(np.arange(rows) - HALF)[:, None], rows)
    start = distance.argmin(axis=0)
    found = distance.min(axis=0) <= NEAR
    upper, u_up = _outward(chance, start, +1)
    lower, u_low = _outward(chance, start, -1)
    blank = np.where(found, 0.0, np.nan)
    return upper - HALF + blank, lower - HALF + blank, np.maximum(u_up, u_low)


def _outward(chance: Array, start: NDArray[np.int_], sign: int) -> tuple[Array, Array]:
    rows, columns = chance.shape
    at = np.arange(rows)[:, None]
    outside = (chance < 0.5) & (at > start if sign > 0 else at < start)
    first = np.where(outside, at, rows - 1).min(axis=0) if sign > 0 else np.where(outside, at, 0).max(axis=0)
    first = np.clip(first, 1, rows - 2)
    column = np.arange(columns)
    here, before = chance[first, column], chance[first - sign, column]
    share = np.clip((before - 0.5) / np.maximum(before - here, 1e-4), 0.0, 1.0)
    return first - sign + sign * share, 0.15 / np.maximum(np.abs(before - here), 0.02)


def _between(at: Array, want: Array, values: Array) -> Array:
    """Linear interpolation that keeps gaps as gaps."""
    good = np.isfinite(values)
    if good.sum() < 2:
        return np.full(len(want), np.nan)
    result = np.interp(want, at[good], values[good], left=np.nan, right=np.nan)
    gap = ~good[np.clip(np.rint(np.interp(want, at, np.arange(len(at)))).astype(int), 0, len(at) - 1)]
    return np.where(gap, np.nan, result)
