"""Stage 3j: a candidate of a crowd -> whether the page's own print shows there and nothing else.

Columns of markers and lines of text are long and thin, and a badly fitted print shows at its edges. What is no darker and no
brighter than what was printed there, edges left out, is no instrument.
"""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.plane import Plane

Array = NDArray[np.floating[Any]]
Mask = NDArray[np.bool_]
BESIDE_PX = 1  # by which the print may lie aside
DARKER, BRIGHTER = (0.8, 0.1), (1.1, 0.15)  # share of the print's own reflectance, and light more or less, within which it is print
LEAST_THIN = 0.03  # share of what has no handle that print does not explain, at least
INKED, LEAST_HANDLE, LEAST_THIN_INKED = 0.5, 0.1, 0.25  # a "handle" that is mostly ink, as printed, and shows no more of a shaft, is print


def print_alone(plane: Plane, relative: Array, thin: Mask, handle: Mask, offset_px: tuple[int, int]) -> bool:
    """Whether print explains nearly all of the ``thin`` part and of the ``handle``, masks of a part that begins at ``offset_px``."""
    left, top = offset_px
    height, width = thin.shape
    place = slice(top, top + height), slice(left, left + width)
    light = relative[place].mean(axis=2)
    around = np.ones((2 * BESIDE_PX + 1, 2 * BESIDE_PX + 1), np.uint8)
    printed = np.ascontiguousarray(plane.printed[place], dtype=np.float32)
    least, most = cv2.erode(printed, around), cv2.dilate(printed, around)
    odd = (light < DARKER[0] * least - DARKER[1]) | (light > BRIGHTER[0] * most + BRIGHTER[1])
    if not handle.any():
        return _share(odd, thin) < LEAST_THIN
    inked = float(printed[handle].mean()) < INKED  # a white handle on paper, and its shaft in soft light, are as bright as paper too
    return inked and _share(odd, handle) < LEAST_HANDLE and _share(odd, thin) < LEAST_THIN_INKED


def _share(odd: Mask, part: Mask) -> float:
    return float(odd[part].mean()) if part.any() else 0.0
