"""Stage 8e: the metal's colour along the strip -> one brownish spot on it: dried dirt, a stain, corrosion.

Bare metal is as grey as what it mirrors; a spot is warmer than the rest of the same metal. Many warm places are something warm in
the room, mirrored by facet after facet, and say nothing. Only what faces the camera is seen. Limits set on 58 development crops.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.floating[Any]]
WARMER = 0.25  # log of red over blue beyond the metal's usual one
LEAST_MM2, ALONE = 0.0065, 2.5  # the spot's area, and over the next one's
RIM, RIM_PX = 0.12, 2.0  # of the width left out at either edge, whose colours fringe
DARK, BURNT = 0.04, 1.0  # luminance over the paper's without a colour to tell
FROM_MM, STOP_CLEAR_MM, HANDLE_CLEAR_MM = 0.2, 1.5, 2.0  # coloured rubber and plastic are mirrored near by
LEAST_PIXELS = 500


@dataclass(frozen=True)
class Tint:
    """A spot warmer than the metal around: where and how large."""

    at_mm: float
    area_mm2: float


def warm_spot(
    values: Array, edges: tuple[Array, Array], x_mm: Array, px_per_mm: float, stop_mm: tuple[float, float] | None, last_mm: float
) -> Tint | None:
    """Look for one spot. ``values`` (2 half + 1, N, 3): linear colours of a strip; ``edges``: upper and lower offsets (N,) from
    its axis in its own px; ``px_per_mm``: of the strip; ``last_mm``: where the shaft ends.
    """
    paper = np.maximum(np.quantile(values[::4, ::4], 0.8, axis=(0, 1)), 1e-3)
    colour = values / paper
    metal = _metal(edges, x_mm, values.shape[0] // 2, stop_mm, last_mm)
    light = colour.mean(axis=2)
    metal &= (light > DARK) & (light < BURNT)
    if metal.sum() < LEAST_PIXELS:
        return None
    dark = np.maximum(colour, 0.0)  # interpolation dips below black beside hard edges
    warm = np.log((dark[..., 0] + 0.03) / (dark[..., 2] + 0.03))
    odd = metal & (warm > np.median(warm[metal]) + WARMER)
    _, _, stats, centres = cv2.connectedComponentsWithStats(odd.astype(np.uint8), connectivity=8)
    areas = stats[1:, cv2.CC_STAT_AREA] / px_per_mm**2
    if not len(areas):
        return None
    largest = int(np.argmax(areas))
    second = float(np.partition(areas, -2)[-2]) if len(areas) > 1 else 0.0
    if areas[largest] < max(LEAST_MM2, ALONE * second):
        return None
    return Tint(float(x_mm[round(float(centres[largest + 1][0]))]), float(areas[largest]))


def _metal(
    edges: tuple[Array, Array], x_mm: Array, half: int, stop_mm: tuple[float, float] | None, last_mm: float
) -> NDArray[np.bool_]:
    upper, lower = edges
    row = np.arange(-half, half + 1)[:, None]
    rim = np.maximum(RIM_PX, RIM * (upper - lower))
    column = (x_mm > FROM_MM) & (x_mm < last_mm - HANDLE_CLEAR_MM)
    if stop_mm is not None:
        column &= (x_mm < stop_mm[0] - STOP_CLEAR_MM) | (x_mm > stop_mm[1] + STOP_CLEAR_MM)
    return np.asarray((row > lower + rim) & (row < upper - rim) & column)
