"""Stage 6: Edges -> how high the shaft's two ends look above the sheet.

The strip network reads it from shadow, mirrored sheet and blur. A reading of height, not a measurement: it is drawn toward
what is usual. How a reading answers to the truth was fitted on renders of development seeds (4000-4023 held, 4100-4119
free); long tails keep one misreading from deciding.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.edge_lines import Edges
from vision.marks import SMOOTH, WORKING

Array = NDArray[np.floating[Any]]
ANSWER = (0.2, 0.65)  # mm a reading shows at height 0, and mm more a mm of height
SPREAD_MM = 0.15  # of readings beside the network's own doubt
TAIL = 3.0  # degrees of freedom of the reading's scatter (Student)


@dataclass(frozen=True)
class SeenHeight:
    """Readings at tip and handle front, mm above the sheet, each with the network's own mean absolute miss."""

    tip_mm: float
    front_mm: float
    doubt_tip_mm: float
    doubt_front_mm: float

    def log_likelihood(self, tip_mm: Array | float, front_mm: Array | float) -> Array:
        """Log of how well true heights of both ends explain the readings, up to a constant."""
        return _term(self.tip_mm, self.doubt_tip_mm, tip_mm) + _term(self.front_mm, self.doubt_front_mm, front_mm)


def _term(reading: float, doubt: float, true_mm: Array | float) -> Array:
    spread = float(np.hypot(SPREAD_MM, doubt))
    miss = (reading - ANSWER[0] - ANSWER[1] * np.asarray(true_mm, dtype=float)) / spread
    return np.asarray(-0.5 * (TAIL + 1.0) * np.log1p(miss**2 / TAIL))


def see_height(edges: Edges, px_per_mm: float, tip_column: float, front_column: float) -> SeenHeight | None:
    """Fit one line through the readings of all columns that show metal; None without the network or with little metal."""
    if not edges.heights_px.size or front_column - tip_column < 20:
        return None
    share = (np.arange(edges.kinds.shape[1]) - tip_column) / (front_column - tip_column)
    use = (edges.kinds[WORKING] + edges.kinds[SMOOTH] > 0.5) & (share > 0.0) & (share < 1.0)
    if use.sum() < 100:
        return None
    height, doubt = edges.heights_px[0, use] / px_per_mm, np.maximum(edges.heights_px[1, use] / px_per_mm, 0.02)
    design = np.column_stack([1.0 - share[use], share[use]])
    tip, front = np.linalg.lstsq(design / doubt[:, None], height / doubt, rcond=None)[0]
    quarter = max(int(use.sum()) // 4, 1)
    return SeenHeight(float(tip), float(front), float(np.median(doubt[:quarter])), float(np.median(doubt[-quarter:])))
