"""Stage 5h: Photo, Edges -> where light burns the outline away, and what covers the tip.

Where the paper on both sides of the metal is burnt to full white (a lamp in a glossy sheet, far too much light), bright metal
is burnt as well and the outline is none. Just beyond a tip there is paper or print; something else that is wider than the
metal covers the tip's end, or touches it.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d

from vision.edge_lines import Edges
from vision.marks import Mark, Marks
from vision.photo import Photo, linear_grey

Array = NDArray[np.floating[Any]]
BURNT = 254  # code in all three channels
BESIDE_MM = (0.25, 0.7)  # beyond the metal's edge: near enough to burn with it, clear of its own glints and blur
SPREAD_MM = 0.4  # along the metal: the flanks of a lamp's mirror image are as bright as metal before they burn
TIP_NEAR_MM = 4.0  # metal of less than this before burnt paper may be none
LAMP_MM, LAMP_HALF_MM, LAMP_SHARE = (0.3, 3.0), 0.3, 0.15  # looked at straight on beyond a tip: metal may go on behind a lamp's image there
AHEAD_MM, AHEAD_HALF_MM = (0.15, 0.55), 0.4  # what is looked at beyond a tip: wider than a tip's own hard shadow
PAPER_AT_MM = 1.2  # from the axis, on both sides: the paper that it is compared with
THING = (0.12, 0.65)  # light over the paper's: print is darker, paper and soft shadows are brighter
THING_SHARE = 0.85
GLARE = "light burns the picture white at the tip: its end is not seen"
COVERED = "something lies at the tip: its end is not seen"


def without_glare(photo: Photo, edges: Edges, px_per_mm: float) -> tuple[Edges, NDArray[np.bool_]]:
    """Return the outlines with nothing claimed where paper is burnt on both sides, and which columns (N,) those are."""
    burnt = _burnt_beside(photo, edges, px_per_mm)
    if edges.lit.size:
        burnt &= ~edges.lit  # a lit screen is meant to be white
    if not burnt.any():
        return edges, burnt
    upper, lower = (np.where(burnt, np.nan, line) for line in (edges.upper_px, edges.lower_px))
    return replace(edges, upper_px=upper, lower_px=lower, outer_px=np.where(burnt, np.nan, edges.outer_px)), burnt


def marks_in_light(marks: Marks, burnt: NDArray[np.bool_]) -> Marks:
    """The marks of which something is seen: none where the picture is burnt."""
    if not burnt.any():
        return marks
    front = None if _within(marks.front, burnt) else marks.front
    return replace(marks, front=front, part_end_hidden=marks.part_end_hidden or _within(marks.part_end, burnt))


def hides_tip(photo: Photo, edges: Edges, burnt: NDArray[np.bool_], tip_column: float, px_per_mm: float) -> str | None:
    """Return in words why the tip that was found may not be the metal's end; None where it is seen to be."""
    at = round(tip_column)
    near = burnt[max(at - round(px_per_mm), 0) : at + round(TIP_NEAR_MM * px_per_mm)].any()
    if near or _burnt_ahead(photo, edges, at, px_per_mm):
        return GLARE
    return COVERED if _thing_ahead(photo, edges, at, px_per_mm) else None


def _within(mark: Mark | None, burnt: NDArray[np.bool_]) -> bool:
    return mark is not None and bool(burnt[min(max(round(mark.column), 0), len(burnt) - 1)])


def _burnt_beside(photo: Photo, edges: Edges, px_per_mm: float) -> NDArray[np.bool_]:
    strip, width = edges.strip, edges.upper_px - edges.lower_px
    half = float(np.nanmedian(width)) / 2.0 if np.isfinite(width).any() else 0.5 * px_per_mm
    away = half + np.linspace(*BESIDE_MM, 4) * px_per_mm
    white = [_codes(photo, strip.axis_px + side * away[:, None, None] * strip.normal) >= BURNT for side in (-1.0, 1.0)]
    both = np.stack(white).all(axis=(0, 1))
    return np.asarray(maximum_filter1d(both, 2 * round(SPREAD_MM * px_per_mm) + 1))


def _codes(photo: Photo, px: Array) -> NDArray[np.int_]:
    """The darkest channel at each place (..., 2)."""
    at = np.clip(np.rint(px).astype(int), 0, [photo.width_px - 1, photo.height_px - 1])
    return np.asarray(photo.rgb[at[..., 1], at[..., 0]].min(axis=-1))


def _thing_ahead(photo: Photo, edges: Edges, at: int, px_per_mm: float) -> bool:
    axis, back = edges.strip.axis_px, round(2.0 * px_per_mm)
    if not 0 <= at < len(axis) - back:
        return False
    spots, across = _ahead(axis, at, px_per_mm, AHEAD_MM, AHEAD_HALF_MM)
    beside = axis[at : at + back, None] + np.array([-1.0, 1.0])[None, :, None] * PAPER_AT_MM * px_per_mm * across
    seen, paper = _light(photo, spots.reshape(-1, 2)), _light(photo, beside.reshape(-1, 2))
    if not len(seen) or not len(paper):
        return False
    ratio = seen / max(float(np.percentile(paper, 75)), 1e-6)
    return bool(np.mean((ratio > THING[0]) & (ratio < THING[1])) >= THING_SHARE)


def _burnt_ahead(photo: Photo, edges: Edges, at: int, px_per_mm: float) -> bool:
    """Whether a good part of what lies straight on beyond the tip is burnt to full white."""
    axis = edges.strip.axis_px
    if not 0 <= at < len(axis) - round(2.0 * px_per_mm):
        return False
    spots, _ = _ahead(axis, at, px_per_mm, LAMP_MM, LAMP_HALF_MM)
    inside = ((spots >= 0.0) & (spots <= [photo.width_px - 1.0, photo.height_px - 1.0])).all(axis=-1)
    return bool(inside.any() and (_codes(photo, spots[inside]) >= BURNT).mean() > LAMP_SHARE)


def _ahead(axis: Array, at: int, px_per_mm: float, span_mm: tuple[float, float], half_mm: float) -> tuple[Array, Array]:
    """Places (9, 17, 2) straight on beyond a column of the axis, and the direction across it."""
    back = round(2.0 * px_per_mm)
    along = (axis[at] - axis[at + back]) / np.linalg.norm(axis[at] - axis[at + back])
    across = np.array([-along[1], along[0]])
    a, b = np.linspace(*span_mm, 9), np.linspace(-half_mm, half_mm, 17)
    return axis[at] + px_per_mm * (a[:, None, None] * along + b[None, :, None] * across), across


def _light(photo: Photo, px: Array) -> Array:
    """Linear light at places (M, 2) that lie within the photo, smoothed over a few px so that grain says nothing."""
    at = np.rint(px).astype(int)
    at = at[((at >= 0) & (at < [photo.width_px, photo.height_px])).all(axis=1)]
    if not len(at):
        return np.empty(0)
    low, high = at.min(axis=0), at.max(axis=0) + 1
    crop = cv2.blur(linear_grey(photo, int(low[0]), int(low[1]), int(high[0]), int(high[1])), (3, 3))
    return np.asarray(crop[at[:, 1] - low[1], at[:, 0] - low[0]], dtype=float)
