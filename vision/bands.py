"""A picture taken piece by piece, each with as much around it as a filter reaches: exact, and far less memory than whole (leaf)."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

BAND_PX, TILE_PX = 192, 192


@dataclass(frozen=True)
class Piece:
    """``outer``: rows and columns to read; ``inner``: those of them that are meant, counted in ``outer``; ``place``: in the picture."""

    outer: tuple[slice, slice]
    inner: tuple[slice, slice]
    place: tuple[slice, slice]


def bands(shape: tuple[int, ...], reach_px: int, within: NDArray[np.bool_] | None = None) -> Iterator[Piece]:
    """Go through a picture (H, W, ...) from top to bottom; each band comes with ``reach_px`` rows above and below.

    ``within`` (H, W): only what holds all of that; a view from the side fills half of its box.
    """
    for top in range(0, shape[0], BAND_PX):
        first, last = 0, shape[1]
        if within is not None:
            columns = np.flatnonzero(within[top : top + BAND_PX].any(axis=0))
            if not len(columns):
                continue
            first, last = int(columns[0]), int(columns[-1]) + 1
        yield piece_at(shape, (top, first), (BAND_PX, last - first), reach_px)


def tiles(shape: tuple[int, ...], reach_px: int, size_px: int = TILE_PX) -> Iterator[Piece]:
    """Go through the tiles of a picture (H, W, ...), each with ``reach_px`` around it; most can be passed over."""
    for top in range(0, shape[0], size_px):
        for left in range(0, shape[1], size_px):
            yield piece_at(shape, (top, left), (size_px, size_px), reach_px)


def piece_at(shape: tuple[int, ...], corner: tuple[int, int], size: tuple[int, int], reach_px: int) -> Piece:
    """So many rows and columns from a corner (row, column) on, as far as the picture goes, with ``reach_px`` around them."""
    outer, inner, place = [], [], []
    for at, long, whole in zip(corner, size, shape[:2], strict=True):
        end, low, high = min(at + long, whole), max(at - reach_px, 0), min(at + long + reach_px, whole)
        outer.append(slice(low, high))
        inner.append(slice(at - low, end - low))
        place.append(slice(at, end))
    return Piece((outer[0], outer[1]), (inner[0], inner[1]), (place[0], place[1]))
