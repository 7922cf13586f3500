"""Sharp bends as an overview shows them: two straight pieces of the shaft's own mask that meet at an angle.

At a tray's scale outlines near a crossing are drawn aside and feign a bend; the mask's middle over millimetres is not.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.find import Candidate

Array = NDArray[np.floating[Any]]
BIN_MM = 0.25
LEAST_MM, MOST_MM, BEHIND_MM = 1.0, 11.0, 12.0  # where the bend may lie, from the tip; the straight piece behind it
STRAIGHT_MM = 0.14  # rms by which both pieces may miss a line; a curve misses by more
SURE_DEG, DOUBT_DEG = 17.0, 12.0  # called a kink; looked at again


def kink_deg(candidate: Candidate, px_per_mm: float) -> float | None:
    """Angle in deg at which two straight pieces meet, as projected; None where the shaft is straight, curved or too short."""
    middle = _midline(candidate, px_per_mm)
    if len(middle) < 24:
        return None
    best: tuple[float, float] | None = None
    for at in np.arange(LEAST_MM, MOST_MM, BIN_MM):
        before, behind = middle[middle[:, 0] < at], middle[(middle[:, 0] >= at) & (middle[:, 0] < at + BEHIND_MM)]
        if len(before) < 4 or len(behind) < 12:
            continue
        (slope, miss), (other, gap) = _line(before), _line(behind)
        rms = float(np.sqrt((miss @ miss + gap @ gap) / (len(miss) + len(gap))))
        if best is None or rms < best[0]:
            best = rms, abs(float(np.degrees(np.arctan(slope) - np.arctan(other))))
    if best is None or best[0] > STRAIGHT_MM or best[1] < DOUBT_DEG:
        return None
    return best[1]


def _line(points: Array) -> tuple[float, Array]:
    slope, level = np.polyfit(points[:, 0], points[:, 1], 1)
    return float(slope), points[:, 1] - slope * points[:, 0] - level


def _midline(candidate: Candidate, px_per_mm: float) -> Array:
    """Middles of the thin part across its long axis, mm, tip at 0; empty without a handle to tell the tip by."""
    v, u = np.nonzero(candidate.thin)
    if len(u) < 50 or not candidate.handle.any():
        return np.empty((0, 2))
    points = np.column_stack([u, v]) / px_per_mm
    centre = points.mean(axis=0)
    axis = np.linalg.svd(points - centre, full_matrices=False)[2][0]
    grip = np.argwhere(candidate.handle)[:, ::-1].mean(axis=0) / px_per_mm
    axis = axis if (grip - centre) @ axis > 0.0 else -axis
    along = (points - centre) @ axis
    across = (points - centre) @ np.array([-axis[1], axis[0]])
    along = along - along.min()
    index = np.floor(along / BIN_MM).astype(int)
    bins = [k for k in range(int(index.max()) + 1) if (index == k).sum() >= 2]
    return np.array([((k + 0.5) * BIN_MM, (across[index == k].min() + across[index == k].max()) / 2.0) for k in bins])
