"""Stage 3d: pieces of one shaft that print (a ribbon, a lane's number) hides between them are joined along their line."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.islands import Island, islands
from vision.plane import Plane

Array = NDArray[np.floating[Any]]
Mask = NDArray[np.bool_]
PIECE_MM = 3.0  # shorter pieces have no direction of their own
REACH_MM = 6.0  # a ribbon is 4.8 mm high
ASIDE_MM = 0.5  # how far beside the line the next piece may lie
PRINTED_SHARE = 0.5  # of a longer gap must be print
ANYHOW_MM = 2.4  # a gap this short (a white stop on white paper) is bridged without print


@dataclass(frozen=True)
class _Piece:
    label: int
    middle: Array
    direction: Array
    half: float


def join_across_print(mask: Mask, plane: Plane) -> Mask:
    """Draw a thin bridge where a long piece, carried on straight across print, meets another piece."""
    apart = islands(mask, connectivity=8)
    labels = np.zeros(mask.shape, dtype=np.int32)
    for k, island in enumerate(apart, 1):
        labels[island.place][island.mask] = k
    pieces = [piece for k, island in enumerate(apart, 1) if (piece := _piece(island, k, plane.px_per_mm)) is not None]
    joined = mask.astype(np.uint8)
    for piece in pieces:
        for sign in (-1.0, 1.0):
            end = piece.middle + sign * piece.half * piece.direction
            hit = _next_piece(labels, piece, end, sign * piece.direction, plane)
            if hit is not None:
                a, b = (tuple(int(v) for v in np.rint(p)) for p in (end - sign * piece.direction * 4.0, hit))
                cv2.line(joined, a, b, 1, max(round(0.3 * plane.px_per_mm), 2))
    return np.asarray(joined.astype(bool))


def _piece(island: Island, k: int, px_per_mm: float) -> _Piece | None:
    if max(island.mask.shape) < PIECE_MM * px_per_mm or island.mask.sum() < px_per_mm:
        return None
    (v, u), (rows, columns) = np.nonzero(island.mask), island.place
    points = np.column_stack([u + columns.start, v + rows.start]).astype(float)
    middle = points.mean(axis=0)
    _, spread, axes = np.linalg.svd(points - middle, full_matrices=False)
    if spread[1] > 0.2 * spread[0]:
        return None
    along = (points - middle) @ axes[0]
    centre = middle + axes[0] * (along.max() + along.min()) / 2.0
    return _Piece(k, centre, axes[0], float(np.ptp(along)) / 2.0)


def _next_piece(labels: NDArray[np.int32], piece: _Piece, end: Array, direction: Array, plane: Plane) -> Array | None:
    """First pixel of another piece on the straight continuation, when the gap between is mostly print."""
    steps = np.arange(2.0, REACH_MM * plane.px_per_mm)
    normal = np.array([-direction[1], direction[0]])
    sideways = np.arange(-1.0, 1.01, 0.25) * ASIDE_MM * plane.px_per_mm
    spots = end + steps[:, None, None] * direction + sideways[None, :, None] * normal
    index = np.rint(spots).astype(int)
    height, width = labels.shape
    inside = ((index >= 0) & (index < [width, height])).all(axis=2)
    index = np.clip(index, 0, [width - 1, height - 1])
    found = labels[index[..., 1], index[..., 0]] * inside
    other = (found > 0) & (found != piece.label)
    rows = np.flatnonzero(other.any(axis=1))
    if len(rows) == 0:
        return None
    gap = slice(0, max(int(rows[0]), 1))
    printed = plane.printed[index[gap, :, 1], index[gap, :, 0]] < 0.85
    if rows[0] > ANYHOW_MM * plane.px_per_mm and printed.any(axis=1).mean() < PRINTED_SHARE:
        return None
    return np.asarray(spots[rows[0], int(other[rows[0]].argmax())])
