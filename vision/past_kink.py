"""Stage 5: Plane, Axis -> Axis. Past a sharp kink near the tip: a gentle centre line runs straight on there, and would end.

What finding saw beside the end of the line proposes another line; the axis turns into it where the two cross, and only if the strip
network sees metal that way, since shadows and fibres leave a tip sideways too.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d
from scipy.spatial import cKDTree

from vision.axis import Axis
from vision.edge_lines import Edges
from vision.find import Candidate
from vision.marks import SMOOTH, WORKING
from vision.metal import see_metal
from vision.photo import Photo
from vision.plane import Plane
from vision.scale import Scale

Array = NDArray[np.floating[Any]]
NEAR_MM, FAR_MM = 0.4, 5.0  # from the line's end: what lies there may be the rest of the instrument
TURN_DEG = (14.0, 95.0)  # less is no kink that a line loses; more lies beside the shaft
LEAST_SPOTS_MM2 = 0.05
THICK_MM = 0.5
LEAST_PEAK, APART_DEG = 0.15, 12.0  # share of the spots that makes a direction of its own; so far from the middle one
FAN_DEG, FIRST_MM = 25.0, 2.0  # about the usual direction from the line's end: where a line through what lies there begins
CLEAR_MM = 0.1  # of the metal's outline: what lies outside of it belongs to something else
BAND_MM = 0.45  # half the width of what one line is laid through
BACK_MM, BEYOND_MM, JOIN_MM = 2.0, 3.0, 4.0
MOST_APART_MM, ROUND_MM = 0.3, 0.15
LEAST_SEEN_MM, SEEN_SHARE = 0.7, 0.85  # of metal that way
# Of it outside of what is seen straight on: a thick end shows metal whichever way one looks. Two whole tips 0.8 and 1.1 widths, a kink 1.5.
LEAST_GAIN_MM, LEAST_GAIN_WIDTHS = 0.4, 1.25
IS_METAL, SURELY_METAL = 0.5, 0.8
MOST_SPREAD_PX = 3.0  # of the network's outline there: shadows have no sharp one
CERTAIN_SPREAD = 0.3  # of the width, likewise: flutes seen across are no outline that the network knows
CERTAIN, CERTAIN_SPREAD_PX = 0.97, 7.0  # metal beyond all doubt may be a little out of focus: a kinked end leaves the level of the shaft


def past_kink(photo: Photo, plane: Plane, scale: Scale, candidate: Candidate, axis: Axis, edges: Edges, px_per_mm: float) -> Axis:
    """Return the axis led on round a kink at the end of the metal, or the same axis."""
    first = _first_metal(edges, px_per_mm)
    if first is None:
        return axis
    line = edges.strip.axis_px
    spots = _aside(scale.to_px(plane.to_mm(_spots(candidate))), edges, first, px_per_mm)
    trials = []
    for begin in _begins(edges, first, px_per_mm):
        out = line[begin] - line[min(begin + round(BACK_MM * px_per_mm), len(line) - 1)]
        out = out / max(float(np.linalg.norm(out)), 1e-9)
        ways = _ways(spots - line[begin], out, px_per_mm, plane.px_per_mm)
        trials += [_led(photo, line, begin, way, axis, px_per_mm) for way in ways]
    least = max(LEAST_GAIN_MM * px_per_mm, LEAST_GAIN_WIDTHS * _thick(edges, first, px_per_mm))
    gains = [one for one in trials if one is not None and len(_aside(one.seen, edges, first, px_per_mm)) > least]
    best = max(gains, key=lambda one: len(one.seen), default=None)
    if best is None or len(best.seen) < LEAST_SEEN_MM * px_per_mm:
        return axis
    front = None if axis.front_index is None else axis.front_index + best.shift
    return replace(axis, px=best.px, tip_index=None, front_index=front)


def _begins(edges: Edges, first: int, px_per_mm: float) -> list[int]:
    """Columns to look aside from: the metal's first one, and of a thick shaft, whose line runs on past the corner to its outer side, one
    farther back by its width."""
    thick = _thick(edges, first, px_per_mm)
    back = first + round(thick)
    return [first, back] if thick > THICK_MM * px_per_mm and back < len(edges.upper_px) - 1 else [first]


def _thick(edges: Edges, first: int, px_per_mm: float) -> float:
    """How wide the metal is behind its first column, px."""
    return _usual((edges.upper_px - edges.lower_px)[first : first + round(BACK_MM * px_per_mm)])


def _aside(spots: Array, edges: Edges, first: int, px_per_mm: float) -> Array:
    """Those of the spots (N, 2) that lie outside of the metal as it is seen straight on: within it a thick tip's cone leads aside too."""
    last = first + round(JOIN_MM * px_per_mm)
    line, normal = edges.strip.axis_px[first:last], edges.strip.normal[first:last]
    if len(line) == 0 or len(spots) == 0:
        return spots
    near, column = cKDTree(line).query(spots)
    offset = ((spots - line[column]) * normal[column]).sum(axis=1)
    lower, upper = (np.nan_to_num(edge[first:last])[column] for edge in (edges.lower_px, edges.upper_px))
    low, high = np.minimum(lower, upper) - CLEAR_MM * px_per_mm, np.maximum(lower, upper) + CLEAR_MM * px_per_mm
    beside = np.abs(near - np.abs(offset)) < 1.0  # not ahead of the line's end, nor behind
    return np.asarray(spots[~(beside & (offset > low) & (offset < high))])


def _usual(width_px: Array) -> float:
    """Median of the widths that are seen; 0 where none is."""
    return float(np.nanmedian(width_px)) if np.isfinite(width_px).any() else 0.0


@dataclass(frozen=True)
class _Led:
    """A line led on another way: its points, by how many columns the old ones have moved, those on metal seen that way."""

    px: Array
    shift: int
    seen: Array


def _led(photo: Photo, line: Array, first: int, way: tuple[Array, Array], axis: Axis, px_per_mm: float) -> _Led | None:
    """Turn ``line`` into a way (point from its end, direction) where the two cross; None where they pass each other by."""
    end = line[first]
    join = _crossing(line[first : first + round(JOIN_MM * px_per_mm)] - end, *way, px_per_mm)
    if join is None:
        return None
    begin, direction = end + way[0], way[1]
    foot = begin + direction * ((line[first + join] - begin) @ direction)
    ahead = foot + np.arange(round((FAR_MM + JOIN_MM + BEYOND_MM) * px_per_mm), 0, -1)[:, None] * direction
    inside = ((ahead > 3.0) & (ahead < [photo.width_px - 4.0, photo.height_px - 4.0])).all(axis=1)
    ahead = ahead[int(np.argmax(inside)) :] if inside.any() else ahead[:0]
    rest = line[first + join :]
    seen = _seen_px(photo, ahead, rest, axis, px_per_mm)
    more = ahead[max(len(ahead) - seen - round(BEYOND_MM * px_per_mm), 0) :]
    return _Led(_rounded(np.concatenate([more, rest]), len(more), px_per_mm), len(more) - first - join, ahead[len(ahead) - seen :])


def _crossing(line: Array, point: Array, direction: Array, px_per_mm: float) -> int | None:
    """Column of ``line`` (from its end on) that lies nearest to the other line; None where they pass each other by."""
    moved = line - point
    apart = np.abs(moved[:, 0] * direction[1] - moved[:, 1] * direction[0])
    at = int(np.argmin(apart))
    return at if apart[at] < MOST_APART_MM * px_per_mm else None


def _rounded(line: Array, corner: int, px_per_mm: float) -> Array:
    """The same line with its corner rounded over the width of a shaft: strips fold over at a sharp one."""
    reach, over = round(4.0 * ROUND_MM * px_per_mm), ROUND_MM * px_per_mm
    low, high = max(corner - reach, 0), min(corner + reach, len(line))
    soft = gaussian_filter1d(line[low:high], over, axis=0, mode="nearest")
    at = np.arange(low, high) - corner
    share = np.clip(2.0 - np.abs(at) / (2.0 * over), 0.0, 1.0)[:, None]
    line = line.copy()
    line[low:high] += share * (soft - line[low:high])
    return line


def _first_metal(edges: Edges, px_per_mm: float) -> int | None:
    """First column of the longest run of metal; None where none was seen."""
    if not edges.kinds.size:
        return None
    metal = np.flatnonzero(edges.kinds[WORKING] + edges.kinds[SMOOTH] > IS_METAL)
    if len(metal) < px_per_mm:
        return None
    breaks = np.flatnonzero(np.diff(metal) > 0.3 * px_per_mm)
    starts, stops = np.concatenate([[0], breaks + 1]), np.concatenate([breaks, [len(metal) - 1]])
    return int(metal[starts[int(np.argmax(metal[stops] - metal[starts]))]])


def _spots(candidate: Candidate) -> Array:
    v, u = np.nonzero(candidate.thin)
    return np.column_stack([u + candidate.offset_px[0], v + candidate.offset_px[1]]).astype(float)


def _ways(moved: Array, out: Array, px_per_mm: float, plane_px_per_mm: float) -> list[tuple[Array, Array]]:
    """Ways on, each a point and a unit direction, px from the line's end: a line laid through what lies ahead and aside of the end,
    and the straight way there, where shadows or print hide the line. None where too little lies there."""
    far = np.linalg.norm(moved, axis=1) / px_per_mm
    turn = np.degrees(np.arctan2(out[0] * moved[:, 1] - out[1] * moved[:, 0], moved @ out))
    near = (far > NEAR_MM) & (far < FAR_MM)
    aside = near & (np.abs(turn) > TURN_DEG[0]) & (np.abs(turn) < TURN_DEG[1])
    if aside.sum() < LEAST_SPOTS_MM2 * plane_px_per_mm**2:
        return []
    ways: list[tuple[Array, Array]] = []
    for degrees in _turns(turn[aside & (np.sign(turn) == np.sign(np.median(turn[aside])))]):
        angle = np.radians(degrees)
        straight = np.array([out[0] * np.cos(angle) - out[1] * np.sin(angle), out[0] * np.sin(angle) + out[1] * np.cos(angle)])
        ways.append((np.zeros(2), straight))
        fan = near & (far < FIRST_MM) & (np.abs(turn - degrees) < FAN_DEG)
        if fan.sum() < LEAST_SPOTS_MM2 * plane_px_per_mm**2:
            continue
        point, direction = _line_through(moved[near & (np.abs(turn) < TURN_DEG[1])], moved[fan], BAND_MM * px_per_mm)
        direction = direction if direction @ out > 0.0 else -direction
        bent = abs(float(np.degrees(np.arctan2(out[0] * direction[1] - out[1] * direction[0], direction @ out))))
        ways += [(point, direction)] if TURN_DEG[0] <= bent <= TURN_DEG[1] else []
    return ways


def _turns(turn_deg: Array) -> list[float]:
    """Directions that spots aside of a line lie in: the middle one, and where a bent end and its shadow lie apart, each one's own."""
    counts, edges = np.histogram(turn_deg, np.arange(-100.0, 101.0, 10.0))
    wide = np.pad(counts, 1)
    peaks = np.flatnonzero((counts >= wide[:-2]) & (counts > wide[2:]) & (counts > LEAST_PEAK * counts.sum()))
    middle = float(np.median(turn_deg))
    return [middle, *(float(at) for at in edges[peaks] + 5.0 if abs(at - middle) > APART_DEG)]


def _line_through(spots: Array, first: Array, band_px: float) -> tuple[Array, Array]:
    """Centre and unit direction of the spots about a line that the ``first`` of them begin; what lies beside it has no say."""
    kept = first
    for _ in range(5):
        centre = kept.mean(axis=0)
        direction = np.linalg.svd(kept - centre, full_matrices=False)[2][0]
        apart = np.abs((spots - centre) @ np.array([-direction[1], direction[0]]))
        kept = spots[apart < band_px] if (apart < band_px).any() else kept
    return centre, direction


def _seen_px(photo: Photo, ahead: Array, rest: Array, axis: Axis, px_per_mm: float) -> int:
    """How many px of metal the network sees on the line ``ahead``, counted from its end at the kink."""
    back = round(BACK_MM * px_per_mm)
    if len(ahead) < LEAST_SEEN_MM * px_per_mm or len(rest) < back:
        return 0
    sight = see_metal(photo, np.concatenate([ahead, rest[:back]]), axis.half_mm * px_per_mm)
    chance, spread = sight.kinds[WORKING] + sight.kinds[SMOOTH], sight.u_px.max(axis=0)
    thick = _usual((sight.upper_px - sight.lower_px)[len(ahead) :])
    sharp = (spread < MOST_SPREAD_PX) | ((chance > CERTAIN) & (spread < max(CERTAIN_SPREAD_PX, CERTAIN_SPREAD * thick)))
    metal = ((chance > SURELY_METAL) & sharp)[: len(ahead)][::-1]
    share = np.cumsum(metal) / np.arange(1, len(metal) + 1)
    told = np.flatnonzero(share > SEEN_SHARE)
    return int(told[-1]) + 1 if len(told) else 0
