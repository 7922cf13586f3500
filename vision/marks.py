"""Stage 5g: what every column shows -> where tip, stop, handle's front and the working part's end lie along the strip.

The strip network gives each column its chances of being nothing, working part, smooth shaft, stop or handle. An instrument
has an order: tip, working part, smooth shaft with at most one stop on it, handle. The likeliest such order is found over
all columns at once, so that a glint on a handle that looks like a stop moves nothing; each mark is then set where the
chances cross, and how steeply they do tells how sure the place is.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.floating[Any]]
NOTHING, WORKING, SMOOTH, STOP, HANDLE = range(5)
CELL_MM = 0.05  # the order is sought at this step
STOP_MM = (0.8, 2.4)  # stops are 1 to 2 mm thick: common practice, no source
LEAST_MM = 0.4  # of handle or metal, to count as seen
CUT_MM = 1.5  # before the strip's end: the network sees no further, and smooth shaft or a handle of less than this is none
STOP_COST = 6.0  # log chance a stop must win by: it is there or not
FLOOR = 0.01
BESIDE = 0.9  # how well a stop or handle before the tip passes for nothing: none begins there
STOP_AS_HANDLE = 0.3  # how well a handle passes for a stop, where shaft is seen again behind it
ALIKE_CELLS = 6.0  # neighbouring cells say the same: so many count as one
FRONT_SHARE = 0.5  # a front lies where the chances cross far better than they are wide: 0.3 of it (195 development renders)
HIDDEN_U_MM = 1.0  # of a front that a stop lies against: what looks like the stop may be the handle's own rim (4 of 4 such renders)


@dataclass(frozen=True)
class Mark:
    """A place along the strip in columns (with fraction) and its standard uncertainty in columns, from the network's own doubt."""

    column: float
    u: float


@dataclass(frozen=True)
class Marks:
    """What was seen along the strip, None where it was not. ``part_end_hidden``: a stop or the handle covers the end."""

    tip: Mark | None
    stop: tuple[Mark, Mark] | None
    front: Mark | None
    part_end: Mark | None
    part_end_hidden: bool


NO_MARKS = Marks(None, None, None, None, part_end_hidden=False)


def read_marks(kinds: Array, px_per_mm: float) -> Marks:
    """Read the marks off the chances (5, N) of the columns, tip first; NO_MARKS without chances or metal."""
    width = max(round(CELL_MM * px_per_mm), 1)
    count = kinds.shape[1] // width
    if count < 20:
        return NO_MARKS
    cells = kinds[:, : count * width].reshape(5, count, width).mean(axis=2)
    metal = cells[WORKING] + cells[SMOOTH]
    first = _first_metal(cells)
    if first is None:
        return NO_MARKS
    last, doubt, stop = _order(cells, metal, first, px_per_mm)
    smooth = kinds[WORKING] + kinds[SMOOTH]
    handle = kinds[HANDLE] + 0.6 * kinds[STOP]
    tip = _cross(1.0 - kinds[NOTHING], first * width, width) if first > 0 else None
    against = stop is not None and stop[1] >= last
    front = _front(handle, smooth, (last, doubt), count, width, px_per_mm, hidden=against)
    sides = None
    if stop is not None:
        share = kinds[STOP] / np.maximum(kinds[STOP] + smooth, 1e-6)
        far = front if against and front is not None else _fall(share, stop[1] * width, width)
        sides = (_cross(share, stop[0] * width, width), far)
    end, hidden = _part_end(kinds, cells, first, last, stop, width)
    return Marks(tip, sides, front, end, hidden)


def _first_metal(cells: Array) -> int | None:
    """First cell from which on the strip shows something: the likeliest single change from nothing, or from some other thing."""
    before = cells[NOTHING] + BESIDE * (cells[STOP] + cells[HANDLE])  # neither lies at a tip
    nothing, some = np.log(np.maximum(before, FLOOR)), np.log(np.maximum(1.0 - cells[NOTHING], FLOOR))
    score = np.concatenate([[0.0], np.cumsum(nothing)]) + np.concatenate([np.cumsum(some[::-1])[::-1], [0.0]])
    first = int(np.argmax(score))
    return first if first < cells.shape[1] - 5 else None


def _order(cells: Array, metal: Array, first: int, px_per_mm: float) -> tuple[int, float, tuple[int, int] | None]:
    """Cell where the handle begins (the number of cells: none does), by how many cells that is in doubt, and the stop's cells.

    The likeliest order; a handle over a dark table or in a slot may look like nothing, or like flutes.
    """
    count = cells.shape[1]
    cell_mm = max(round(CELL_MM * px_per_mm), 1) / px_per_mm
    shaft = np.log(np.maximum(metal, FLOOR))
    looks = cells[HANDLE] + 0.6 * cells[STOP] + 0.4 * cells[WORKING] + 0.3 * cells[NOTHING] + 0.1 * cells[SMOOTH]
    handle = np.log(np.maximum(looks, FLOOR))
    gain = np.log(np.maximum(cells[STOP] + STOP_AS_HANDLE * cells[HANDLE], FLOOR)) - shaft
    along = np.concatenate([[0.0], np.cumsum(shaft)])
    behind = np.concatenate([[0.0], np.cumsum(handle)])
    gained = np.concatenate([[0.0], np.cumsum(gain)])
    widths = np.arange(max(int(STOP_MM[0] / cell_mm), 1), int(STOP_MM[1] / cell_mm) + 2)
    starts = np.arange(count + 1)[:, None] - widths
    won = np.where(starts >= first, gained[:, None] - gained[np.maximum(starts, 0)] - STOP_COST, -np.inf)
    top = won.argmax(axis=1)
    best = np.maximum.accumulate(np.maximum(won[np.arange(count + 1), top], 0.0))
    ends = np.maximum.accumulate(np.where(np.diff(best, prepend=0.0) > 0.0, np.arange(count + 1), 0))
    where = np.column_stack([starts[ends, top[ends]], ends])
    fronts = np.arange(first, count + 1)
    score = along[fronts] - along[first] + behind[count] - behind[fronts] + best[fronts]
    last = int(fronts[int(np.argmax(score))])
    chance = np.exp((score - score.max()) / ALIKE_CELLS)
    doubt = float(np.sqrt((chance * (fronts - last) ** 2).sum() / chance.sum()))
    return last, doubt, (int(where[last, 0]), int(where[last, 1])) if best[last] > 0.0 else None


def _front(
    handle: Array, smooth: Array, found: tuple[int, float], count: int, width: int, px_per_mm: float, *, hidden: bool
) -> Mark | None:
    last, doubt = found
    if (count - last) * width < LEAST_MM * px_per_mm:
        return None
    if hidden:
        return Mark(float(last * width), float(np.hypot(HIDDEN_U_MM * px_per_mm, doubt * width)))
    mark = _cross(handle / np.maximum(handle + smooth, 1e-6), last * width, width)
    return Mark(mark.column, float(np.hypot(FRONT_SHARE * mark.u, max(doubt - 2.0, 0.0) * width)))


def _cross(share: Array, near: int, width: int) -> Mark:
    """Where a share rises through one half nearest to a column; the spread of its rise around there is the doubt."""
    low, high = max(near - 8 * width, 0), min(near + 8 * width, len(share) - 1)
    part = share[low : high + 1]
    rises = np.flatnonzero((part[:-1] < 0.5) & (part[1:] >= 0.5))
    if len(rises) == 0:
        return Mark(float(near), 4.0 * width)
    at = int(rises[np.argmin(np.abs(rises + low - near))])
    place = low + at + (0.5 - part[at]) / max(float(part[at + 1] - part[at]), 1e-6)
    change = np.abs(np.diff(part))
    spot = np.arange(len(change)) + low + 0.5
    spread = float(np.sqrt((change * (spot - place) ** 2).sum() / max(change.sum(), 1e-6)))
    return Mark(float(place), float(np.hypot(spread, 0.3)))


def _fall(share: Array, near: int, width: int) -> Mark:
    mirrored = _cross(share[::-1], len(share) - 1 - near, width)
    return Mark(len(share) - 1 - mirrored.column, mirrored.u)


def _part_end(
    kinds: Array, cells: Array, first: int, last: int, stop: tuple[int, int] | None, width: int
) -> tuple[Mark | None, bool]:
    """The working part's end, the likeliest single change to smooth shaft, and whether a stop or the handle covers it."""
    working, smooth = np.log(np.maximum(cells[WORKING], FLOOR)), np.log(np.maximum(cells[SMOOTH], FLOOR))
    seen = np.ones(cells.shape[1])
    if stop is not None:
        seen[stop[0] : stop[1]] = 0.0
    part = slice(first, last)
    before = np.concatenate([[0.0], np.cumsum((working * seen)[part])])
    after = np.concatenate([np.cumsum((smooth * seen)[part][::-1])[::-1], [0.0]])
    end = first + int(np.argmax(before + after))
    if (cells[WORKING, first:end].mean() if end > first else 0.0) < 0.5:
        return None, False
    covered = stop is not None and stop[0] - 1 <= end <= stop[1] + 1
    if covered or end >= last - 1:
        return Mark(float(end * width), 4.0 * width), True
    share = kinds[WORKING] / np.maximum(kinds[WORKING] + kinds[SMOOTH], 1e-6)
    return _fall(share, end * width, width), False
