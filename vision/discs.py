"""A mask closed or opened by a disc (leaf): exact, and only where there is anything in it."""

from __future__ import annotations

from typing import Any, Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.bands import TILE_PX, tiles
from vision.islands import islands

Mask = NDArray[np.bool_]
Bytes = NDArray[np.uint8]
TIMES_REACH = 16  # a tile is so many times as wide as the disc's radius: what is read around it is then about as much again


def by_disc(mask: Mask, does: Literal["close", "open"], radius_px: float, room_px: int = 0) -> Mask:
    """Close or open a mask (H, W) by a disc of a radius of at least 1 px.

    ``room_px``: so much emptiness is thought around the mask; with none, what lies beyond its border counts as whatever suits.
    """
    reach = max(round(radius_px), 1)
    kernel = np.asarray(cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 1, 2 * reach + 1)), dtype=np.uint8)
    padded = np.pad(mask, room_px).astype(np.uint8)
    result = (_closed if does == "close" else _opened)(padded, kernel, reach).view(np.bool_)
    return np.asarray(result[room_px : result.shape[0] - room_px, room_px : result.shape[1] - room_px])


def _closed(mask: Bytes, kernel: Any, reach: int) -> Bytes:
    """Tile by tile, of each no more than holds all that lies there."""
    result = np.zeros(mask.shape, dtype=np.uint8)
    for tile in tiles(mask.shape, 2 * reach + 1, max(TILE_PX, TIMES_REACH * reach)):
        part = mask[tile.outer]
        left, top, width, height = cv2.boundingRect(part)
        if width == 0:
            continue
        rows, columns = _around((slice(top, top + height), slice(left, left + width)), 2 * reach + 1)
        done = np.zeros(part.shape, dtype=np.uint8)
        done[rows, columns] = cv2.morphologyEx(part[rows, columns], cv2.MORPH_CLOSE, kernel)
        result[tile.place] = done[tile.inner]
    return result


def _opened(mask: Bytes, kernel: Any, reach: int) -> Bytes:
    """Piece by piece of where a disc may fit."""
    result = np.zeros(mask.shape, dtype=np.uint8)
    for island in islands(_as_long_as(mask, 2 * reach + 1).view(np.bool_), connectivity=8):
        around = _around(island.place, reach)
        inner = tuple(slice(part.start - first.start, part.stop - first.start) for part, first in zip(island.place, around, strict=True))
        middles = np.zeros(mask[around].shape, dtype=np.uint8)
        middles[inner] = cv2.erode(mask[around], kernel)[inner] & island.mask.view(np.uint8)
        result[around] |= np.asarray(cv2.dilate(middles, kernel), dtype=np.uint8)
    return result


def _around(place: tuple[slice, slice], reach: int) -> tuple[slice, slice]:
    rows, columns = (slice(max(part.start - reach, 0), part.stop + reach) for part in place)
    return rows, columns


def _as_long_as(mask: Bytes, size: int) -> Bytes:
    """Middles of what is so long both along rows and along columns: no disc of that size fits anywhere else."""
    along, down = (cv2.erode(mask, np.ones(shape, np.uint8)) for shape in ((1, size), (size, 1)))
    return np.asarray(cv2.bitwise_and(along, down), dtype=np.uint8)
