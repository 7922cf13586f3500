"""A mask closed or opened by a disc (leaf): exact, and only where there is anything in it."""

from __future__ import annotations

from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.bands import tiles

Mask = NDArray[np.bool_]
DOES: dict[str, int] = {"close": cv2.MORPH_CLOSE, "open": cv2.MORPH_OPEN}


def by_disc(mask: Mask, does: Literal["close", "open"], radius_px: float, room_px: int = 0) -> Mask:
    """Close or open a mask (H, W) by a disc of a radius of at least 1 px.

    ``room_px``: so much emptiness is thought around the mask; with none, what lies beyond its border counts as whatever suits.
    """
    reach = max(round(radius_px), 1)
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 1, 2 * reach + 1))
    padded = np.pad(mask, room_px).astype(np.uint8)
    result: Mask = np.zeros(padded.shape, dtype=bool)
    for tile in tiles(padded.shape, 2 * reach + 1):
        part = padded[tile.outer]
        if part.any():
            result[tile.place] = np.asarray(cv2.morphologyEx(part, DOES[does], kernel)).astype(bool)[tile.inner]
    return result[room_px : result.shape[0] - room_px, room_px : result.shape[1] - room_px]
