"""Stage 3e': faint outlines on bare paper -> handles as white as the paper, told by both their sides and the shaft that runs into them.

In soft light such a handle shows as a broken outline alone; no closing of gaps joins it that would not join it to its
neighbours as well. A shaft is a straight line, and its handle lies where that line goes on between two sides of about the right width.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.grips import Grip

Array = NDArray[np.floating[Any]]
Mask = NDArray[np.bool_]
LINE_MM, LINE_GAP_MM, VOTES_MM = 7.0, 2.0, 4.5  # of a shaft as seen: least length, gaps passed over, px on the line
MOST_LINES = 400
STEP_MM, BACK_MM, AHEAD_MM = 0.2, 6.0, 19.0  # where the handle is looked for about a line's end: a stop may hide the shaft's last
ASIDE_MM = 3.5
SIDE_MM = (1.1, 2.6)  # from the line: where a side of the handle may be
LEANS = np.arange(-0.8, 0.81, 0.4)  # mm by which the line may miss the handle's middle
LONG_MM = 9.0  # least length of a handle
FRONT_MM = 2.0  # before the front, where no sides may be
BOTH, BEFORE, INSIDE, OUTSIDE = 0.72, 0.35, 0.45, 0.30  # shares: of both sides; of sides before the front; of marks inside and beyond
CORE_MM, CLEAR_MM = 0.7, (2.9, 3.4)
WHITE, WHITER = (0.72, 1.90), 0.95  # median light over paper's within; no shadow reaches the second, so marks inside are its own shading
APART_MM = 5.0
ALONG_MM, ACROSS_MM = np.arange(-BACK_MM, AHEAD_MM, STEP_MM), np.arange(-ASIDE_MM, ASIDE_MM + 0.01, 0.1)  # about a line


def _between(off_mm: Array, least_mm: float, most_mm: float) -> Mask:
    return np.asarray((off_mm > least_mm) & (off_mm < most_mm))


_OFF_MM = ACROSS_MM - LEANS[:, None]
ZONES = _between(_OFF_MM, *SIDE_MM), _between(-_OFF_MM, *SIDE_MM), _between(np.abs(_OFF_MM), *CLEAR_MM)  # by lean: two sides, and beyond


@dataclass(frozen=True)
class _Found:
    grip: Grip
    score: float


def outlined_grips(weak: Mask, grey: Array, px_per_mm: float) -> tuple[Grip, ...]:
    """Find handles told by their outline in ``weak`` (H, W), what no other handle accounts for; ``grey``: light over paper's."""
    found: list[_Found] = []
    image = weak.astype(np.float32)
    for end, way in _line_ends(weak, px_per_mm):
        one = _handle_at(image, grey, end, way, px_per_mm)
        if one is not None:
            found.append(one)
    kept: list[_Found] = []
    for one in sorted(found, key=lambda f: -f.score):
        if all(np.linalg.norm(one.grip.middle_px - other.grip.middle_px) > APART_MM * px_per_mm for other in kept):
            kept.append(one)
    return tuple(one.grip for one in kept)


def _line_ends(weak: Mask, px_per_mm: float) -> list[tuple[Array, Array]]:
    """Both ends of every straight line, each with the unit direction out of it."""
    lines = cv2.HoughLinesP(
        weak.astype(np.uint8), 1.0, np.radians(1.0), round(VOTES_MM * px_per_mm),
        minLineLength=LINE_MM * px_per_mm, maxLineGap=LINE_GAP_MM * px_per_mm,
    )  # fmt: skip
    if lines is None:
        return []
    every = np.asarray(lines, dtype=float).reshape(-1, 4)
    longest = np.argsort(-np.hypot(every[:, 2] - every[:, 0], every[:, 3] - every[:, 1]))[:MOST_LINES]
    ends = []
    for x0, y0, x1, y1 in every[longest]:
        first, last = np.array([x0, y0]), np.array([x1, y1])
        way = (last - first) / np.linalg.norm(last - first)
        ends += [(last, way), (first, -way)]
    return ends


def _handle_at(image: NDArray[np.float32], grey: Array, end: Array, way: Array, px_per_mm: float) -> _Found | None:
    """The handle that a line runs into about its end; None without both sides of one."""
    along, across = ALONG_MM, ACROSS_MM
    normal = np.array([-way[1], way[0]])
    x, y = ((end[k] + px_per_mm * (along[:, None] * way[k] + across * normal[k])).astype(np.float32) for k in (0, 1))
    marks = cv2.remap(image, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=0.0) > 0.5
    found = _scored(marks)
    if found is None:
        return None
    score, first, lean, half_mm = found
    long = round(LONG_MM / STEP_MM)
    light = cv2.remap(np.asarray(grey, dtype=np.float32), x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    inside = float(np.median(light[first : first + long, np.abs(across - lean) < CORE_MM]))
    core = float(marks[first : first + long, np.abs(across - lean) < CORE_MM].mean())
    if not WHITE[0] < inside < WHITE[1] or (core > INSIDE and inside < WHITER):
        return None
    start = end + px_per_mm * (along[first] * way + lean * normal)
    return _Found(_as_grip(start, way, normal, half_mm, px_per_mm), score)


def _scored(marks: Mask) -> tuple[float, int, float, float] | None:
    """Score, first row, lean and half width (mm) of the best handle about a line; None without one."""
    long, before = round(LONG_MM / STEP_MM), round(FRONT_MM / STEP_MM)
    upper, lower, outer = np.split(marks.astype(np.float32) @ np.concatenate(ZONES).T.astype(np.float32) > 0.0, len(ZONES), axis=1)
    if (upper & lower).sum(axis=0).max() < BOTH * long:  # as of most lines
        return None
    rows = np.arange(before, len(ALONG_MM) - long)
    sides, either = _windows(upper & lower, long)[rows], _windows(upper | lower, before)[rows - before]
    good = (sides >= BOTH) & (either <= BEFORE) & (_windows(outer, long)[rows] <= OUTSIDE)
    score = np.where(good, sides - 0.5 * either, -1.0)
    lean = int(score.max(axis=0).argmax())
    row = int(score[:, lean].argmax())
    if score[row, lean] <= 0.0:
        return None
    first = int(rows[row])
    part, beyond, sides_of = marks[first : first + long], np.abs(ACROSS_MM - LEANS[lean]), [zone[lean] for zone in ZONES[:2]]
    reach = [float(np.median([beyond[side][line[side]].max() for line in part if line[side].any()])) for side in sides_of]
    return float(score[row, lean]), first, float(LEANS[lean]), float(np.mean(reach))


def _windows(values: Mask, wide: int) -> Array:
    """Mean over the next ``wide`` rows from each on; the last ones, which lack some, count as 0."""
    total = np.concatenate([np.zeros((1, values.shape[1])), np.cumsum(values.astype(float), axis=0)])
    out = np.zeros(values.shape)
    out[: len(values) - wide + 1] = (total[wide:] - total[:-wide]) / wide
    return out


def _as_grip(start: Array, way: Array, normal: Array, half_mm: float, px_per_mm: float) -> Grip:
    """A plain bar in place of the handle, as long as a handle surely is."""
    last = start + LONG_MM * px_per_mm * way
    corners = np.array([start + half_mm * px_per_mm * normal, start - half_mm * px_per_mm * normal,
                        last - half_mm * px_per_mm * normal, last + half_mm * px_per_mm * normal])  # fmt: skip
    low = np.floor(corners.min(axis=0)).astype(int)
    low = np.maximum(low, 0)
    size = np.maximum(np.ceil(corners.max(axis=0)).astype(int) - low + 1, 1)
    mask = np.zeros((int(size[1]), int(size[0])), dtype=np.uint8)
    cv2.fillConvexPoly(mask, np.rint(corners - low).astype(np.int32), 1)
    middle = (start + last) / 2.0
    return Grip(mask.astype(bool), (int(low[0]), int(low[1])), middle, way, LONG_MM * px_per_mm / 2.0, at_border=False)
