"""Stage 8h: Photo, Edges -> the strip once more in colour, for what looks at the metal's faces: the damage network, spots."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.edge_lines import Edges
from vision.hurt_sight import HurtSight, see_hurts
from vision.metal import HALF, strip_step
from vision.photo import Photo
from vision.strip import straighten_rgb
from vision.tint import Spot, warm_spots

Array = NDArray[np.floating[Any]]
FACES_PX_PER_MM = 40.0  # the damage network was trained from this scale up


def see_faces(
    photo: Photo, edges: Edges, x_mm: Array, px_per_mm: float, stop_mm: tuple[float, float] | None, last_mm: float
) -> tuple[HurtSight | None, tuple[Spot, ...]]:
    """Return what the damage network sees and spots; None and none below FACES_PX_PER_MM or without an outline."""
    width = edges.upper_px - edges.lower_px
    if px_per_mm < FACES_PX_PER_MM or not np.isfinite(width).any():
        return None, ()
    step = strip_step(float(np.nanpercentile(width, 90)) / 2.0)
    values = straighten_rgb(photo, edges.strip.axis_px[::step], HALF, step_px=float(step)).values
    lines = edges.upper_px[::step] / step, edges.lower_px[::step] / step
    spots = warm_spots(values, lines, x_mm[::step], px_per_mm / step, stop_mm, last_mm)
    return see_hurts(values, x_mm, step, px_per_mm), spots
