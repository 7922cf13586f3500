"""Stage 8e: the metal's colour along the strip -> brownish spots on it: dried dirt, stains, corrosion.

Bare metal is as grey as what it mirrors; a spot is warmer than the rest of the same metal. Many warm places are something warm in
the room, mirrored by facet after facet: ``vision.witness`` says which of them counts. Only what faces the camera is seen.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.floating[Any]]
WARMER = 0.25  # log of red over blue beyond the metal's usual one
LEAST_MM2, MOST = 0.003, 4  # a spot's area; how many are told
RIM, RIM_PX = 0.12, 2.0  # of the width left out at either edge, whose colours fringe
DARK, BURNT = 0.04, 1.0  # luminance over the paper's without a colour to tell
# Around what is burnt out, px: lens and compression leave its rims warm there, and a round shank has one along its whole length. Of 117
# whole crops and 21 dirty ones (seeds 2600 to 3459, 83131 to 89060): spots that count by themselves 0 and 7; without it 1 and 5.
BURNT_RIM_PX = 2
FROM_MM, STOP_CLEAR_MM, HANDLE_CLEAR_MM = 0.2, 1.5, 2.0  # coloured rubber and plastic are mirrored near by
LEAST_PIXELS = 500


@dataclass(frozen=True)
class Spot:
    """A spot on the metal: where, and how large (None: only the network saw it)."""

    at_mm: float
    area_mm2: float | None


def warm_spots(
    values: Array, edges: tuple[Array, Array], x_mm: Array, px_per_mm: float, stop_mm: tuple[float, float] | None, last_mm: float
) -> tuple[Spot, ...]:
    """Look for spots, largest first. ``values`` (2 half + 1, N, 3): linear colours of a strip; ``edges``: upper and lower offsets (N,) from
    its axis in its own px; ``px_per_mm``: of the strip; ``last_mm``: where the shaft ends.
    """
    paper = np.maximum(np.quantile(values[::4, ::4], 0.8, axis=(0, 1)), 1e-3)
    metal = _metal(edges, x_mm, values.shape[0] // 2, stop_mm, last_mm)
    across = np.flatnonzero(metal.any(axis=1))
    if not len(across):
        return ()
    rows = slice(max(int(across[0]) - BURNT_RIM_PX, 0), int(across[-1]) + BURNT_RIM_PX + 1)  # a third of them, and less
    colour, metal = values[rows] / paper, metal[rows]
    light = colour.mean(axis=2)
    around = np.ones((2 * BURNT_RIM_PX + 1,) * 2, np.uint8)
    metal &= (light > DARK) & (cv2.dilate((light >= BURNT).astype(np.uint8), around) == 0)
    if metal.sum() < LEAST_PIXELS:
        return ()
    dark = np.maximum(colour, 0.0)  # interpolation dips below black beside hard edges
    warm = np.log((dark[..., 0] + 0.03) / (dark[..., 2] + 0.03))
    odd = metal & (warm > np.median(warm[metal]) + WARMER)
    _, _, stats, centres = cv2.connectedComponentsWithStats(odd.astype(np.uint8), connectivity=8)
    areas = stats[1:, cv2.CC_STAT_AREA] / px_per_mm**2
    largest = [k for k in np.argsort(-areas)[:MOST] if areas[k] >= LEAST_MM2]
    return tuple(Spot(float(x_mm[round(float(centres[k + 1][0]))]), float(areas[k])) for k in largest)


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
