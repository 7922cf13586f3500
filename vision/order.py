"""Stage 3h: candidates -> the same, numbered as a person reads: from left to right, then down, in the upright photo."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.find import Candidate
from vision.plane import Plane
from vision.scale import Scale

Array = NDArray[np.floating[Any]]
ROW_MM = 6.0  # half of the sheet's lane and ribbon: what lies nearer in height stands in one row


def in_reading_order(candidates: Sequence[Candidate], plane: Plane, scale: Scale) -> list[Candidate]:
    """Put candidates in the order of their middles, row by row."""
    if len(candidates) < 2:
        return list(candidates)
    middles = scale.to_px(np.array([_middle_mm(one, plane) for one in candidates]))
    row_px = ROW_MM * scale.px_per_mm_at((float(middles[:, 0].mean()), float(middles[:, 1].mean()))).value
    return [candidates[k] for k in reading_order(middles, row_px)]


def reading_order(points: Array, row_px: float) -> list[int]:
    """Indices of (N, 2) points x, y: rows from the top, each from the left. A row begins at its topmost point."""
    rows: list[list[int]] = []
    for k in np.argsort(points[:, 1], kind="stable"):
        if rows and points[k, 1] - points[rows[-1][0], 1] <= row_px:
            rows[-1].append(int(k))
        else:
            rows.append([int(k)])
    return [k for row in rows for k in sorted(row, key=lambda j: float(points[j, 0]))]


def _middle_mm(candidate: Candidate, plane: Plane) -> Array:
    rows, columns = np.nonzero(candidate.whole)
    place = np.array([[columns.mean() + candidate.offset_px[0], rows.mean() + candidate.offset_px[1]]])
    return np.asarray(plane.to_mm(place)[0])
