"""Stage 3f'': a handle and the line of its shaft -> the instrument's pixels, thin part, handle and stop told apart."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.grips import Grip
from vision.shafts import Shaft

Array = NDArray[np.floating[Any]]
Mask = NDArray[np.bool_]
STOP_LONGEST_MM = 4.0  # along the shaft, its shadow included
STOP_MM = 1.0  # half as wide as this or more, a run across is a stop's


@dataclass(frozen=True)
class Taken:
    """One instrument's pixels in a part of the plane that begins at ``offset_px``: thin part, handle, stop; does the frame cut it.

    ``rank``: of its handle, as in ``vision.grips``.
    """

    thin: Mask
    handle: Mask
    stop: Mask
    cut: bool
    offset_px: tuple[int, int]
    rank: int = 1


def take(grip: Grip, shaft: Shaft, solid: Mask, rim: Mask, px_per_mm: float) -> Taken:
    """Pixels of one instrument: the runs of metal across its line, thin where they can be a shaft's."""
    ppm = px_per_mm
    line = _densely(shaft.line_px)
    place, corner = _around(grip, line, solid.shape, ppm)
    solid, rim = solid[place], rim[place]
    shape = solid.shape
    handle = np.zeros(shape, dtype=bool)
    left, top = np.array(grip.offset_px) - corner
    height, width = grip.mask.shape
    handle[top : top + height, left : left + width] = grip.mask
    outside = ~handle[tuple(np.clip(np.rint(line).astype(int) - corner, 0, np.array(shape[::-1]) - 1).T[::-1])]
    line = line[int(np.argmax(outside)) :] if outside.any() else line
    low, high = _runs(solid, corner, line, ppm)
    wide = (high - low) / 2.0
    narrow = wide < STOP_MM * ppm
    usual = float(np.median(wide[narrow])) if narrow.any() else 0.3 * ppm
    thin, stop = np.zeros(shape, dtype=np.uint8), np.zeros(shape, dtype=np.uint8)
    normal = _normals(line)
    stops = short_runs(~narrow, STOP_LONGEST_MM * ppm)
    clean = narrow[:-1] & narrow[1:]
    for stroke in _strokes(line - corner, normal, np.where(clean, low[:-1], -usual), np.where(clean, high[:-1], usual)):
        cv2.fillConvexPoly(thin, stroke, 1)
    for stroke in _strokes(line - corner, normal, low[:-1], high[:-1])[stops[:-1] & (wide[:-1] < 2.2 * ppm)]:
        cv2.fillConvexPoly(stop, stroke, 1)
    real_stop = _stop_like(stop.astype(bool), ppm)
    thin_mask = thin.astype(bool) & ~handle & ~real_stop
    cut = bool(((thin_mask | handle) & rim).any())
    return Taken(thin_mask, handle, real_stop & ~handle, cut, (int(corner[0]), int(corner[1])), grip.rank)


def _around(grip: Grip, line: Array, shape: tuple[int, ...], px_per_mm: float) -> tuple[tuple[slice, slice], NDArray[np.int_]]:
    """Part of the plane that holds handle and shaft with all that is looked at beside them, and its first px (x, y)."""
    room = 4.0 * px_per_mm + 2.0
    corner, size = np.array(grip.offset_px), np.array(grip.mask.shape[::-1])
    low = np.floor(np.minimum(line.min(axis=0), corner) - room).astype(int)
    high = np.ceil(np.maximum(line.max(axis=0), corner + size) + room).astype(int)
    low, high = np.maximum(low, 0), np.minimum(high, np.array(shape[::-1]))
    return (slice(low[1], high[1]), slice(low[0], high[0])), low


def short_runs(mask: Mask, most_px: float) -> Mask:
    """The runs of True that are no longer than ``most_px``: what is wide for longer is a shaft with its shadow, or print."""
    out = mask.copy()
    edges = np.flatnonzero(np.diff(np.concatenate([[False], mask, [False]]).astype(np.int8)))
    for first, last in zip(edges[::2], edges[1::2], strict=True):
        out[first:last] = last - first <= most_px
    return out


def _stop_like(mask: Mask, px_per_mm: float) -> Mask:
    """The part of a thick place that is compact enough for a stop; where two shafts cross nothing of it stays."""
    r = max(round(0.55 * px_per_mm), 1)
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * r + 1, 2 * r + 1))
    return np.asarray(cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_OPEN, kernel).astype(bool))


def _runs(solid: Mask, corner: NDArray[np.int_], line: Array, px_per_mm: float) -> tuple[Array, Array]:
    """First and last offset, px along the normal, of the run of metal that holds each point of the line; ``solid`` begins at ``corner``."""
    offsets = np.arange(-2.6 * px_per_mm, 2.6 * px_per_mm + 0.1, 0.5)
    spots = line[:, None] + offsets[None, :, None] * _normals(line)[:, None]
    x, y = (spots[..., k].astype(np.float32) - np.float32(corner[k]) for k in (0, 1))
    metal = cv2.remap(solid.astype(np.float32), x, y, cv2.INTER_LINEAR) > 0.5
    middle, reach = len(offsets) // 2, max(round(0.3 * px_per_mm / 0.5), 1)
    near = metal[:, middle - reach : middle + reach + 1]
    shown = near.any(axis=1)
    away = np.where(near, np.abs(np.arange(-reach, reach + 1)), reach + 1)
    at, rows, places = middle - reach + away.argmin(axis=1), np.arange(len(line)), np.arange(metal.shape[1])
    first = np.maximum.accumulate(np.where(metal, -1, places), axis=1)[rows, at] + 1
    last = np.minimum.accumulate(np.where(metal, len(places), places)[:, ::-1], axis=1)[rows, len(places) - 1 - at] - 1
    first = np.minimum(first, len(places) - 1)
    return np.where(shown, offsets[first], -1.0), np.where(shown, offsets[last], 1.0)  # hidden by print: the line itself


def _strokes(line: Array, normal: Array, low: Array, high: Array) -> NDArray[np.int32]:
    """Corners (N, 4, 2) of what lies between two offsets from each piece of a line."""
    ends = slice(0, -1), slice(1, None)
    sides = [line[ends[k]] + reach[:, None] * normal[ends[k]] for k, reach in ((0, low), (0, high), (1, high), (1, low))]
    return np.rint(np.stack(sides, axis=1)).astype(np.int32)


def _densely(line: Array) -> Array:
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])
    at = np.arange(0.0, along[-1], 1.0)
    return np.column_stack([np.interp(at, along, line[:, 0]), np.interp(at, along, line[:, 1])])


def _normals(line: Array) -> Array:
    tangent = np.gradient(cv2.blur(line, (1, 9)), axis=0)
    tangent = tangent / np.maximum(np.linalg.norm(tangent, axis=1, keepdims=True), 1e-9)
    return np.column_stack([-tangent[:, 1], tangent[:, 0]])
