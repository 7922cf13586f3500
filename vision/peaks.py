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
    peaks = _far_apart(values, _maxima(values), distance)
    return peaks[[_stands_out(values, int(at)) >= prominence for at in peaks]] if len(peaks) else peaks


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


def _stands_out(values: Array, at: int) -> float:
    """Height over the higher of the two valleys that lie between it and what is higher, or the curve's end."""
    before, after = np.flatnonzero(values[:at] > values[at]), np.flatnonzero(values[at:] > values[at])
    first = int(before[-1]) if len(before) else 0
    last = at + int(after[0]) if len(after) else len(values) - 1
    return float(values[at] - max(values[first : at + 1].min(), values[at : last + 1].min()))
