"""Stage 2m: grey picture -> how small may a marker be here? So that no picture, however busy, keeps the detector for minutes.

The detector tries to read every closed outline of four corners, and compares each with every other. Noise, woven cloth or a
wall of tiles hold tens of thousands, most of them smaller than any marker that could be read.
"""

from __future__ import annotations

from collections.abc import Iterable

import cv2
import numpy as np
from numpy.typing import NDArray

LEAST_SIDE_PX = 8.0  # a marker is 7 cells wide: of smaller ones next to nothing is read
MOST_QUADS = 2000  # a whole sheet filling a picture shows about 800
CLOSED = 0.03  # how far an outline may leave its four sides, as a share of its length; the detector's own measure
STRIP_PX = 1000  # outlines are looked for in strips, so that those of noise never fill the memory
RIM_PX = 3  # from the picture's rim: what lies nearer is cut
LIFT = 7  # the detector's own threshold: so much darker than its surroundings


def least_side_px(grey: NDArray[np.uint8], windows: Iterable[int], most: int = MOST_QUADS) -> float:
    """Return the side in px from which on at most ``most`` outlines of four corners are seen, at least LEAST_SIDE_PX.

    ``windows``: odd sides in px of the squares whose mean is the threshold, as the detector will use.
    """
    sides = np.sort([side for window in windows for strip in _strips(grey) for side in _sides(strip, window)])
    return LEAST_SIDE_PX if len(sides) <= most else float(sides[-most - 1]) + 0.25  # of equals, all or none


def squares(grey: NDArray[np.uint8], window: int) -> NDArray[np.float32]:
    """Corners (N, 4, 2), clockwise, of the dark outlines of four corners in a small picture, the longest first, as the detector looks
    for them; none where there are more than MOST_QUADS, for which it has measures of its own."""
    found = [(len(one), corners) for one in _outlines(grey, window) if (corners := _corners(one)) is not None]
    if len(found) > MOST_QUADS:
        found = []
    last = np.array(grey.shape[::-1]) - 1 - RIM_PX
    quads = np.array([corners for _, corners in sorted(found, key=lambda one: -one[0])], dtype=np.float32).reshape(-1, 4, 2)
    return np.asarray(quads[((quads >= RIM_PX) & (quads <= last)).all(axis=(1, 2))])


def _strips(grey: NDArray[np.uint8]) -> Iterable[NDArray[np.uint8]]:
    return (grey[top : top + STRIP_PX] for top in range(0, grey.shape[0], STRIP_PX))


def _sides(grey: NDArray[np.uint8], window: int) -> list[float]:
    return [len(one) / 4.0 for one in _outlines(grey, window) if _corners(one) is not None]


def _outlines(grey: NDArray[np.uint8], window: int) -> list[cv2.typing.MatLike]:
    dark = cv2.adaptiveThreshold(grey, 255, cv2.ADAPTIVE_THRESH_MEAN_C, cv2.THRESH_BINARY_INV, window, LIFT)
    outlines, _ = cv2.findContours(dark, cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)
    return [one for one in outlines if len(one) >= 4.0 * LEAST_SIDE_PX]


def _corners(outline: cv2.typing.MatLike) -> NDArray[np.float32] | None:
    """The outline's four corners (4, 2), clockwise; None where it has others."""
    corners = cv2.approxPolyDP(outline, CLOSED * len(outline), closed=True)
    if len(corners) != 4 or not cv2.isContourConvex(corners):
        return None
    four = np.asarray(corners, dtype=np.float32).reshape(4, 2)
    return four if cv2.contourArea(four, oriented=True) > 0.0 else np.ascontiguousarray(four[::-1])
