"""Stage 5: Photo, Axis -> Axis, Edges. The axis stays on the metal, runs on while metal is seen at its end, and turns round where it
lay the wrong way.

Finding works on a coarse picture: a pale tip may be lost in the paper, and thick metal taken for a handle. The strip network
looks a few millimetres past both ends; where it still sees metal there, the end was none, and where it sees too little of a handle to
take its front from, it looks at more. And metal that grows thinner toward
what was taken for the handle has its tip there: no hand instrument does that. Where the metal leaves the axis sideways, a shadow
or the print had led it astray: from the longest stretch of metal it is laid straight on.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.axis import BEYOND_MM, Axis
from vision.edge_lines import Edges
from vision.edges import locate_edges
from vision.marks import CUT_MM, HANDLE, LEAST_MM, SMOOTH, STOP, WORKING
from vision.photo import Photo
from vision.strip import normals

Array = NDArray[np.floating[Any]]
Lit = Callable[[Array], NDArray[np.bool_] | None]
STRIDE_MM, MOST_STRIDES = 5.0, 6
LED_MM = 34.0  # an axis that was led to its end among others runs on no farther than the longest needs: beyond lies another's metal
LOOK_MM = 1.2  # of strip at either end
IS_METAL = 0.5  # mean chance of metal over that
SLOPE_MM = 4.0  # the direction to run on in is taken over so much
MARGIN_PX = 2.0
FALLS = {False: 0.12, True: 0.35}  # share by which metal grows thinner along an axis (without, with a handle seen) that lies the wrong way
LEAST_COLUMNS = 200
LEAST_RUN_MM, GAP_MM = 5.0, 0.8  # a stretch of metal to go by; gaps in it (glare, a fibre)
LEAST_SHOWN = 0.3  # share of metal in what a direction is taken over: the rest may be a stop
APART_AT_MM, ASTRAY_MM = 2.0, 0.2
LED_OVER_MM = 3.0
HANDLE_BEFORE_MM = BEYOND_MM[0] + 1.0


def follow(
    photo: Photo, axis: Axis, px_per_mm: float, lit: Lit, *, led: bool = False, gripped: bool = False,
    most_aside_px: float = np.inf,
) -> tuple[Axis, Edges]:
    """Locate both outlines on an axis that reaches past the metal at both ends, or to the picture's border.

    ``lit`` tells which axis points (N, 2) lie before a lit screen. An end that was run past is no longer known from
    finding: ``tip_index`` or ``front_index`` is None then, and only the network's marks tell it. ``led``: the axis was led out of a handle
    told by its colour, among others: where two cross, the longest stretch of metal may be another's. ``gripped``: its handle was
    told by a colour that no metal has. ``most_aside_px``: metal farther aside of the line is another's.
    """
    locate = partial(locate_edges, most_aside_px=most_aside_px) if np.isfinite(most_aside_px) else locate_edges
    axis = _in_frame(photo, axis)
    edges = locate(photo, axis, px_per_mm, lit(axis.px))
    if not led and (_lies_the_wrong_way(axis, edges) or _begins_in_a_handle(edges, px_per_mm)):
        axis = _turned_round(axis)
        edges = locate(photo, axis, px_per_mm, lit(axis.px))
    kept = axis if led else _kept_on_metal(photo, axis, edges, px_per_mm)
    if kept is not axis:
        axis, edges = kept, locate(photo, kept, px_per_mm, lit(kept.px))
    for _ in range(MOST_STRIDES):
        if led and len(axis.px) > LED_MM * px_per_mm:
            break
        longer = _longer(photo, axis, edges, px_per_mm, gripped=gripped)
        if longer is axis:
            break
        axis, edges = longer, locate(photo, longer, px_per_mm, lit(longer.px), before=edges)
    return axis, edges


def _in_frame(photo: Photo, axis: Axis) -> Axis:
    """The same axis without what lies beyond the picture: its border, drawn out, may pass for a handle or a stop."""
    inside = np.flatnonzero(((axis.px >= 0.0) & (axis.px <= [photo.width_px - 1.0, photo.height_px - 1.0])).all(axis=1))
    if not LEAST_COLUMNS <= len(inside) < len(axis.px):
        return axis
    first, last = int(inside[0]), int(inside[-1])
    tip, front = (None if at is None or not first <= at <= last else at - first for at in (axis.tip_index, axis.front_index))
    return replace(axis, px=axis.px[first : last + 1], tip_index=tip, front_index=front)


def _lies_the_wrong_way(axis: Axis, edges: Edges) -> bool:
    """Whether the metal clearly grows thinner along the axis; where a handle was seen by colour, the far end may show no more of one."""
    if not edges.kinds.size:
        return False
    width = edges.upper_px - edges.lower_px
    metal = np.flatnonzero((edges.kinds[WORKING] + edges.kinds[SMOOTH] > IS_METAL) & np.isfinite(width))
    handle = edges.kinds[HANDLE] > IS_METAL
    if len(metal) < LEAST_COLUMNS or (axis.by_handle and handle[metal[-1] :].sum() > handle[: metal[0]].sum()):
        return False
    half = len(metal) // 2
    first, second = metal[:half], metal[half : 2 * half]
    slope = np.median((width[second] - width[first]) / (second - first))
    return bool(slope * np.ptp(metal) < -FALLS[axis.by_handle] * np.median(width[metal]))


def _begins_in_a_handle(edges: Edges, px_per_mm: float) -> bool:
    """Whether a handle shows before the longest stretch of metal and none behind it, as where a shadow beside the shaft was taken for one.

    So much of a handle is its own: before a tip an axis reaches ``BEYOND_MM`` and no farther, and another's may lie there.
    """
    if not edges.kinds.size:
        return False
    metal = edges.kinds[WORKING] + edges.kinds[SMOOTH] > IS_METAL
    first, last = _longest(metal | (edges.kinds[STOP] > IS_METAL), round(GAP_MM * px_per_mm))
    handle = edges.kinds[HANDLE] > IS_METAL
    long_enough = last - first >= LEAST_RUN_MM * px_per_mm
    return bool(long_enough and handle[:first].sum() > HANDLE_BEFORE_MM * px_per_mm and handle[last:].sum() < LEAST_MM * px_per_mm)


def _turned_round(axis: Axis) -> Axis:
    """The same line from its other end."""
    last = len(axis.px) - 1
    tip, front = (None if at is None else last - at for at in (axis.front_index, axis.tip_index))
    return replace(axis, px=axis.px[::-1], tip_index=tip, front_index=front)


def _kept_on_metal(photo: Photo, axis: Axis, edges: Edges, px_per_mm: float) -> Axis:
    """The same axis, or one laid straight on toward the handle from the longest stretch of metal, where that leaves it sideways.

    Toward the tip it is left alone: the middle of few flutes swings too much to tell a direction by. What looks like a handle behind the
    metal says nothing: a stop that is seen beside its shaft looks like one, and into a real handle the shaft leads straight.
    """
    if not edges.kinds.size:
        return axis
    metal = (edges.kinds[WORKING] + edges.kinds[SMOOTH] > IS_METAL) & np.isfinite(edges.upper_px - edges.lower_px)
    first, last = _longest(metal | (edges.kinds[STOP] > IS_METAL), round(GAP_MM * px_per_mm))
    over = round(SLOPE_MM * px_per_mm)
    if last - first < LEAST_RUN_MM * px_per_mm or metal[last - over : last + 1].mean() < LEAST_SHOWN:
        return axis
    line, middle = edges.strip.axis_px, (edges.upper_px + edges.lower_px) / 2.0
    spots = np.where(metal[:, None], line + np.nan_to_num(middle)[:, None] * normals(line), np.nan)
    ahead = _straight_on(photo, spots[last - over : last + 1], px_per_mm)
    if _apart_mm(ahead[over + 1 :], line[last + 1 :], px_per_mm) <= ASTRAY_MM:
        return axis
    return replace(axis, px=_joined(line[: last - over + 1], ahead, px_per_mm), front_index=None)


def _joined(line: Array, ahead: Array, px_per_mm: float) -> Array:
    """A line and what lies ahead, which begins beside the line's last point: that is led over gently, since a strip folds over where its
    axis jumps."""
    over = min(round(LED_OVER_MM * px_per_mm), len(line))
    share = np.linspace(0.0, 1.0, over)[:, None]
    moved = line.astype(float)
    moved[len(line) - over :] += share**2 * (3.0 - 2.0 * share) * (ahead[0] - line[-1])
    return np.concatenate([moved, ahead[1:]])


def _straight_on(photo: Photo, spots: Array, px_per_mm: float) -> Array:
    """A straight line through the last spots (NaN where no metal is), one point for each of them, and on from the last one."""
    seen, at = np.flatnonzero(np.isfinite(spots).all(axis=1)), np.arange(len(spots))
    half = len(seen) // 2
    slope = np.median((spots[seen[half : 2 * half]] - spots[seen[:half]]) / (seen[half : 2 * half] - seen[:half])[:, None], axis=0)
    start = np.median(spots[seen] - seen[:, None] * slope, axis=0)
    line = start + at[:, None] * slope
    return np.concatenate([line, _ahead(photo, line, px_per_mm)])


def _longest(seen: NDArray[np.bool_], gap: int) -> tuple[int, int]:
    """First and last column of the longest stretch, gaps of up to so many columns passed over; (0, 0) where nothing is seen."""
    at = np.flatnonzero(seen)
    if len(at) == 0:
        return 0, 0
    breaks = np.flatnonzero(np.diff(at) > max(gap, 1))
    starts, stops = at[np.concatenate([[0], breaks + 1])], at[np.concatenate([breaks, [len(at) - 1]])]
    best = int(np.argmax(stops - starts))
    return int(starts[best]), int(stops[best])


def _apart_mm(ahead: Array, there: Array, px_per_mm: float) -> float:
    """How far two lines from one point lie apart after `APART_AT_MM`, mm; 0 where either is shorter."""
    at = round(APART_AT_MM * px_per_mm)
    return float(np.linalg.norm(ahead[at] - there[at])) / px_per_mm if min(len(ahead), len(there)) > at else 0.0


def _longer(photo: Photo, axis: Axis, edges: Edges, px_per_mm: float, *, gripped: bool) -> Axis:
    """The same axis where neither end shows metal, or none can be gained. ``gripped``: a handle's colour told its front, which stays known:
    metal seen behind may be a glint on it."""
    if not edges.kinds.size:
        return axis
    line = edges.strip.axis_px  # centred on the metal, unlike the axis as found
    metal, look = edges.kinds[WORKING] + edges.kinds[SMOOTH], max(round(LOOK_MM * px_per_mm), 1)
    if metal[:look].mean() > IS_METAL:
        more = _ahead(photo, line[::-1], px_per_mm)[::-1]
        if len(more):
            front = None if axis.front_index is None else axis.front_index + len(more)
            line = np.concatenate([more, line])
            axis = replace(axis, px=line, tip_index=None, front_index=front)
    # A shiny handle may look like metal farther on; what looks like one before the tip says nothing of this end.
    grip = edges.kinds[HANDLE, int(np.argmax(metal > IS_METAL)) :] > IS_METAL
    seen = grip.sum() > LEAST_MM * px_per_mm
    more = _ahead(photo, line, px_per_mm)
    if (metal + edges.kinds[STOP])[-look:].mean() > IS_METAL and not seen:
        if len(more):
            axis = replace(axis, px=_led_on(photo, line, px_per_mm), front_index=axis.front_index if gripped else None)
    elif _ends_on_little(grip, px_per_mm) and len(more) >= CUT_MM * px_per_mm:
        axis = replace(axis, px=np.concatenate([line, more]))
    return axis


def _led_on(photo: Photo, line: Array, px_per_mm: float) -> Array:
    """A line and what lies ahead of it, straight on from before its end: a strip's last columns show too little to be centred by, and at
    the corner that they leave the next strip would fold over."""
    over, look = round(SLOPE_MM * px_per_mm), max(round(LOOK_MM * px_per_mm), 1)
    if len(line) < 2 * over:
        return np.concatenate([line, _ahead(photo, line, px_per_mm)])
    ahead = _straight_on(photo, np.concatenate([line[-over:-look], np.full((look, 2), np.nan)]), px_per_mm)
    return _joined(line[: 1 - over], ahead, px_per_mm)


def _ends_on_little(grip: NDArray[np.bool_], px_per_mm: float) -> bool:
    """Whether columns end on a handle of which they show too little to take its front from."""
    return bool(LEAST_MM * px_per_mm < grip.sum() < CUT_MM * px_per_mm and grip[-round(LEAST_MM * px_per_mm) :].mean() > IS_METAL)


def _ahead(photo: Photo, line_px: Array, px_per_mm: float) -> Array:
    """Points 1 px apart straight on from the line's last one, as far as the picture goes."""
    back = min(round(SLOPE_MM * px_per_mm), len(line_px) - 1)
    way = line_px[-1] - line_px[-1 - back]
    more = line_px[-1] + np.arange(1, round(STRIDE_MM * px_per_mm) + 1)[:, None] * way / np.linalg.norm(way)
    inside = ((more > MARGIN_PX) & (more < [photo.width_px - MARGIN_PX, photo.height_px - MARGIN_PX])).all(axis=1)
    return np.asarray(more[: int(np.argmin(inside))] if not inside.all() else more)
