"""Stage 5c: Edges -> where the metal ends: the tip's column, and the column of the handle's front face.

A pointed tip fades into the blur before its geometric end, so the end is found by carrying the growing width back to zero.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter

from vision.axis import Axis
from vision.edges import Edges

Array = NDArray[np.floating[Any]]
RUN = 12  # columns in a row that must show both edges


@dataclass(frozen=True)
class Ends:
    """Columns (with fraction) of the tip and of the handle's front, None if out of the frame, each with its u in px.

    ``tip_slope`` is the width gained a px of length just behind the end (2 tan of half the tip angle); ``blunt`` is the
    width at the very end over the width a little further on, 0 for a point, about 1 for a broken shaft.
    """

    tip: float | None
    u_tip: float
    front: float | None
    u_front: float
    tip_slope: float | None
    blunt: float | None


def find_ends(edges: Edges, axis: Axis, px_per_mm: float, *, cut_tip: bool) -> Ends:
    """Find both ends on the straightened strip, near where the plane showed them."""
    width = edges.upper_px - edges.lower_px
    tip, u_tip, slope, blunt = (None, 0.0, None, None) if cut_tip else _tip(edges, width, axis, px_per_mm)
    front = _front(width, axis, px_per_mm)
    return Ends(tip, u_tip, front, 0.04 * px_per_mm, slope, blunt)


def _tip(
    edges: Edges, width: Array, axis: Axis, px_per_mm: float
) -> tuple[float | None, float, float | None, float | None]:
    start = max((axis.tip_index or 0) - int(0.9 * px_per_mm), 0)
    stop = min((axis.tip_index or 0) + int(2.0 * px_per_mm), len(width))
    good = np.isfinite(width[start:stop]) & (width[start:stop] > 1.0)
    run = np.convolve(good, np.ones(RUN), mode="valid") >= RUN - 1
    if not run.any():
        return None, 0.0, None, None
    first = start + int(run.argmax())
    level = float(np.nanpercentile(width[first : first + int(0.9 * px_per_mm)], 80))
    rise = [i for i in range(first, min(first + int(1.0 * px_per_mm), len(width))) if np.isfinite(width[i])]
    top = next((i for i in rise if width[i] > 0.8 * level), rise[-1])
    early = float(np.nanmedian(width[first : first + 4]))
    columns = np.array([i for i in rise if i <= top])
    blur = edges.blur_px
    if len(columns) < 5 or early > 0.75 * level:
        return float(first), 0.7 * blur + 0.5, None, early / level
    slope, offset = np.polyfit(columns, width[columns], 1)
    if slope <= 0.1:
        return float(first), 0.7 * blur + 0.5, None, early / level
    end = -offset / slope
    end = float(np.clip(end, first - 4.0 * blur - 4.0, first + 2.0))
    return end, 0.5 * blur + 0.5, float(slope), early / level


def _front(width: Array, axis: Axis, px_per_mm: float) -> float | None:
    """First column from the shank toward the handle where the width leaves the shank's."""
    if axis.front_index is None:
        return None
    here = axis.front_index
    shank = width[max(here - int(3.0 * px_per_mm), 0) : max(here - int(0.6 * px_per_mm), 1)]
    if np.isfinite(shank).sum() < 20:
        return float(here)
    usual = float(np.nanmedian(shank))
    smooth = median_filter(np.nan_to_num(width, nan=3.0 * usual), 5)
    start = max(here - int(0.8 * px_per_mm), 0)
    for i in range(start, min(here + int(1.0 * px_per_mm), len(width))):
        if smooth[i] > 1.25 * usual + 2.0:
            return float(i)
    return float(here)
