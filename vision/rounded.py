"""Stage 2o: Photo, Scale -> are the sheet's printed corners cut by more than blur and ink explain? Then software has smoothed the picture.

A lens, a bad focus and a moving hand blur a corner as they blur the edges beside it: along its diagonal the half level lies a sigmas
inside both edges where Phi(a)^2 = 1/2. Ink that has spread by d rounds an outward corner by (1 - 1/sqrt 2) d. What wipes noise away by
force (a median over many px and its like) leaves edges sharp and cuts corners, and with them whatever is thin: flutes, ridges, a shank.
Known limits: nothing is said of a smoothing of the instrument alone; a printer that rounds corners itself is allowed ``PRINTED_MM``.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates
from scipy.special import ndtr

from calib.sheet import Sheet
from vision.errors import PhotoError
from vision.photo import Photo
from vision.scale import Scale

Array = NDArray[np.floating[Any]]
BLURRED = 0.5446  # sigmas: Phi(a)^2 = 1/2, the half level on the diagonal of a corner blurred alike both ways
QUARTILES = 1.349  # sigmas between the quarter and the three quarter level of a blurred edge
INKED = 1.0 - 0.5**0.5
REACH_MODULES, STEPS, ENDS = 1.25, 65, 8  # from the corner, clear of the next one
LEAST_CORNERS, ENOUGH_CORNERS, LEAST_CONTRAST = 6, 48, 0.05
QUARTER, CLEAR = 16, 0.2  # steps of a corner's outer quarters, and how near they must be to white and dark
# Corners of 4 renders (development of the thresholds: seeds 9700-9703 of the gauntlet, 45 px/mm) lie 0.0 to 0.25 px inside, after a
# median over 5 px 0.3 to 0.6, over 7 px 0.5 to 0.9, over 15 px 1.7 to 2.5. Widths read from them are wrong from 7 px on.
_LIGHT = (np.arange(256) / 255.0) ** 2.2
USUAL_PX, PRINTED_MM = 0.3, 0.005
MOST_PX, MOST_PRINTED_MM, LEAST_MOST_PX = 0.25, 0.015, 0.8


def refuse_rounded(photo: Photo, scale: Scale) -> Scale:
    """Return the scale with what smoothing leaves in doubt of any outline, ``smoothed_px`` and a warning; unchanged where nothing tells it.

    Raises PhotoError of kind 'smoothed' where corners are cut so far that thin metal is cut as well.
    """
    cut = cut_px(photo, scale)
    if cut is None:
        return scale
    per_mm = scale.px_per_mm_at((photo.width_px / 2.0, photo.height_px / 2.0)).value
    most = max(MOST_PX + MOST_PRINTED_MM * per_mm, LEAST_MOST_PX)
    if cut > most:
        raise PhotoError(
            "smoothed",
            f"the sheet's printed corners are cut by {cut:.1f} px more than blur and ink explain, at most {most:.1f} may be: "
            "software has smoothed the picture, which wipes thin metal away; switch noise filters "
            "and beautifying off, and take the camera's original file",
        )
    doubt_px = cut - USUAL_PX - PRINTED_MM * per_mm
    if doubt_px <= 0.0:
        return scale
    warning = (
        f"the sheet's printed corners are cut by {cut:.1f} px more than blur and ink explain: the picture seems smoothed by software, and "
        f"every width carries {doubt_px:.2f} px an edge for it; switch noise filters off, and use the camera's original file"
    )
    return replace(scale, smoothed_px=doubt_px, warnings=(*scale.warnings, warning))


def cut_px(photo: Photo, scale: Scale) -> float | None:
    """How far the sheet's outward corners are cut along each edge beyond blur and ink, px; None where too few are in view."""
    if scale.sheet is None or not scale.sheet.strips:
        return None
    reach_mm = REACH_MODULES * scale.sheet.strips[0].markers[0].module_mm
    stretch = np.array([*scale.print_scale, 1.0, 1.0])  # nominal places on this very print
    corners = _in_view(np.array(outward_corners(scale.sheet)) * stretch, photo, scale, reach_mm)
    per_mm = scale.px_per_mm_at((photo.width_px / 2.0, photo.height_px / 2.0)).value
    at_px = np.linspace(-reach_mm, reach_mm, STEPS) * per_mm
    about = _about(scale, corners, reach_mm)
    seen = [(corner, level) for corner, px in zip(corners, about, strict=True) if (level := _levels(photo, px)) is not None]
    told = [(corner, cut) for corner, level in seen if (cut := _cut(level, at_px)) is not None]
    if len(told) < LEAST_CORNERS:
        return None
    cuts = np.array([cut for _, cut in told])
    return float(np.median(cuts[:, 0])) - INKED * _ink_px(np.array([corner for corner, _ in told]), cuts[:, 1:])


def _ink_px(corners: Array, edges_px: Array) -> float:
    """How far ink has spread, px: edges lie outward of their places on whichever side, while a print that lies elsewhere moves the two
    sides of a cell alike. 0 where only one side is seen."""
    spread = []
    for k in (0, 1):
        ahead, back = (edges_px[corners[:, 2 + k] == way, k] for way in (1.0, -1.0))
        if len(ahead) and len(back):
            spread.append(-0.5 * float(np.median(ahead) + np.median(back)))
    return max(float(np.mean(spread)), 0.0) if spread else 0.0


@cache
def outward_corners(sheet: Sheet) -> list[tuple[float, float, float, float]]:
    """Dark corners of the ribbons' outer rows with white all about: place on the page, mm, and which way the dark lies."""
    found = []
    for strip in sheet.strips:
        rows = (strip.y0_mm, strip.y1_mm) if strip.runs_along == "x" else (strip.x0_mm, strip.x1_mm)
        for cell in strip.cells:
            for x, right in ((cell.x0_mm, 1.0), (cell.x1_mm, -1.0)):
                for y, down in ((cell.y0_mm, 1.0), (cell.y1_mm, -1.0)):
                    at, into = (y, down) if strip.runs_along == "x" else (x, right)
                    if abs(at - rows[0 if into > 0.0 else 1]) < 1e-6:
                        found.append((x, y, right, down))
    return found


def _in_view(corners: Array, photo: Photo, scale: Scale, reach_mm: float) -> Array:
    """As many of the corners (N, 4) as are needed, evenly over the picture, each with what lies about it in view."""
    inside = np.ones(len(corners), dtype=bool)
    for away in ((-reach_mm, -reach_mm), (-reach_mm, reach_mm), (reach_mm, -reach_mm), (reach_mm, reach_mm)):
        spots = scale.to_px(corners[:, :2] + away)
        inside &= ((spots >= 3.0) & (spots < [photo.width_px - 4.0, photo.height_px - 4.0])).all(axis=1)
    there = corners[inside]
    return there[np.unique(np.linspace(0, len(there) - 1, min(len(there), ENOUGH_CORNERS)).astype(int))] if len(there) else there


def _about(scale: Scale, corners: Array, reach_mm: float) -> Array:
    """Px (N, STEPS, STEPS, 2) about each of the corners (N, 4), the dark toward the last row and column.

    Nine places of each are mapped; a parabola each way leads through them: what is left is far below a hundredth of a px.
    """
    nine = reach_mm * np.array([-1.0, 0.0, 1.0])
    across, along = np.meshgrid(nine, nine)
    mm = corners[:, None, None, :2] + corners[:, None, None, 2:] * np.stack([across, along], axis=-1)
    px = scale.to_px(mm.reshape(-1, 2)).reshape(-1, 3, 3, 2)
    t = np.linspace(-1.0, 1.0, STEPS)
    through = np.stack([t * (t - 1.0) / 2.0, 1.0 - t**2, t * (t + 1.0) / 2.0], axis=1)
    return np.asarray(np.einsum("ri,cj,nijk->nrck", through, through, px, optimize=True))


def _levels(photo: Photo, px: Array) -> Array | None:
    """Share of the dark at px (STEPS, STEPS, 2) about one corner, the dark toward the last row and column; None without contrast."""
    low = np.floor(px.min(axis=(0, 1))).astype(int) - 1
    high = np.ceil(px.max(axis=(0, 1))).astype(int) + 2
    piece = np.ascontiguousarray(photo.rgb[low[1] : high[1], low[0] : high[0], 1])
    map_x, map_y = (np.asarray(px[..., k] - low[k], dtype=np.float32) for k in (0, 1))
    light = _LIGHT[cv2.remap(piece, map_x, map_y, cv2.INTER_LINEAR)]
    dark, white = float(light[-ENDS:, -ENDS:].mean()), float(light[: 2 * ENDS, : 2 * ENDS].mean())
    if white - dark < LEAST_CONTRAST:
        return None
    level = (white - light) / (white - dark)
    return level if _is_corner(level) else None


def _is_corner(level: Array) -> bool:
    """Whether one quarter is dark and three are white, as printed: not where something lies, or where the sheet was cut off."""
    near, far = slice(None, QUARTER), slice(-QUARTER, None)
    white = max(float(np.abs(level[rows, columns]).max()) for rows, columns in ((near, near), (near, far), (far, near)))
    return white < CLEAR and float(np.abs(level[far, far] - 1.0).max()) < CLEAR


def _cut(level: Array, at_px: Array) -> tuple[float, float, float] | None:
    """How far one corner's half level lies inside both of its edges, less what their blur explains, px; and where its two edges lie.

    The corner is looked for from where its own edges meet: prints lie elsewhere by more than corners are cut.
    """
    sides = level[-ENDS:, :].mean(axis=0), level[:, -ENDS:].mean(axis=1)
    quarters = [[_crossing(side, share, at_px) for share in (0.25, 0.5, 0.75)] for side in sides]
    if any(place is None for side in quarters for place in side):
        return None
    (x1, x_px, x3), (y1, y_px, y3) = np.array(quarters, dtype=float)
    step = float(at_px[1] - at_px[0])
    diagonal = map_coordinates(level, [(y_px + at_px - at_px[0]) / step, (x_px + at_px - at_px[0]) / step], order=1, mode="nearest")
    corner = _crossing(diagonal, 0.5, at_px)
    if corner is None:
        return None
    return corner - _blurred_px((x3 - x1) / QUARTILES, (y3 - y1) / QUARTILES), float(x_px), float(y_px)


def _blurred_px(across_px: float, along_px: float) -> float:
    """Where on the diagonal Phi(a / across) Phi(a / along) = 1/2: a corner blurred by a Gaussian."""
    at = np.linspace(0.0, BLURRED * max(across_px, along_px, 1e-3), 200)
    both = ndtr(at / max(across_px, 1e-3)) * ndtr(at / max(along_px, 1e-3))
    return float(np.interp(0.5, both, at))


def _crossing(profile: Array, share: float, at_px: Array) -> float | None:
    rises = np.flatnonzero((profile[:-1] < share) & (profile[1:] >= share))
    if not len(rises):
        return None
    k = int(rises[0])
    return float(at_px[k] + (share - profile[k]) / (profile[k + 1] - profile[k]) * (at_px[k + 1] - at_px[k]))
