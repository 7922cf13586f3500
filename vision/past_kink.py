"""Stage 5: Plane, Axis -> Axis. Past a sharp kink near the tip: a gentle centre line runs straight on there, and would end.

What finding saw beside the end of the line proposes one direction; the line turns there only where the strip network sees metal
that way, since shadows and fibres leave a tip sideways too.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

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
BACK_MM, BEYOND_MM = 2.0, 3.0
LEAST_SEEN_MM, SEEN_SHARE = 0.7, 0.85  # of metal that way
IS_METAL, SURELY_METAL = 0.5, 0.8
MOST_SPREAD_PX = 3.0  # of the network's outline there: shadows have no sharp one
CERTAIN, CERTAIN_SPREAD_PX = 0.97, 7.0  # metal beyond all doubt may be a little out of focus: a kinked end leaves the level of the shaft


def past_kink(photo: Photo, plane: Plane, scale: Scale, candidate: Candidate, axis: Axis, edges: Edges, px_per_mm: float) -> Axis:
    """Return the axis led on round a kink at the end of the metal, or the same axis."""
    first = _first_metal(edges, px_per_mm)
    if first is None:
        return axis
    line = edges.strip.axis_px
    spots = scale.to_px(plane.to_mm(_spots(candidate)))
    end = line[first]
    out = line[first] - line[min(first + round(BACK_MM * px_per_mm), len(line) - 1)]
    way = _way(spots - end, out / max(float(np.linalg.norm(out)), 1e-9), px_per_mm, plane.px_per_mm)
    if way is None:
        return axis
    reach = np.arange(round((FAR_MM + BEYOND_MM) * px_per_mm), 0, -1)[:, None]
    ahead = end + reach * way
    inside = ((ahead > 3.0) & (ahead < [photo.width_px - 4.0, photo.height_px - 4.0])).all(axis=1)
    ahead = ahead[int(np.argmax(inside)) :] if inside.any() else ahead[:0]
    seen = _seen_px(photo, ahead, line[first:], axis, px_per_mm)
    if seen < LEAST_SEEN_MM * px_per_mm:
        return axis
    more = ahead[max(len(ahead) - seen - round(BEYOND_MM * px_per_mm), 0) :]
    shift = len(more) - first
    front = None if axis.front_index is None else axis.front_index + shift
    return replace(axis, px=np.concatenate([more, line[first:]]), tip_index=None, front_index=front)


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


def _way(moved: Array, out: Array, px_per_mm: float, plane_px_per_mm: float) -> Array | None:
    """Unit direction, px, of what lies aside of the line's end; None where too little does."""
    far = np.linalg.norm(moved, axis=1) / px_per_mm
    turn = np.degrees(np.arctan2(out[0] * moved[:, 1] - out[1] * moved[:, 0], moved @ out))
    aside = (far > NEAR_MM) & (far < FAR_MM) & (np.abs(turn) > TURN_DEG[0]) & (np.abs(turn) < TURN_DEG[1])
    if aside.sum() < LEAST_SPOTS_MM2 * plane_px_per_mm**2:
        return None
    side = np.sign(np.median(turn[aside]))
    angle = np.radians(np.median(turn[aside & (np.sign(turn) == side)]))
    return np.array([out[0] * np.cos(angle) - out[1] * np.sin(angle), out[0] * np.sin(angle) + out[1] * np.cos(angle)])


def _seen_px(photo: Photo, ahead: Array, rest: Array, axis: Axis, px_per_mm: float) -> int:
    """How many px of metal the network sees on the line ``ahead``, counted from its end at the kink."""
    back = round(BACK_MM * px_per_mm)
    if len(ahead) < LEAST_SEEN_MM * px_per_mm or len(rest) < back:
        return 0
    sight = see_metal(photo, np.concatenate([ahead, rest[:back]]), axis.half_mm * px_per_mm)
    chance, spread = sight.kinds[WORKING] + sight.kinds[SMOOTH], sight.u_px.max(axis=0)
    sharp = (spread < MOST_SPREAD_PX) | ((chance > CERTAIN) & (spread < CERTAIN_SPREAD_PX))
    metal = ((chance > SURELY_METAL) & sharp)[: len(ahead)][::-1]
    share = np.cumsum(metal) / np.arange(1, len(metal) + 1)
    told = np.flatnonzero(share > SEEN_SHARE)
    return int(told[-1]) + 1 if len(told) else 0
