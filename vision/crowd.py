"""Stage 3g: several instruments in one picture -> a candidate each, also where they touch, cross or lie over print.

Handles are found first: they are thick, and nobody lays one on another. Each owns the shaft that leaves it. What no handle
accounts for is left to the finding of single pieces: instruments whose handle is out of the frame, and strangers.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.grips import Grip, filled, find_grips
from vision.plane import Plane
from vision.shafts import Ground, Shaft, follow_end, trace_shaft

Array = NDArray[np.floating[Any]]
Mask = NDArray[np.bool_]
INSIDE_MM = 0.7  # the search begins so far inside the handle, whose front is rounded off by the opening
BESIDE_MM = 1.2  # metal so near a shaft's line may be its own; half of the thickest shaft is 0.9
STOP_MM = 1.0  # half as wide as this or more, a run across is a stop's
SAME_MM, SAME_SHARE = 0.8, 0.5  # two handles' shafts nearer than that over half their length are one
PALE_CLOSE_MM = 1.0


@dataclass(frozen=True)
class Taken:
    """One instrument's pixels in the whole plane: thin part, handle, stop, and whether the frame cuts it."""

    thin: Mask
    handle: Mask
    stop: Mask
    cut: bool


@dataclass(frozen=True)
class _Held:
    grip: Grip
    shaft: Shaft


def take_apart(plane: Plane, relative: Array, ground: Ground, weak: Mask, rim: Mask) -> tuple[list[Taken], Mask]:
    """Give every handle its shaft; returns the instruments and the mask of what they account for.

    ``ground``: metal seen and where it can be seen; ``weak``: the same mask at a lower threshold, for handles as pale as paper.
    """
    ppm = plane.px_per_mm
    solid = filled(ground.metal, ppm)
    held = _held(find_grips(solid, relative, rim, ppm), ground)
    whole = _drawn(held, solid.shape, 2.6 * ppm)
    pale = filled(_closed(weak & ~whole, PALE_CLOSE_MM * ppm), ppm)
    held = _unlike([*held, *_held(find_grips(pale & ~whole, relative, rim, ppm), ground)], ppm)
    claimed = _drawn(held, solid.shape, 1.6 * ppm)
    free = Ground(ground.metal & ~claimed, ground.known, ppm)
    bent = [_Held(one.grip, follow_end(free, one.shaft)) for one in held]
    taken = [_take(one, solid, ground, rim) for one in bent]
    used = _drawn(bent, solid.shape, 3.4 * ppm)
    reach = 2 * max(round(0.8 * ppm), 1) + 1
    return taken, cv2.dilate(used.astype(np.uint8), np.ones((reach, reach), np.uint8)).astype(bool)


def _held(grips: tuple[Grip, ...], ground: Ground) -> list[_Held]:
    """Handles with the better of the shafts that leave their two ends; those without any are left out."""
    found = []
    for grip in grips:
        first, last = grip.ends_px()
        inside = INSIDE_MM * ground.px_per_mm
        shafts = [trace_shaft(ground, first + inside * grip.axis, -grip.axis), trace_shaft(ground, last - inside * grip.axis, grip.axis)]
        some = [shaft for shaft in shafts if shaft is not None]
        if some:
            found.append(_Held(grip, max(some, key=lambda shaft: shaft.worth)))
    return found


def _unlike(held: list[_Held], px_per_mm: float) -> list[_Held]:
    """Leave out a second handle on the same shaft (a shadow, a half of one): the one with the better shaft stays."""
    kept: list[_Held] = []
    for one in sorted(held, key=lambda h: -h.shaft.worth):
        if not any(_shared(one.shaft, other.shaft) < SAME_MM * px_per_mm for other in kept):
            kept.append(one)
    return kept


def _shared(one: Shaft, other: Shaft) -> float:
    """Median distance of the shorter line's points from the longer line, px."""
    short, long = sorted((one.line_px, other.line_px), key=len)
    gaps = np.linalg.norm(short[:, None] - long[None], axis=2).min(axis=1)
    return float(np.quantile(gaps, SAME_SHARE))


def _take(one: _Held, solid: Mask, ground: Ground, rim: Mask) -> Taken:
    """Pixels of one instrument: the runs of metal across its line, thin where they can be a shaft's."""
    ppm = ground.px_per_mm
    shape = solid.shape
    handle = np.zeros(shape, dtype=bool)
    left, top = one.grip.offset_px
    height, width = one.grip.mask.shape
    handle[top : top + height, left : left + width] = one.grip.mask
    line = _densely(one.shaft.line_px)
    outside = ~handle[tuple(np.clip(np.rint(line).astype(int), 0, np.array(shape[::-1]) - 1).T[::-1])]
    line = line[int(np.argmax(outside)) :] if outside.any() else line
    low, high = _runs(solid, line, ppm)
    wide = (high - low) / 2.0
    shaft = wide < STOP_MM * ppm
    usual = float(np.median(wide[shaft])) if shaft.any() else 0.3 * ppm
    thin, stop = np.zeros(shape, dtype=np.uint8), np.zeros(shape, dtype=np.uint8)
    normal = _normals(line)
    for k in range(len(line) - 1):
        here = slice(k, k + 2)
        clean = bool(shaft[here].all())
        reach_low, reach_high = (low[k], high[k]) if clean else (-usual, usual)
        _stroke(thin, line[here], normal[here], reach_low, reach_high)
        if not clean and wide[k] < 2.2 * ppm:
            _stroke(stop, line[here], normal[here], low[k], high[k])
    real_stop = _stop_like(stop.astype(bool), ppm)
    thin_mask = thin.astype(bool) & ~handle & ~real_stop
    cut = bool(((thin_mask | handle) & rim).any())
    return Taken(thin_mask, handle, real_stop & ~handle, cut)


def _stop_like(mask: Mask, px_per_mm: float) -> Mask:
    """The part of a thick place that is compact enough for a stop; where two shafts cross nothing of it stays."""
    r = max(round(0.55 * px_per_mm), 1)
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * r + 1, 2 * r + 1))
    return np.asarray(cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_OPEN, kernel).astype(bool))


def _runs(solid: Mask, line: Array, px_per_mm: float) -> tuple[Array, Array]:
    """First and last offset, px along the normal, of the run of metal that holds each point of the line."""
    offsets = np.arange(-2.6 * px_per_mm, 2.6 * px_per_mm + 0.1, 0.5)
    spots = line[:, None] + offsets[None, :, None] * _normals(line)[:, None]
    x, y = spots[..., 0].astype(np.float32), spots[..., 1].astype(np.float32)
    metal = cv2.remap(solid.astype(np.float32), x, y, cv2.INTER_LINEAR) > 0.5
    middle, reach = len(offsets) // 2, max(round(0.3 * px_per_mm / 0.5), 1)
    low, high = np.zeros(len(line)), np.zeros(len(line))
    for k, row in enumerate(metal):
        near = np.flatnonzero(row[middle - reach : middle + reach + 1])
        if len(near) == 0:
            low[k], high[k] = -1.0, 1.0  # hidden by print: the line itself
            continue
        at = middle - reach + int(near[np.argmin(np.abs(near - reach))])
        first, last = at, at
        while first > 0 and row[first - 1]:
            first -= 1
        while last < len(row) - 1 and row[last + 1]:
            last += 1
        low[k], high[k] = offsets[first], offsets[last]
    return low, high


def _stroke(mask: NDArray[np.uint8], line: Array, normal: Array, low: float, high: float) -> None:
    corners = np.stack([line[0] + low * normal[0], line[0] + high * normal[0], line[1] + high * normal[1], line[1] + low * normal[1]])
    cv2.fillConvexPoly(mask, np.rint(corners).astype(np.int32), 1)


def _densely(line: Array) -> Array:
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])
    at = np.arange(0.0, along[-1], 1.0)
    return np.column_stack([np.interp(at, along, line[:, 0]), np.interp(at, along, line[:, 1])])


def _normals(line: Array) -> Array:
    tangent = np.gradient(cv2.blur(line, (1, 9)), axis=0)
    tangent = tangent / np.maximum(np.linalg.norm(tangent, axis=1, keepdims=True), 1e-9)
    return np.column_stack([-tangent[:, 1], tangent[:, 0]])


def _drawn(held: list[_Held], shape: tuple[int, ...], width_px: float) -> Mask:
    """Lines and handles of all instruments, drawn thick."""
    canvas = np.zeros(shape, dtype=np.uint8)
    for one in held:
        cv2.polylines(canvas, [np.rint(one.shaft.line_px).astype(np.int32)], False, 1, max(round(width_px), 1))
        left, top = one.grip.offset_px
        height, width = one.grip.mask.shape
        canvas[top : top + height, left : left + width] |= one.grip.mask.astype(np.uint8)
    return np.asarray(canvas.astype(bool))


def _closed(mask: Mask, radius_px: float) -> Mask:
    r = max(round(radius_px), 1)
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * r + 1, 2 * r + 1))
    return np.asarray(cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_CLOSE, kernel).astype(bool))
