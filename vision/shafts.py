"""Stage 3f: a handle and the mask of what lies on the sheet -> the line of its shaft, through whatever it crosses.

A shaft leaves its handle along the handle's own axis and stays straight to a few degrees; where two cross, going straight
on is right and turning is wrong. Its line is the best path of all those, found by dynamic programming over place and
direction; a kinked or curved end is followed afterwards, over metal that no other shaft accounts for.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache, cached_property
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.floating[Any]]
Mask = NDArray[np.bool_]
STEP_MM = 0.25
ASIDE_MM = 0.08
REACH_MM = 34.0  # the longest shaft, 31 mm, what perspective adds, and where the search begins within the handle
AIM_DEG = 16.0  # by which the axis of a handle's outline, its shadow included, may miss the shaft
AIM_STEP_DEG = 1.0
SIDEWAYS_MM = 2.0  # by which its middle may
TURN_STEP_DEG = 1.5
TURNS = 4  # steps to either side: a bow of 150 mm radius turns by 10 deg over a shaft
TURN_COST = 2.0  # a step: a line that turns onto another shaft where two cross must gain much by it
START_MM = 0.4  # aside of the straight line
METAL, BARE, UNKNOWN = 1.0, -1.3, -0.05  # a step's worth on metal, on bare paper, on print whose edges hide what is there
OFF_COST, OFF_MM, TURNED_COST = 10.0, 0.3, 0.4  # a mm aside of the handle's axis, a deg: a hard shadow runs beside its shaft
GAP_MM = 1.6  # as much bare paper ends a shaft
LEAST_MM = 5.0
END_MM = 6.0  # how far ahead the search for a bent end looks
END_DEG = 72.0
WAYS, BESIDE = 4, 8  # straight lines tried; cells aside within which two of nearly one direction are one
LIVELY, DULL = 0.02, 0.6  # median change of light over a quarter of a millimetre; what an even grey is worth
AT_ONCE = 48  # paths that are searched together
STEPS_AT_ONCE = 32  # of straight lines: 8 mm
BEND_WORTH, BACK_COST, AIM_COST = 3.0, 0.3, 0.02
STRAYED_MM = 1.5  # a third of a handle's thickness: so much farther aside of a shaft than its owner's lies one whose line strayed there


FULL = np.uint8(255)


@dataclass(frozen=True)
class Ground:
    """What the tracer looks at: ``metal`` and ``known`` (H, W), the scale, and light over paper's (H, W) if shadows are to be told."""

    metal: Mask
    known: Mask
    px_per_mm: float
    grey: Array | None = None

    @cached_property
    def both(self) -> NDArray[np.uint8]:
        """Metal and known as numbers to interpolate between, 0 or FULL, (H, W, 2): made once for all that is traced. Bytes, a quarter of
        what floats take: of a tray, the most is held while shafts are traced."""
        return np.dstack([self.metal, self.known]).view(np.uint8) * FULL


@dataclass(frozen=True)
class Shaft:
    """Line of a shaft, (N, 2) plane px a quarter of a millimetre apart, handle first, and what it is worth."""

    line_px: Array
    worth: float

    def length_mm(self, px_per_mm: float) -> float:
        """Length along the line."""
        return float(np.linalg.norm(np.diff(self.line_px, axis=0), axis=1).sum()) / px_per_mm


def aside(place: Array, stretch: Array) -> float:
    """How far a place lies aside of the straight line through a stretch (N, 2), in units of both."""
    middle = stretch.mean(axis=0)
    along = np.linalg.svd(stretch - middle, full_matrices=False)[2][0]
    return float(abs((place - middle) @ np.array([-along[1], along[0]])))


def trace_shaft(ground: Ground, start_px: Array, direction: Array) -> Shaft | None:
    """Follow the shaft that leaves ``start_px`` within a few degrees of the unit ``direction``; None when there is none."""
    return trace_shafts(ground, [(start_px, direction)])[0]


def trace_shafts(ground: Ground, leaving: Sequence[tuple[Array, Array]]) -> list[Shaft | None]:
    """The same for many (start, direction) at once, which spares most of the time."""
    ways = [(k, *way) for k, (start, direction) in enumerate(leaving) for way in _straight_ways(ground, start, direction)]
    found: list[Shaft | None] = [None] * len(leaving)
    best = [-np.inf] * len(leaving)
    for first in range(0, len(ways), AT_ONCE):
        some = ways[first : first + AT_ONCE]
        paths = _best_paths(ground, np.array([way[1] for way in some]), np.array([way[2] for way in some]))
        for (k, _, _, cost), path in zip(some, paths, strict=True):
            score = -np.inf if path is None else path.worth * _liveliness(ground, path.line_px) - cost
            if score > best[k]:
                found[k], best[k] = path, score
    return [one if one is not None and one.length_mm(ground.px_per_mm) >= LEAST_MM else None for one in found]


def _liveliness(ground: Ground, line: Array) -> float:
    """1 for metal, whose light changes from step to step, less for the even grey of a shadow beside it."""
    if ground.grey is None:
        return 1.0
    x, y = (np.ascontiguousarray(line[:, k], dtype=np.float32)[:, None] for k in (0, 1))
    light = cv2.remap(ground.grey, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE).ravel()
    change = float(np.median(np.abs(np.diff(light))))
    return float(np.clip(change / LIVELY, DULL, 1.0))


def _straight_ways(ground: Ground, start_px: Array, direction: Array) -> list[tuple[Array, Array, float]]:
    """Starts and directions of the straight lines that promise most and differ, and what lying off the axis costs each."""
    aims = np.arange(-AIM_DEG, AIM_DEG + 0.1, AIM_STEP_DEG)
    totals = _straight_totals(ground, start_px, np.array([turned(direction, aim) for aim in aims]))
    off = np.abs(np.arange(totals.shape[1]) - totals.shape[1] // 2) * ASIDE_MM
    costs = OFF_COST * np.maximum(off - OFF_MM, 0.0) + TURNED_COST * np.abs(aims)[:, None]
    totals = totals - costs
    ways = []
    for _ in range(WAYS):
        aim, aside = (int(v) for v in np.unravel_index(int(totals.argmax()), totals.shape))
        if totals[aim, aside] <= 0.0:
            break
        towards = turned(direction, float(aims[aim]))
        off_mm = (aside - totals.shape[1] // 2) * ASIDE_MM
        ways.append((start_px + ground.px_per_mm * off_mm * np.array([-towards[1], towards[0]]), towards, float(costs[aim, aside])))
        totals[max(aim - 4, 0) : aim + 5, max(aside - BESIDE, 0) : aside + BESIDE + 1] = -np.inf
    return ways


def _straight_totals(ground: Ground, start_px: Array, towards: Array) -> Array:
    """What the straight line from each cell is worth along each direction, (fans, wide). Most soon meet bare paper, so the fans are looked
    at piece by piece, and no farther than one of their lines goes on."""
    steps, going, lines = round(REACH_MM / STEP_MM), np.arange(len(towards)), None
    best: Array = np.empty(0)
    for first in range(0, steps, STEPS_AT_ONCE):
        piece = slice(first, min(first + STEPS_AT_ONCE, steps))
        worth, _ = _fans(ground, start_px, towards[going], REACH_MM, SIDEWAYS_MM + 0.2, piece)
        lines = _onward(_widened(worth, 5), lines)  # a bow of half a millimetre is straight enough
        best = lines.best.copy() if first == 0 else best
        best[going] = lines.best
        on = np.asarray(~lines.ended.all(axis=1))
        going, lines = going[on], lines.only(on)
        if len(going) == 0:
            break
    return best


def _straight_worth(worth: Array) -> Array:
    """What the straight line from each cell of a fan's first row is worth, up to its first stretch of bare paper.

    ``worth`` (fans, steps, wide); returns (fans, wide).
    """
    return _onward(worth, None).best


@dataclass(frozen=True)
class _Lines:
    """Straight lines from each cell of fans (fans, wide) as far as they were looked at: their worth there, the best before, whether they
    have come to a stretch of bare paper, and whether their last steps (fans, some, wide) are bare."""

    worth: Array
    best: Array
    ended: Mask
    bare: Mask

    def only(self, fans: Mask) -> _Lines:
        """Those of some of the fans."""
        return _Lines(self.worth[fans], self.best[fans], self.ended[fans], self.bare[fans])


def _onward(worth: Array, before: _Lines | None) -> _Lines:
    """Lines carried on over the next steps of their fans (fans, steps, wide)."""
    long = round(GAP_MM / STEP_MM)
    bare, worth = worth < -0.5, worth.copy()
    if before is not None:
        bare = np.concatenate([before.bare, bare], axis=1)
        worth[:, 0] += before.worth
    count = np.cumsum(bare, axis=1, dtype=np.int16)
    gap = np.zeros(worth.shape, dtype=bool)
    gap[:, worth.shape[1] + long - bare.shape[1] :] = count[:, long:] - count[:, :-long] >= long - 1.5
    if before is not None:
        gap[:, 0] |= before.ended
    ended, total = np.logical_or.accumulate(gap, axis=1), np.cumsum(worth, axis=1)
    best = np.where(ended, -np.inf, total).max(axis=1)
    return _Lines(total[:, -1], best if before is None else np.maximum(best, before.best), ended[:, -1], bare[:, -long:])


def _widened(worth: Array, cells: int) -> Array:
    """Each cell of fans (fans, steps, wide) as good as the best of so many beside it."""
    flat = cv2.dilate(worth.reshape(-1, worth.shape[2]), np.ones((1, cells)))
    return np.asarray(flat, dtype=float).reshape(worth.shape)


def follow_end(free: Ground, shaft: Shaft) -> Shaft:
    """Carry a shaft on round a kink or a curve, over the metal of ``free``: what no other instrument owns.

    What makes it longer than any shaft is another's, whose handle was not found.
    """
    found = shaft
    for _ in range(6):
        line = shaft.line_px
        if len(line) < 12 or not _more_ahead(free, line[-1]):
            return shaft
        longer = _round_the_bend(free, line)
        if longer is None:
            return shaft
        shaft = Shaft(longer, shaft.worth)
        if shaft.length_mm(free.px_per_mm) > REACH_MM:
            return found
    return shaft


def _more_ahead(free: Ground, end_px: Array) -> bool:
    """Whether enough metal that nobody owns lies around the end."""
    r = round(2.0 * free.px_per_mm)
    x, y = (max(round(float(v)), 0) for v in end_px)
    part = free.metal[max(y - r, 0) : y + r + 1, max(x - r, 0) : x + r + 1]
    return bool(part.sum() > 0.25 * free.px_per_mm**2)


def _round_the_bend(free: Ground, line: Array) -> Array | None:
    """The line with its best straight continuation at any angle; None when nothing is worth it."""
    best, longer = BEND_WORTH, None
    for back in (0, 3, 6):  # the last steps may have run past the bend
        at = line[len(line) - 1 - back]
        direction = at - line[len(line) - 9 - back if len(line) > 9 + back else 0]
        direction = direction / max(float(np.linalg.norm(direction)), 1e-9)
        aims = np.arange(-END_DEG, END_DEG + 0.1, 6.0)
        worth, spots = _fans(free, at, [turned(direction, float(aim)) for aim in aims], END_MM, 0.2)
        middle = worth.shape[2] // 2
        lines = _widened(worth, 3)[:, :, [middle]]
        for k, (aim, along, straight) in enumerate(zip(aims, lines, _straight_worth(lines)[:, 0], strict=True)):
            total = float(straight) - BACK_COST * back - AIM_COST * abs(float(aim))
            if total > best:
                steps = np.cumsum(along[:, 0])
                steps[_gap_from(along) :] = -np.inf
                last = min(int(np.argmax(steps)), 12)  # 3 mm at a time follow a curve
                more = np.column_stack([spot[k, : last + 1, middle] for spot in spots])
                best, longer = total, np.concatenate([line[: len(line) - back], more])
    return longer


def _gap_from(along: Array) -> int:
    """First step of the first stretch of bare paper; the number of steps when there is none."""
    wide = round(GAP_MM / STEP_MM)
    bare = np.convolve(along[:, 0] < -0.5, np.ones(wide), mode="valid") >= wide - 1.5
    return int(np.argmax(bare)) if bare.any() else len(along)


def _best_paths(ground: Ground, starts_px: Array, directions: Array) -> list[Shaft | None]:
    """Best path in each fan along one direction (N, 2); every step goes a quarter of a millimetre ahead."""
    wide_mm = START_MM + REACH_MM * float(np.tan(np.radians(TURN_STEP_DEG * TURNS))) * 0.7 + 0.5
    worth, spots = _fans(ground, starts_px, directions, REACH_MM, wide_mm)
    fans, steps, wide = worth.shape
    moves, sources, outside = _way_of_moves(steps, wide, TURNS)
    near, slopes = round(START_MM / ASIDE_MM), moves.shape[1]
    score = np.full((fans, slopes + 2, wide), -np.inf)
    score[:, 1:-1, wide // 2 - near : wide // 2 + near + 1] = 0.0
    came = np.zeros((steps, fans, slopes, wide), dtype=np.int8)
    tops = np.full((steps, fans), -np.inf)
    places = np.zeros((steps, fans), dtype=int)
    for i in range(steps):
        left, on, right = score[:, :-2] - TURN_COST, score[:, 1:-1], score[:, 2:] - TURN_COST
        better = np.maximum(on, right)
        chosen = np.where(left >= better, np.int8(-1), np.where(on >= right, np.int8(0), np.int8(1)))
        came[i] = np.take(chosen.reshape(fans, -1), sources[i], axis=1)
        moved = np.take(np.maximum(left, better).reshape(fans, -1), sources[i], axis=1) + worth[:, i, None]
        moved[:, outside[i]] = -np.inf
        score[:, 1:-1] = moved
        flat = moved.reshape(fans, -1)
        places[i] = flat.argmax(axis=1)
        tops[i] = flat[np.arange(fans), places[i]]
    return [_ended(came[:, k], moves, (spots[0][k], spots[1][k]), worth[k], tops[:, k], places[:, k]) for k in range(fans)]


def _ended(
    came: NDArray[np.int8], moves: NDArray[np.int_], spots: tuple[Array, Array], worth: Array, tops: Array, places: NDArray[np.int_]
) -> Shaft | None:
    """The path that ends where its worth is greatest; None when that is nowhere."""
    last = int(tops.argmax())
    if last < 3 or tops[last] <= 0.0:
        return None
    at = (last, int(places[last]) // worth.shape[1], int(places[last]) % worth.shape[1])
    return _read_back(came, moves, spots, worth, at, float(tops[last]))


@cache
def _way_of_moves(steps: int, wide: int, turns: int) -> tuple[NDArray[np.int_], NDArray[np.int_], Mask]:
    """For every step and slope: cells moved aside (steps, slopes); where each cell came from, and whether from outside the fan."""
    slopes = np.tan(np.radians(np.arange(-turns, turns + 1) * TURN_STEP_DEG)) * STEP_MM / ASIDE_MM
    moves = np.rint(np.outer(np.arange(steps + 1), slopes)).astype(int)
    moves = moves[1:] - moves[:-1]
    from_ = np.arange(wide) - moves[:, :, None]
    rows = wide * np.arange(len(slopes))[:, None]
    return moves, rows + np.clip(from_, 0, wide - 1), (from_ < 0) | (from_ >= wide)


def _read_back(
    came: NDArray[np.int8], moves: NDArray[np.int_], spots: tuple[Array, Array], worth: Array, at: tuple[int, int, int], best: float
) -> Shaft | None:
    """Walk the path back from its end, then cut it at the first stretch of bare paper."""
    i, k, t = at
    path = []
    while i >= 0:
        path.append((i, t))
        before = k + int(came[i, k, t])
        t = min(max(t - int(moves[i, k]), 0), worth.shape[1] - 1)
        i, k = i - 1, before
    rows = np.array(path[::-1])
    along = worth[rows[:, 0], rows[:, 1]]
    bare = np.convolve(along < -0.5, np.ones(round(GAP_MM / STEP_MM)), mode="valid") >= GAP_MM / STEP_MM - 1.5
    if bare.any():
        end = int(np.argmax(bare))
        if end < 3:
            return None
        total = np.cumsum(along[:end])
        end = int(np.argmax(total)) + 1
        rows, best = rows[:end], float(total[end - 1])
    return Shaft(np.column_stack([spot[rows[:, 0], rows[:, 1]] for spot in spots]), best) if len(rows) > 3 else None


def _fans(
    ground: Ground, start_px: Array, directions: Sequence[Array] | Array, reach_mm: float, wide_mm: float, piece: slice = slice(None)
) -> tuple[Array, tuple[Array, Array]]:
    """Worth of every cell ahead of the start, or of each start, along each direction (fans, steps, wide), and its plane px, x and y.

    ``piece``: those of the steps.
    """
    aside = np.arange(-round(wide_mm / ASIDE_MM), round(wide_mm / ASIDE_MM) + 1) * ASIDE_MM
    ahead = np.arange(1, round(reach_mm / STEP_MM) + 1)[piece] * STEP_MM
    towards = np.array(directions)
    normal = np.column_stack([-towards[:, 1], towards[:, 0]])
    starts = np.asarray(start_px).reshape(-1, 1, 1, 2)
    spots = [
        starts[..., k] + ground.px_per_mm * (ahead[:, None] * towards[:, k, None, None] + aside * normal[:, k, None, None]) for k in (0, 1)
    ]
    x, y = (spot.astype(np.float32).reshape(-1, len(aside)) for spot in spots)
    bytes_ = cv2.remap(ground.both, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=0.0)
    both = np.asarray(bytes_, dtype=np.float32) / np.float32(FULL)
    core = cv2.blur(np.ascontiguousarray(both[..., 0]), (3, 1))
    worth = core * METAL + (1.0 - core) * np.where(both[..., 1] > 0.5, BARE, UNKNOWN)
    return np.asarray(worth, dtype=float).reshape(spots[0].shape), (spots[0], spots[1])


def turned(direction: Array, degrees: float) -> Array:
    """A direction turned by so much, from x toward y."""
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    return np.array([c * direction[0] - s * direction[1], s * direction[0] + c * direction[1]])
