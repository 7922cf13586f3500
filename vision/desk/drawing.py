"""A trace -> lines to draw over the photo: turned so that the tip lies left and the axis runs level.

Everything stays in px of the photo; ``turn`` is the one rotation (degrees about ``centre``) that the page applies to photo and
lines alike, ``box`` what is then in view (x, y, width, height), ``crop`` the part of the photo that covers it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Json = dict[str, Any]
Points = NDArray[np.float64]
ASPECT = 2.4  # width over height of the view
CROP_ASPECT = 1.5  # of what is cut out of the photo: narrow screens show more above and below
MARGIN = 0.06
GAP_STEPS = 8.0  # usual steps between points of an outline
FINDING_REACH = 2.2  # half height of a finding's mark, in half widths of the shaft


@dataclass(frozen=True)
class Mark:
    """A finding's outline in the picture and where its letter stands."""

    letter: str
    path: str
    at: tuple[float, float]


@dataclass(frozen=True)
class Drawing:
    """What the picture of one instrument needs."""

    turn: float
    centre: tuple[float, float]
    box: tuple[float, float, float, float]
    crop: tuple[int, int, int, int]
    outline: tuple[str, ...]
    axis: str
    crests: tuple[tuple[float, float], ...]
    stations: tuple[tuple[str, str, tuple[float, float]], ...]
    findings: tuple[Mark, ...]
    unit_px: float  # a line width that suits the view


def drawing_of(trace: Json, findings: Sequence[Json], photo_px: tuple[int, int]) -> Drawing | None:
    """Return what to draw; None for a trace without an axis. ``photo_px``: width and height of the upright photo."""
    axis = _points(trace["axis_px"])
    if len(axis) < 2:
        return None
    turn, centre = _turn(axis)
    outline = [_points(trace[name]) for name in ("upper_px", "lower_px")]
    seen = np.concatenate([axis, *[line for line in outline if len(line)]])
    box = _box(_turned(seen, turn, centre))
    unit = box[2] / 900.0
    return Drawing(
        turn=round(turn, 3),
        centre=centre,
        box=box,
        crop=_crop(box, turn, centre, photo_px),
        outline=tuple(path(piece) for line in outline for piece in _pieces(line)),
        axis=path(axis),
        crests=tuple((round(x, 1), round(y, 1)) for x, y in trace["crests_px"]),
        stations=tuple(
            (name, path(_points(line)), (line[0][0], line[0][1]))
            for name, line in trace["stations_px"].items()
            if len(line) == 2
        ),
        findings=tuple(
            _mark(letter, finding, trace, unit) for letter, finding in zip("ABCDEFGHIJKLM", findings, strict=False)
        ),
        unit_px=round(unit, 3),
    )


def path(points: Points) -> str:
    """Return an SVG path through the points."""
    return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in points)


def _pieces(line: Points) -> list[Points]:
    """Cut a line where points are far apart: there the edge was hidden or not seen."""
    if len(line) < 2:
        return []
    steps = np.linalg.norm(np.diff(line, axis=0), axis=1)
    gaps = np.flatnonzero(steps > GAP_STEPS * max(float(np.median(steps)), 1.0)) + 1
    return [piece for piece in np.split(line, gaps) if len(piece) > 1]


def _points(rows: Sequence[Sequence[float]]) -> Points:
    return np.array(rows, dtype=float).reshape(-1, 2)


def _turn(axis: Points) -> tuple[float, tuple[float, float]]:
    """Return the rotation that lays the chord from tip to handle level, tip left."""
    chord = axis[-1] - axis[0]
    middle = (axis[0] + axis[-1]) / 2.0
    return -math.degrees(math.atan2(chord[1], chord[0])), (round(float(middle[0]), 1), round(float(middle[1]), 1))


def _turned(points: Points, turn_deg: float, centre: tuple[float, float]) -> Points:
    c, s = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    away = points - np.array(centre)
    turned: Points = away @ np.array([[c, s], [-s, c]]) + np.array(centre)
    return turned


def _box(points: Points) -> tuple[float, float, float, float]:
    low, high = points.min(axis=0), points.max(axis=0)
    width = (high[0] - low[0]) * (1.0 + 2.0 * MARGIN)
    height = max(width / ASPECT, (high[1] - low[1]) * 1.3)
    middle = (low + high) / 2.0
    made = (middle[0] - width / 2.0, middle[1] - height / 2.0, width, height)
    return (round(float(made[0]), 1), round(float(made[1]), 1), round(float(made[2]), 1), round(float(made[3]), 1))


def _crop(
    box: tuple[float, float, float, float], turn: float, centre: tuple[float, float], photo_px: tuple[int, int]
) -> tuple[int, int, int, int]:
    """Return the upright rectangle of the photo that covers the turned view, as far as the photo goes."""
    x, y, width, height = box
    y, height = y - max(width / CROP_ASPECT - height, 0.0) / 2.0, max(height, width / CROP_ASPECT)
    corners = np.array([[x, y], [x + width, y], [x + width, y + height], [x, y + height]])
    back = _turned(corners, -turn, centre)
    low = np.clip(np.floor(back.min(axis=0)), 0, np.array(photo_px) - 1).astype(int)
    high = np.clip(np.ceil(back.max(axis=0)), 1, np.array(photo_px)).astype(int)
    size = np.maximum(high - low, 1)
    return int(low[0]), int(low[1]), int(size[0]), int(size[1])


def _mark(letter: str, finding: Json, trace: Json, unit: float) -> Mark:
    """Return a bracket around the stretch of the axis that a finding names."""
    axis, x = _points(trace["axis_px"]), np.array(trace["axis_x_mm"], dtype=float)
    middle = (finding["from_mm"] + finding["to_mm"]) / 2.0
    half = max((finding["to_mm"] - finding["from_mm"]) / 2.0, 0.25)
    columns = [int(np.argmin(np.abs(x - place))) for place in (middle - half, middle, middle + half)]
    first, centre, last = (axis[column] for column in columns)
    along = (last - first) / max(float(np.linalg.norm(last - first)), 1e-9)
    normal = np.array([-along[1], along[0]]) * unit * 26.0 * FINDING_REACH
    ring = np.array([first - normal, last - normal, last + normal, first + normal, first - normal])
    at = centre - normal * 1.25
    return Mark(letter, path(ring), (round(float(at[0]), 1), round(float(at[1]), 1)))
