"""Stage 2a': grey picture, quadrilaterals -> which of our codes each of them holds, and which way up.

OpenCV compares every dark square with every code of a dictionary and every rotation, one after the other: most of what looking for
markers took. Here all squares are compared with all codes at once, by its own rules otherwise (``cv2.aruco.DetectorParameters``).
"""

from __future__ import annotations

from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from calib.sheet import MARKER_DICTIONARY

CELL_PX, MARGIN_PX = 6, 1  # of a square laid straight; left out at each side of a cell
MOST_DARK_SPREAD = 5.0  # standard deviation below which a square shows no code
MOST_BORDER_ERRORS = 0.35  # of a code's own bits
CORRECTED = 0.4  # of the bits that the dictionary could correct, so none to two: fewer false ids in clutter


def read_codes(grey: NDArray[np.uint8], quads: NDArray[np.float32]) -> list[tuple[int, NDArray[np.float32]]]:
    """Ids of our dictionary in the quadrilaterals (N, 4, 2), each with its corners (4, 2) from the code's own top left on, clockwise.

    Whatever holds no code is left out.
    """
    if not len(quads):
        return []
    side = _dictionary().markerSize
    cells = np.stack([_cells(grey, quad, side + 2) for quad in quads])
    inner = cells[:, 1:-1, 1:-1]
    framed = cells.sum(axis=(1, 2)) - inner.sum(axis=(1, 2)) <= int(MOST_BORDER_ERRORS * side**2)
    words = (inner.reshape(len(quads), -1) << np.arange(side**2, dtype=np.uint32)).sum(axis=1, dtype=np.uint32)
    wrong = np.bitwise_count(words[:, None, None] ^ _words())
    ids, turns = wrong.min(axis=2).argmin(axis=1), wrong.min(axis=1).argmin(axis=1)
    most = int(_dictionary().maxCorrectionBits * CORRECTED)
    told = np.flatnonzero(framed & (wrong.min(axis=(1, 2)) <= most))
    return [(int(ids[k]), np.roll(quads[k], -int(turns[k]), axis=0)) for k in told]


def _cells(grey: NDArray[np.uint8], quad: NDArray[np.float32], side: int) -> NDArray[np.uint32]:
    """Which cells (side, side) of one square are bright: 1."""
    size = side * CELL_PX
    square = np.array([[0, 0], [size - 1, 0], [size - 1, size - 1], [0, size - 1]], dtype=np.float32)
    straight = cv2.warpPerspective(grey, cv2.getPerspectiveTransform(quad, square), (size, size), flags=cv2.INTER_NEAREST)
    half = CELL_PX // 2
    mean, spread = cv2.meanStdDev(straight[half:-half, half:-half])
    if spread[0, 0] < MOST_DARK_SPREAD:
        return np.full((side, side), int(mean[0, 0] > 127.0), dtype=np.uint32)
    _, bright = cv2.threshold(straight, 125, 1, cv2.THRESH_BINARY | cv2.THRESH_OTSU)
    inside = np.asarray(bright).reshape(side, CELL_PX, side, CELL_PX)[:, MARGIN_PX:-MARGIN_PX, :, MARGIN_PX:-MARGIN_PX]
    return np.asarray(2 * inside.sum(axis=(1, 3)) > (CELL_PX - 2 * MARGIN_PX) ** 2, dtype=np.uint32)


@cache
def _dictionary() -> cv2.aruco.Dictionary:
    return cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, MARKER_DICTIONARY))


@cache
def _words() -> NDArray[np.uint32]:
    """Every code (codes, 4) as a whole number, as it is read on a square turned 0 to 3 quarters."""
    codes, side = _dictionary().bytesList, _dictionary().markerSize
    bits = np.stack([cv2.aruco.Dictionary.getBitsFromByteList(code[None], side) for code in codes]).astype(np.uint32)
    turned = np.stack([np.rot90(bits, -k, axes=(1, 2)) for k in range(4)], axis=1).reshape(len(codes), 4, -1)
    return np.asarray((turned << np.arange(side**2, dtype=np.uint32)).sum(axis=2, dtype=np.uint32))
