"""What a picture draws, as JSON kept beside a reading: format flutegauge-trace/1.

Points are [x, y] in px of the upright photo; ``axis_x_mm`` gives the place along the instrument of each axis point.
``pitch`` and ``trend`` are rows of [x mm, pitch mm], ``profile`` of [x mm, upper mm, lower mm]. Lines are thinned to
at most MOST_POINTS, evenly: a picture needs no more.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.reading import PhotoReading, Trace

FORMAT = "flutegauge-trace/1"
MOST_POINTS = 1500
Json = dict[str, Any]


def traces(reading: PhotoReading) -> dict[int, Json]:
    """Return each instrument's trace under its number in the photo."""
    return {one.id: trace_json(one.trace) for one in reading.instruments}


def trace_json(trace: Trace) -> Json:
    """Return one trace; rows with anything but finite numbers are left out."""
    axis = np.asarray(trace.axis_px, dtype=float).reshape(-1, 2)
    x_mm = np.asarray(trace.axis_x_mm, dtype=float)
    along = np.column_stack([axis, x_mm]) if len(x_mm) == len(axis) else np.empty((0, 3))
    along = _rows(along, 3)
    return {
        "format": FORMAT,
        "axis_px": _rounded(along[:, :2], 1),
        "axis_x_mm": [round(float(x), 3) for x in along[:, 2]],
        "upper_px": _rounded(_rows(trace.upper_px, 2), 1),
        "lower_px": _rounded(_rows(trace.lower_px, 2), 1),
        "crests_px": _rounded(_rows(trace.crests_px, 2), 1),
        "stations_px": {name: _rounded(_rows(line, 2), 1) for name, line in trace.stations_px.items()},
        "pitch": _rounded(_rows(trace.pitch_mm_of_x, 2), 4),
        "trend": _rounded(_rows(trace.trend_mm_of_x, 2), 4),
        "profile": _rounded(_rows(trace.profile_mm_of_x, 3), 4),
    }


def _rows(points: NDArray[np.float64], columns: int) -> NDArray[np.float64]:
    rows: NDArray[np.float64] = np.asarray(points, dtype=float).reshape(-1, columns)
    rows = rows[np.isfinite(rows).all(axis=1)]
    if len(rows) <= MOST_POINTS:
        return rows
    kept: NDArray[np.float64] = rows[np.unique(np.linspace(0, len(rows) - 1, MOST_POINTS).round().astype(int))]
    return kept


def _rounded(rows: NDArray[np.float64], decimals: int) -> list[list[float]]:
    return [[round(float(v), decimals) for v in row] for row in rows]
