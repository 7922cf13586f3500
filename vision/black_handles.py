"""Stage 3d'': black handles -> the whole of each, where part of it lies over black print, or a glint along it parts it in two.

Ink that a black handle covers looks like ink, but between the black on bare paper and the black where white lines of a code should be,
the rest of the handle lies as well. A glint is as bright as metal, but lies between two strips that are black.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.channels import mean, span
from vision.discs import by_disc
from vision.grips import PLAIN_CHROMA, THICK_MM

Array = NDArray[np.floating[Any]]
Mask = NDArray[np.bool_]
BETWEEN_MM = 2.0  # half as far as two places that are surely black may lie apart: a ribbon's squares are up to 3 mm wide between codes
GLINT_MM = 0.7  # the same of what is no ink
DARK = 0.185  # light over paper's, as of black plastic with a sheen
LARGE_MM2 = 20.0  # more than any stop; of a whole handle, 28 and more, the ends may be left out
ONE_MM2 = 62.0  # as large is one handle at most, its shadow included: more is a handle and the deep shadow of its neighbour
LEAST_SEEN = 0.25  # share of a handle that is surely black, where white should be


def whole_black(plain: Mask, colour: Array, px_per_mm: float) -> Mask:
    """``plain`` (H, W), coloured or black as no metal is, with what of black handles ink or a glint hides. ``colour`` (H, W, 3): over
    paper's."""
    dark = (mean(colour) < DARK) & (span(colour) < PLAIN_CHROMA)
    black = plain & dark
    if not black.any():
        return plain
    ink, glint = _closed(black, (BETWEEN_MM * px_per_mm, GLINT_MM * px_per_mm))
    return plain | _like_handles((ink & dark) | glint, black, px_per_mm)


def _closed(mask: Mask, radii_px: Sequence[float]) -> list[Mask]:
    """The mask closed by discs so wide that half its resolution does, which a closing pixel by pixel would take ten times as long for."""
    height, width = mask.shape
    small = cv2.resize(mask.view(np.uint8) * np.uint8(255), (-(-width // 2), -(-height // 2)), interpolation=cv2.INTER_AREA) > 0
    away = cv2.distanceTransform((~small).view(np.uint8), cv2.DIST_L2, 5)
    inside = (cv2.distanceTransform((away <= radius / 2.0).view(np.uint8), cv2.DIST_L2, 5) > radius / 2.0 for radius in radii_px)
    return [cv2.resize(one.view(np.uint8), (width, height), interpolation=cv2.INTER_NEAREST).astype(bool) for one in inside]


def _like_handles(dark: Mask, black: Mask, px_per_mm: float) -> Mask:
    """The pieces as thick and large as a handle, enough of which is surely black."""
    thick = by_disc(by_disc(dark, "close", 0.25 * px_per_mm), "open", THICK_MM / 2.0 * px_per_mm)
    count, marks, boxes, _ = cv2.connectedComponentsWithStats(thick.astype(np.uint8), connectivity=4)
    area = boxes[:, cv2.CC_STAT_AREA]
    seen = np.bincount(marks[black & thick], minlength=count) >= LEAST_SEEN * area
    kept = seen & (area > LARGE_MM2 * px_per_mm**2) & (area < ONE_MM2 * px_per_mm**2)
    kept[0] = False
    return np.asarray(kept[marks])
