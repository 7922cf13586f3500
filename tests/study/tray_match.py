"""Which reading belongs to which true instrument of a tray, and which neighbours touch."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from scipy.optimize import linear_sum_assignment

NEAR_MM, OVER = 1.2, 0.5  # half of the truth's axis must lie so near to the reading's
TOUCH_MM = 0.3  # outlines nearer than that cannot be told apart without following each
REACH_MM = 11.0  # a handle behind the shaft


def match(truths: Sequence[Mapping[str, Any]], readings: Sequence[Any], px_per_mm: float) -> dict[int, int]:
    """Pair truths with readings, one to one, by the share of the true axis that the reading's axis follows."""
    if not truths or not readings:
        return {}
    share = np.array([[_followed(truth, reading, NEAR_MM * px_per_mm) for reading in readings] for truth in truths])
    rows, columns = linear_sum_assignment(-share)
    return {int(i): int(j) for i, j in zip(rows, columns, strict=True) if share[i, j] >= OVER}


def touching(truths: Sequence[Mapping[str, Any]], px_per_mm: float) -> list[tuple[int, int]]:
    """Pairs of true instruments, handles included, whose outlines touch or cross in the picture."""
    outlines = [_discs(truth, px_per_mm) for truth in truths]
    pairs = []
    for i in range(len(outlines)):
        for j in range(i):
            gap = np.linalg.norm(outlines[i][0][:, None] - outlines[j][0][None], axis=2)
            if (gap - outlines[i][1][:, None] - outlines[j][1][None]).min() < TOUCH_MM * px_per_mm:
                pairs.append((j, i))
    return pairs


def _followed(truth: Mapping[str, Any], reading: Any, near_px: float) -> float:
    axis = np.array(truth["axis_px"])[:, 1:]
    seen = np.asarray(reading.trace.axis_px)
    if len(seen) < 2:
        return 0.0
    gap = np.linalg.norm(axis[:, None] - seen[None, ::8], axis=2).min(axis=1)
    return float((gap < near_px).mean())


def _discs(truth: Mapping[str, Any], px_per_mm: float) -> tuple[np.ndarray, np.ndarray]:
    """Middles and radii of discs along shaft and handle."""
    axis = np.array(truth["axis_px"])[:, 1:]
    behind = axis[-1] - axis[-9]
    behind = behind / max(float(np.linalg.norm(behind)), 1e-9)
    more = axis[-1] + np.arange(0.5, truth["handle"]["length_mm"], 0.5)[:, None] * px_per_mm * behind
    shaft = 0.5 * (truth["d0_mm"] or 0.5) + 0.5 * (truth["taper_mm_per_mm"] or 0.0) * np.minimum(0.5 * np.arange(len(axis)), 16.0)
    radii = np.concatenate([shaft, np.full(len(more), truth["handle"]["diameter_mm"] / 2.0)]) * px_per_mm
    return np.concatenate([axis, more]), radii
