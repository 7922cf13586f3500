"""Stage 3b': where the view leaves the sheet: the table beyond a trimmed edge, a slot's hole, the surface around the page."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.bands import tiles
from vision.channels import farthest, mean, span
from vision.plane import Plane

Image = NDArray[np.floating[Any]]
Mask = NDArray[np.bool_]
LEAST_SHARE = 0.5  # of a region's would-be white must not be white
DARKER, COLOURED = 0.62, 0.22
RIM_MM, RIM_TILE_PX = 0.6, 96
SMOOTHED_PX = 8  # farther than smoothing by 1.2 px and a gradient reach


def off_sheet(plane: Plane, relative: Image) -> Mask:
    """Return (H, W) mask of what is not the sheet (``relative``: colour over that of bare paper).

    Geometry says where that can be: outside the page, beyond the trim line when the sheet was cut there, in a cut-out slot.
    """
    found = _outside_page(plane) | _holes(plane, relative) | _beyond_trim(plane, relative)
    return np.asarray(found & plane.inside)


def _strange(relative: Image, top: int, left: int, bottom: int, right: int) -> Mask:
    """Where a part of the picture, smoothed, is too dark or too coloured for paper."""
    above, before = min(SMOOTHED_PX, top), min(SMOOTHED_PX, left)
    around = relative[top - above : bottom + SMOOTHED_PX, left - before : right + SMOOTHED_PX]
    smooth = cv2.GaussianBlur(np.ascontiguousarray(around, dtype=np.float32), (0, 0), 1.5)
    part = np.ascontiguousarray(smooth[above : above + bottom - top, before : before + right - left])
    return np.asarray((mean(part) < DARKER) | (span(part) > COLOURED))


def _outside_page(plane: Plane) -> Mask:
    outside = np.zeros_like(plane.inside)
    if plane.page_mm is not None:
        page_x, page_y = plane.page_mm
        x = (np.arange(outside.shape[1]) + 0.5) / plane.px_per_mm + plane.x0_mm
        y = (np.arange(outside.shape[0]) + 0.5) / plane.px_per_mm + plane.y0_mm
        outside[:, (x < 0.0) | (x > page_x)] = True
        outside[(y < 0.0) | (y > page_y), :] = True
    return outside


def _beyond_trim(plane: Plane, relative: Image) -> Mask:
    """Everything right of the trim line when most of what should be white there is not: the sheet was cut."""
    beyond = np.zeros_like(plane.inside)
    if plane.trim_x_mm is None:
        return beyond
    column = max(round((plane.trim_x_mm - plane.x0_mm) * plane.px_per_mm), 0)
    asked = (plane.printed[:, column:] > 0.5) & plane.inside[:, column:]
    if asked.sum() > 4.0 * plane.px_per_mm**2:
        rows, columns = np.flatnonzero(asked.any(axis=1)), np.flatnonzero(asked.any(axis=0))
        top, bottom, left, right = int(rows[0]), int(rows[-1]) + 1, int(columns[0]), int(columns[-1]) + 1
        strange = _strange(relative, top, column + left, bottom, column + right)
        beyond[:, column:] = strange[asked[top:bottom, left:right]].mean() > LEAST_SHARE
    return beyond


def _holes(plane: Plane, relative: Image) -> Mask:
    """Slots that were cut out: where the rim just inside a slot's outline is not paper."""
    holes = np.zeros_like(plane.inside)
    for x0, y0, x1, y1 in plane.slots_mm:
        box = np.rint((np.array([x0, y0, x1, y1]) - np.array([plane.x0_mm, plane.y0_mm] * 2)) * plane.px_per_mm).astype(int)
        left, top, right, bottom = (int(v) for v in np.clip(box, 0, [*holes.shape[::-1], *holes.shape[::-1]]))
        if right - left < 8 or bottom - top < 8:
            continue
        rim_px = max(round(0.8 * plane.px_per_mm), 2)
        part, seen = _strange(relative, top, left, bottom, right), plane.inside[top:bottom, left:right]
        edge = np.concatenate([part[rows][seen[rows]] for rows in (slice(2, rim_px), slice(-rim_px, -2))])
        if len(edge) and edge.mean() > 0.5:
            holes[top:bottom, left:right] = True
    return holes


def over_table(plane: Plane, relative: Image, table: Mask) -> Mask:
    """Mark what lies over the table: tinted otherwise, brighter, or darker with a hard border; a shadow is none of these."""
    if table.sum() < 100:
        return np.zeros_like(table)
    found = np.zeros_like(table)
    part = _box(table)
    found[part] = _over(plane.px_per_mm, relative[part], table[part])
    return found


def _over(px_per_mm: float, relative: Image, table: Mask) -> Mask:
    smooth = np.asarray(cv2.GaussianBlur(np.ascontiguousarray(relative, dtype=np.float32), (0, 0), 1.2), dtype=np.float32)
    np.add(smooth, np.float32(0.02), out=smooth)
    level = np.asarray(cv2.log(smooth, dst=smooth))
    within = cv2.distanceTransform(np.pad(table, 1).astype(np.uint8), cv2.DIST_L2, 5)[1:-1, 1:-1]
    ring = table & (within > 0.5 * px_per_mm) & (within <= 1.3 * px_per_mm)
    chosen = level[ring if ring.sum() > 100 else table]
    usual = np.median(chosen, axis=0)
    own = usual - usual.mean()
    spread = 1.4826 * np.median(np.abs(chosen - chosen.mean(axis=1, keepdims=True) - own)) + 0.01
    grey = mean(level)
    tinted = farthest(level, own, grey) > max(6.0 * spread, 0.18)
    hard = cv2.magnitude(cv2.Sobel(grey, cv2.CV_32F, 1, 0), cv2.Sobel(grey, cv2.CV_32F, 0, 1)) > 8.0 * 0.12
    return np.asarray((tinted | (grey > usual.mean() + 0.35) | hard) & table)


def _box(mask: Mask) -> tuple[slice, slice]:
    """Rows and columns that hold all of a mask, with what smoothing there reaches to."""
    rows, columns = np.flatnonzero(mask.any(axis=1)), np.flatnonzero(mask.any(axis=0))
    return (
        slice(max(int(rows[0]) - SMOOTHED_PX, 0), int(rows[-1]) + SMOOTHED_PX + 1),
        slice(max(int(columns[0]) - SMOOTHED_PX, 0), int(columns[-1]) + SMOOTHED_PX + 1),
    )


def rim(plane: Plane, table: Mask) -> Mask:
    """Zone around the table's border, where neither paper nor table tells what is seen."""
    if not table.any():
        return np.zeros_like(table)
    reach = RIM_MM * plane.px_per_mm
    result = np.zeros_like(table)
    for tile in tiles(table.shape, int(reach) + 2, RIM_TILE_PX):
        if not plane.inside[tile.place].any():
            continue
        part = np.ascontiguousarray(table[tile.outer])
        if part.any() and not part.all():
            result[tile.place] = (_wider(part, reach) & _wider(~part, reach))[tile.inner]
    return result


def _wider(mask: Mask, radius_px: float) -> Mask:
    return np.asarray(cv2.distanceTransform((~mask).astype(np.uint8), cv2.DIST_L2, 5) <= radius_px)
