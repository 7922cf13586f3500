"""Stage 5j: Edges, Axis, Marks -> the same marks, each with the u of what speaks against it; a front inside a handle moved.

The strip network places tip and front to a few px, and says how sure it is of the place, not of the thing. What looks like an end may
be a shadow of the tip that runs on before it, a stop that lies against the handle, or a bright stretch of shaft. Four signs tell: metal
that is sure only some way behind the tip; outlines that both waver until some way behind it; something of a stop behind the front; and
the handle's colour, which begins elsewhere.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.axis import Axis
from vision.edge_lines import Edges
from vision.marks import SMOOTH, STOP, WORKING, Mark, Marks

Array = NDArray[np.floating[Any]]
SURE, SURE_OVER_MM = 0.9, 0.3  # of metal, in the mean over that: so begins metal that is meant
IS_METAL = 0.5
# Both outlines waver by so many times what is usual of the part, over so much: of 66 hard development photos one, whose tip's shadow was
# taken for 2.9 mm of metal; on the others the outlines were sure within 0.4 mm.
WAVER_TIMES, WAVER_MM = 2.5, 0.6
STOP_BEHIND_MM = 2.5  # behind the front: stops are 1 to 2 mm thick (common practice, no source)
MAYBE_STOP_MM, MAYBE_STOP_U_MM = 0.25, 1.0  # so much of a stop's chances there; a front at either side of a stop
APART_MM = 1.5  # by which colour and network may place the front differently: the colour begins early or late by rim, shade and stop
METAL_MM = 0.3  # of metal between the two, or no stop, and one of them is wrong


def doubted(marks: Marks, edges: Edges, axis: Axis, px_per_mm: float, *, wavers: bool, gripped: bool = False) -> Marks:
    """Widen the u of tip and front by what speaks against them, and move a front out of a handle.

    ``wavers``: the outline itself is in doubt.

    ``gripped``: a whole handle was found by a colour that no metal and no shadow has; then no front lies far inside it.
    """
    if not edges.kinds.size:
        return marks
    metal = edges.kinds[WORKING] + edges.kinds[SMOOTH]
    tip = marks.tip
    if tip is not None:
        tip = _wider(tip, max(_late_px(metal, tip, px_per_mm), _wavering_px(edges, tip, marks.front, px_per_mm)))
    if marks.front is None:
        return replace(marks, tip=tip)
    colour = _by_colour_px(metal, marks, axis.front_index, px_per_mm, wavers=wavers)
    begins_at = axis.front_index
    if gripped and colour and begins_at is not None and _earlier(begins_at, marks, px_per_mm):
        begins = Mark(float(begins_at), float(np.hypot(marks.front.u, APART_MM * px_per_mm)))
        return replace(marks, tip=tip, front=begins)  # a glint on it looked like shaft
    front = _wider(marks.front, float(np.hypot(colour, _maybe_stop_px(edges.kinds, marks, px_per_mm))))
    return replace(marks, tip=tip, front=front)


def _earlier(begins: int, marks: Marks, px_per_mm: float) -> bool:
    """Whether a handle's colour begins before the front that was marked, and behind the tip and any stop."""
    if marks.front is None or _stop_at(marks, begins, px_per_mm):
        return False
    return (0.0 if marks.tip is None else marks.tip.column) < begins < marks.front.column


def _wider(mark: Mark | None, by_px: float | None) -> Mark | None:
    return mark if mark is None or not by_px else Mark(mark.column, float(np.hypot(mark.u, by_px)))


def _late_px(metal: Array, tip: Mark, px_per_mm: float) -> float:
    """How far behind the tip metal is sure to begin; 0 where it does at once, or nowhere."""
    over = max(round(SURE_OVER_MM * px_per_mm), 1)
    start = max(round(tip.column), 0)
    mean = np.convolve(metal[start:], np.ones(over) / over, mode="valid")
    sure = np.flatnonzero(mean > SURE)
    return float(sure[0]) if len(sure) else 0.0


def _wavering_px(edges: Edges, tip: Mark, front: Mark | None, px_per_mm: float) -> float:
    """How far behind the tip both outlines waver; 0 where one of them is soon sure, as that of metal is."""
    if not edges.u_px.size:
        return 0.0
    over, start = max(round(SURE_OVER_MM * px_per_mm), 1), max(round(tip.column), 0)
    stop = len(edges.upper_px) if front is None else round(front.column)
    surer = edges.u_px.min(axis=0)
    seen = np.isfinite(edges.upper_px - edges.lower_px)[start:stop]
    if not seen.any():
        return 0.0
    usual = float(np.median(surer[start:stop][seen]))
    sure = np.flatnonzero(np.convolve(surer[start:stop], np.ones(over) / over, mode="valid") < WAVER_TIMES * usual)
    return float(sure[0]) if len(sure) and sure[0] > WAVER_MM * px_per_mm else 0.0


def _maybe_stop_px(kinds: Array, marks: Marks, px_per_mm: float) -> float:
    """A stop's place in doubt where none was found but something of one shows behind the front, px."""
    if marks.stop is not None or marks.front is None:
        return 0.0
    start = max(round(marks.front.column), 0)
    seen = kinds[STOP, start : start + round(STOP_BEHIND_MM * px_per_mm)].sum() / px_per_mm
    return MAYBE_STOP_U_MM * px_per_mm if seen > MAYBE_STOP_MM else 0.0


def _by_colour_px(metal: Array, marks: Marks, colour: int | None, px_per_mm: float, *, wavers: bool) -> float:
    """By how many px the handle's colour begins elsewhere, where that speaks against the front; 0 where it does not.

    Earlier: unless a stop there explains it, which has a colour too. Later: where metal goes on behind the front, or nothing is sure.
    """
    if colour is None or marks.front is None or abs(colour - marks.front.column) < APART_MM * px_per_mm:
        return 0.0
    apart = colour - marks.front.column
    goes_on = (metal[round(marks.front.column) : max(colour, 0)] > IS_METAL).sum() > METAL_MM * px_per_mm
    against = wavers or (goes_on if apart > 0.0 else not _stop_at(marks, colour, px_per_mm))
    return float(abs(apart)) if against else 0.0


def _stop_at(marks: Marks, colour: int, px_per_mm: float) -> bool:
    """Whether a stop lies where a colour begins, its shadow and rim counted in."""
    if marks.stop is None:
        return False
    first, last = (mark.column for mark in marks.stop)
    return first - APART_MM * px_per_mm <= colour <= last + APART_MM * px_per_mm
