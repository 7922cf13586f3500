"""A mask closed or opened by a disc (leaf): exact, and only where there is anything in it."""

from __future__ import annotations

from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.bands import TILE_PX, tiles

Mask = NDArray[np.bool_]
TIMES_REACH = 32  # a tile is so many times as wide as the disc's radius: what is read around it is then a quarter more
DOES: dict[str, int] = {"close": cv2.MORPH_CLOSE, "open": cv2.MORPH_OPEN}


def by_disc(mask: Mask, does: Literal["close", "open"], radius_px: float, room_px: int = 0) -> Mask:
    """Close or open a mask (H, W) by a disc of a radius of at least 1 px.

    ``room_px``: so much emptiness is thought around the mask; with none, what lies beyond its border counts as whatever suits.
    """
    reach = max(round(radius_px), 1)
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 1, 2 * reach + 1))
    padded = np.pad(mask, room_px).astype(np.uint8)
    result: Mask = np.zeros(padded.shape, dtype=bool)
    there = _as_long_as(padded, 2 * reach + 1) if does == "open" else padded
    for tile in tiles(padded.shape, 2 * reach + 1, max(TILE_PX, TIMES_REACH * reach)):
        part = padded[tile.outer]
        if there[tile.outer].any():
            result[tile.place] = np.asarray(cv2.morphologyEx(part, DOES[does], kernel)).astype(bool)[tile.inner]
    return result[room_px : result.shape[0] - room_px, room_px : result.shape[1] - room_px]


def _as_long_as(mask: NDArray[np.uint8], size: int) -> NDArray[np.uint8]:
    """Middles of what is so long both along rows and along columns: no disc of that size fits anywhere else."""
    along, down = (cv2.erode(mask, np.ones(shape, np.uint8)) for shape in ((1, size), (size, 1)))
    return np.asarray(cv2.bitwise_and(along, down), dtype=np.uint8)
