"""Stage 8d: what the picture draws: outlines, axis, crests and stations back in px, pitch and profile in mm."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.dimensions import D16_AT_MM
from vision.edge_lines import Edges
from vision.outline import Outline
from vision.place import Profile
from vision.quantity import Quantity
from vision.reading import Trace
from vision.tip import Tip
from vision.unwinding import TwistLoss

Array = NDArray[np.floating[Any]]
STATIONS = (("D0", 0.0), ("D16", D16_AT_MM))
STOP_CLEAR_MM = 0.3


def draw_trace(
    edges: Edges,
    profile: Profile,
    outline: Outline,
    tip: Tip,
    front_mm: Quantity | None,
    twist: TwistLoss | None,
    *,
    hidden_mm: tuple[float, float] | None,
    d16_seen: bool,
) -> Trace:
    """Collect the lines and points of one instrument; NaN where an edge was not seen or a stop hides it
    (``hidden_mm``), so that pictures show gaps as gaps."""
    axis = edges.strip.axis_px
    first = int(tip.column) if tip.column is not None else 0
    last = int(profile.column_at(front_mm.value)) if front_mm is not None else len(axis) - 1
    part = slice(max(first, 0), last + 1)
    blank = _blank(profile.x_mm, hidden_mm)
    upper, lower = (_along(edges, offset + blank)[part] for offset in (edges.upper_px, edges.lower_px))
    profile_rows = np.column_stack([profile.x_mm, profile.upper_mm + blank, profile.lower_mm + blank])[part]
    return Trace(
        axis_px=np.asarray(axis[part], dtype=float),
        upper_px=upper,
        lower_px=lower,
        crests_px=_crests(edges, profile, outline),
        stations_px=_stations(edges, profile, first if tip.column is not None else None, d16_seen=d16_seen),
        pitch_mm_of_x=_pitch(outline, twist),
        trend_mm_of_x=np.empty((0, 2)) if twist is None else np.asarray(twist.trend_pitch_mm, dtype=float),
        profile_mm_of_x=np.asarray(profile_rows, dtype=float),
        axis_x_mm=np.asarray(profile.x_mm[part], dtype=float),
    )


def _along(edges: Edges, offset_px: Array) -> NDArray[np.float64]:
    return np.asarray(edges.strip.axis_px + offset_px[:, None] * edges.strip.normal, dtype=float)


def _crests(edges: Edges, profile: Profile, outline: Outline) -> NDArray[np.float64]:
    points = []
    for crests, offset in ((outline.upper, edges.upper_px), (outline.lower, edges.lower_px)):
        for x in crests.x_mm:
            column = round(profile.column_at(float(x)))
            place = edges.strip.axis_px[column] + np.nan_to_num(offset[column]) * edges.strip.normal[column]
            points.append(place)
    return np.array(points, dtype=float).reshape(-1, 2)


def _blank(x_mm: Array, hidden_mm: tuple[float, float] | None) -> Array:
    """NaN where a stop hides the metal (and throws its shadow), 0 elsewhere."""
    if hidden_mm is None:
        return np.zeros(len(x_mm))
    return np.where((x_mm > hidden_mm[0] - STOP_CLEAR_MM) & (x_mm < hidden_mm[1] + STOP_CLEAR_MM), np.nan, 0.0)


def _stations(edges: Edges, profile: Profile, tip: int | None, *, d16_seen: bool) -> dict[str, NDArray[np.float64]]:
    """Cross lines at the stations, (2, 2) end points a little beyond the outline."""
    if tip is None:
        return {}
    lines = {}
    reach = float(np.nanpercentile(edges.upper_px - edges.lower_px, 90)) * 0.9 + 6.0
    for name, x in STATIONS:
        if x > profile.x_mm[-1] or (x == D16_AT_MM and not d16_seen):
            continue
        column = round(profile.column_at(x))
        middle, normal = edges.strip.axis_px[column], edges.strip.normal[column]
        lines[name] = np.array([middle - reach * normal, middle + reach * normal], dtype=float)
    return lines


def _pitch(outline: Outline, twist: TwistLoss | None) -> NDArray[np.float64]:
    if twist is not None:
        return np.asarray(twist.pitch_mm, dtype=float)
    rows = [np.column_stack([(c.x_mm[1:] + c.x_mm[:-1]) / 2.0, c.spacing_mm]) for c in (outline.upper, outline.lower)]
    pooled = np.concatenate(rows)
    return np.asarray(pooled[np.argsort(pooled[:, 0])], dtype=float)
