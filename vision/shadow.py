"""Stage 3i': a piece without a handle that lies beside an instrument -> is its light that of a shadow, or of metal?

A shadow is darker paper: nowhere brighter than the paper, and its light changes gently from px to px. Metal glints, and its edges are
sharp. Of 9 such pieces on 4 development trays with hard shadows 7 were dull and soft by the levels below, of 96 shafts 2. Where all of
it lies over print nothing can be told, and it is taken for a shadow; what is left out as one is counted in the photo's notes.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.as_printed import clear_of_print, steepness
from vision.find import Candidate
from vision.plane import Plane

Array = NDArray[np.floating[Any]]
CLEAR_PX = 2  # from print
LEAST_PX = 20
GLINTS, LEAST_GLINTS = 1.05, 0.02  # light over paper's; share of the piece
STEEP, STEEPEST = 0.12, 90.0  # change of light a px; percentile of the piece


def like_a_shadow(relative: Array, plane: Plane, candidate: Candidate) -> bool:
    """Whether the thin part of a candidate may be a shadow. ``relative`` (H, W, 3): light over paper's (1: bare paper), of the whole plane,
    from 8 px/mm up; fewer than 20 px clear of print tell nothing, and count as a shadow."""
    left, top = candidate.offset_px
    height, width = candidate.thin.shape
    place = slice(top, top + height), slice(left, left + width)
    printed = np.ascontiguousarray(plane.printed[place], dtype=np.float32)
    light = np.ascontiguousarray(relative[place].mean(axis=2), dtype=np.float32)
    seen = candidate.thin & clear_of_print(printed, CLEAR_PX)
    if seen.sum() < LEAST_PX:
        return True
    glints = float((light[seen] > GLINTS).mean())
    return glints < LEAST_GLINTS and float(np.percentile(steepness(light)[seen], STEEPEST)) < STEEP
