"""Stage 5i: Photo, Scale, Plane, Edges -> does a place of the strip lie in a shadow so deep that what is dark there tells nothing?

In a hard, deep shadow a black stop, the shadow's own border and a handle look alike, so no handle's front is taken from there.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.edge_lines import Edges
from vision.photo import LINEAR, Photo
from vision.plane import Plane
from vision.scale import Scale

Array = NDArray[np.floating[Any]]
ASIDE_MM = (1.2, 1.8, 2.4)  # from the axis: clear of metal, short of most handles
BEFORE_MM = (0.5, 4.0)  # toward the tip: a handle's own shadow is shorter
DEEP = 0.2  # of the light of the brightest tenth of such paper beside the instrument
LEAST_PLACES = 12
NEARLY_ALL = 90  # per cent: a white handle may reach out beside its shaft


def in_deep_shade(photo: Photo, scale: Scale, plane: Plane, off: NDArray[np.bool_] | None, edges: Edges, column: float) -> bool:
    """Whether white paper just before a column of the strip gets a fifth of the light or less that it gets elsewhere beside it.

    False where too little paper shows there: print, a table, the frame's end. Where no sheet was read a table is what is as dark from the
    instrument to the picture's border on either side: a shadow ends before.
    """
    axis, normal = edges.strip.axis_px, edges.strip.normal
    ppm = scale.px_per_mm_at((float(axis[len(axis) // 2, 0]), float(axis[len(axis) // 2, 1]))).value
    every = max(round(0.1 * ppm), 1)
    at = np.arange(0, len(axis), every)
    sides = [side * mm * ppm for side in (-1.0, 1.0) for mm in ASIDE_MM]
    spots = axis[at, None] + np.array(sides)[None, :, None] * normal[at, None]
    light = _paper_light(photo, scale, plane, off, spots.reshape(-1, 2)).reshape(len(at), -1)
    near = (at > column - BEFORE_MM[1] * ppm) & (at < column - BEFORE_MM[0] * ppm)
    here, seen = light[near], np.isfinite(light)
    if np.isfinite(here).sum() < LEAST_PLACES:
        return False
    dark = DEEP * float(np.percentile(light[seen], 90))
    if np.nanmedian(here) >= dark:
        return False
    shaded = at[near][(np.nan_to_num(here, nan=np.inf) < dark).mean(axis=1) > 0.5]
    return scale.sheet is not None or _to_the_border(photo, axis[shaded], normal[shaded], every) >= dark


def _to_the_border(photo: Photo, axis: Array, normal: Array, every: int) -> float:
    """Linear light of green that nearly all places reach not, from `ASIDE_MM` on either side of columns (N, 2) to the picture's border."""
    least, most = round(ASIDE_MM[0] * 10) * every, max(photo.width_px, photo.height_px)
    aside = np.concatenate([side * np.arange(least, most, every) for side in (-1, 1)])
    spot = np.rint(axis[:, None] + aside[None, :, None] * normal[:, None]).astype(int).reshape(-1, 2)
    spot = spot[((spot >= 0) & (spot < [photo.width_px, photo.height_px])).all(axis=1)]
    return float(np.percentile(LINEAR[photo.rgb[spot[:, 1], spot[:, 0], 1]], NEARLY_ALL)) if len(spot) else np.inf


def _paper_light(photo: Photo, scale: Scale, plane: Plane, off: NDArray[np.bool_] | None, px: Array) -> Array:
    """Linear light of green at places (N, 2) of the photo where the sheet is white; NaN elsewhere."""
    page = np.rint((scale.to_plane_mm(px) - [plane.x0_mm, plane.y0_mm]) * plane.px_per_mm - 0.5).astype(int)
    spot = np.rint(px).astype(int)
    good = ((page >= 0) & (page < plane.printed.shape[::-1])).all(axis=1)
    good &= ((spot >= 0) & (spot < [photo.width_px, photo.height_px])).all(axis=1)
    light = np.full(len(px), np.nan)
    white = plane.printed[page[good, 1], page[good, 0]] > 0.9
    if off is not None:
        white &= ~off[page[good, 1], page[good, 0]]
    light[good] = np.where(white, LINEAR[photo.rgb[spot[good, 1], spot[good, 0], 1]], np.nan)
    return light
