"""Stage 5c: Edges -> where the metal ends: the tip's column, its slope, and whether it is blunt.

The strip network marks the end; without it, the growing width is carried back to zero, since a pointed tip fades into the
blur before its geometric end.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.axis import Axis
from vision.edge_lines import Edges
from vision.marks import Mark

Array = NDArray[np.floating[Any]]
TIP_OUTSIDE = "the tip is outside the frame"
MARK_U_PX = 0.5
GAP_MM = 0.12  # metal that is interrupted for longer than this has ended


@dataclass(frozen=True)
class Tip:
    """Column (with fraction) of the tip, None if out of the frame, with its u in px.

    ``slope`` is the width gained a px of length just behind the end (2 tan of half the tip angle); ``blunt`` is the
    width at the very end over the width a little further on, 0 for a point, about 1 for a broken shaft. ``hidden`` says in
    words what keeps a tip within the frame from being seen.
    """

    column: float | None
    u_px: float
    slope: float | None
    blunt: float | None
    hidden: str | None = None


def find_tip(edges: Edges, axis: Axis, px_per_mm: float, mark: Mark | None, *, cut_tip: bool) -> Tip:
    """Find the metal's end on the straightened strip; ``mark`` is the network's place of it, None where it gives none."""
    if cut_tip:
        return Tip(None, 0.0, None, None)
    tip, u_tip, slope, blunt = _tip(edges, edges.upper_px - edges.lower_px, axis, px_per_mm)
    if mark is not None:
        tip, u_tip = mark.column, float(np.hypot(mark.u, MARK_U_PX))
    return Tip(tip, u_tip, slope, blunt)


def _tip(
    edges: Edges, width: Array, axis: Axis, px_per_mm: float
) -> tuple[float | None, float, float | None, float | None]:
    inside = min((axis.tip_index or 0) + int(1.5 * px_per_mm), len(width) - 1)
    good = np.isfinite(width) & (width > 1.0)
    first = _walk_out(good, inside, max(int(GAP_MM * px_per_mm), 3))
    if first is None:
        return None, 0.0, None, None
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
    end = float(np.clip(end, first - 0.6 * blur, first + 2.0))
    return end, 0.5 * blur + 0.5, float(slope), early / level


def _walk_out(good: NDArray[np.bool_], inside: int, gap: int) -> int | None:
    """Outermost good column reached from ``inside`` toward column 0 without crossing a gap; None when inside is empty."""
    near = np.flatnonzero(good[max(inside - 5 * gap, 0) : inside + 1])
    if len(near) == 0:
        return None
    at = max(inside - 5 * gap, 0) + int(near[-1])
    while True:
        before = np.flatnonzero(good[max(at - gap, 0) : at])
        if len(before) == 0:
            return at
        at = max(at - gap, 0) + int(before[0])
