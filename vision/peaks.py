"""Peaks of a curve, by how far apart they stand and how far they stand out (leaf).

As ``scipy.signal.find_peaks`` counts them, to which the tests hold it: that alone would load all of SciPy's signals and statistics, a
fifth of what a first reading waits for.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.floating[Any]]
Whole = NDArray[np.int_]


def find_peaks(values: Array, *, distance: int, prominence: float) -> Whole:
    """Indices of the local maxima of ``values`` (N,), ascending: of any nearer than ``distance`` the higher stays, and of those what stands
    out by at least ``prominence``. The middle of a flat top counts; the ends of the curve never do.

    ``distance``: samples, 1 or more; ``prominence``: in the unit of ``values``, 0 or more. ``values`` must be finite.
    """
    tops = _maxima(values)
    peaks = _far_apart(values, tops, distance)
    return peaks[np.array(_stands_out(values, tops, peaks)) >= prominence] if len(peaks) else peaks


def _maxima(values: Array) -> Whole:
    step = np.diff(values)
    moved = np.flatnonzero(step)
    top = (step[moved[:-1]] > 0.0) & (step[moved[1:]] < 0.0)
    return np.asarray((moved[:-1][top] + 1 + moved[1:][top]) // 2)


def _far_apart(values: Array, peaks: Whole, distance: int) -> Whole:
    kept = np.ones(len(peaks), dtype=bool)
    for k in np.argsort(values[peaks])[::-1]:
        if kept[k]:
            near = slice(*np.searchsorted(peaks, [peaks[k] - distance + 1, peaks[k] + distance]))
            kept[near] = False
            kept[k] = True
    return peaks[kept]


def _stands_out(values: Array, tops: Whole, peaks: Whole) -> list[float]:
    """Height of each of the ``peaks`` over the higher of the two valleys that lie between it and what is higher, or the curve's end.

    ``tops``: all maxima; between two of them the curve falls, then rises, so one valley stands for all that lies there.
    """
    ends = np.unique(np.concatenate([[0], tops, [len(values) - 1]]))
    heights, valleys = values[ends].tolist(), np.minimum.reduceat(values, ends)[:-1].tolist()
    return [min(_rise(heights, valleys, k, way) for way in (-1, 1)) for k in np.searchsorted(ends, peaks).tolist()]


def _rise(heights: list[float], valleys: list[float], at: int, way: int) -> float:
    """Height of one over the lowest valley before what is higher that way (-1, 1), or the curve's end."""
    low, k = heights[at], at
    while 0 <= k + way < len(heights) and heights[k] <= heights[at]:
        low = min(low, valleys[min(k, k + way)], heights[k])
        k += way
    return heights[at] - min(low, heights[k])
