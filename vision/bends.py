"""Stage 8b: curved axis -> kink or pre-curve. A kink bends within a millimetre or two, a pre-curve over many."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

Array = NDArray[np.floating[Any]]
GRID_MM = 0.1
KINK_OVER_MM = 1.6  # a bend is a kink when it happens within this length
KINK_LEAST_DEG = 10.0


@dataclass(frozen=True)
class Bend:
    """Sharpest local bend: where, by how many degrees as projected, and the whole turn of the axis from end to end."""

    at_mm: float
    sharp_deg: float
    u_deg: float
    whole_deg: float
    radius_mm: float | None


def sharpest_bend(x_mm: Array, middle_mm: Array, spread_mm: float) -> Bend | None:
    """Find the sharpest bend of the middle line between the edges.

    ``middle_mm`` (N,) signed distance from the strip's axis plus that axis's own shape must be given as one curve; crests
    of a triangle make it wave, so it is smoothed over ``spread_mm`` (about one pitch) first. None when too short.
    """
    good = np.isfinite(middle_mm)
    if good.sum() < 50 or np.ptp(x_mm[good]) < 5.0:
        return None
    grid = np.arange(x_mm[good][0], x_mm[good][-1], GRID_MM)
    line = gaussian_filter1d(np.interp(grid, x_mm[good], middle_mm[good]), max(spread_mm, 0.3) / GRID_MM)
    slope = np.degrees(np.arctan(np.gradient(line, GRID_MM)))
    window = int(KINK_OVER_MM / GRID_MM)
    turn = slope[window:] - slope[:-window]
    usual = np.median(turn)
    k = int(np.argmax(np.abs(turn - usual)))
    whole = float(slope[-5:].mean() - slope[:5].mean())
    mean_curvature = np.radians(abs(np.median(np.gradient(slope, GRID_MM))))
    radius = float(1.0 / mean_curvature) if mean_curvature > 1e-3 else None
    noise = 1.4826 * float(np.median(np.abs(turn - usual)))
    return Bend(float(grid[k + window // 2]), float(turn[k] - usual), max(noise, 0.5), whole, radius)
