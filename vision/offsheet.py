"""Stage 3b': where the view leaves the sheet: the table beyond a trimmed edge, a slot's hole, the surface around the page."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.plane import Plane

Image = NDArray[np.floating[Any]]
Mask = NDArray[np.bool_]
WIDER_MM = 5.5  # wider than any handle
LEAST_SHARE = 0.5  # of a region must be where the sheet prints white
DARKER, COLOURED = 0.62, 0.22
RIM_MM = 0.6


def off_sheet(plane: Plane, relative: Image) -> Mask:
    """Return (H, W) mask of large regions that are not the sheet (``relative``: colour over that of bare paper)."""
    smooth = cv2.GaussianBlur(np.asarray(relative, dtype=np.float32), (0, 0), 1.5)
    grey = smooth.mean(axis=2)
    strange = (grey < DARKER) | (smooth.max(axis=2) - smooth.min(axis=2) > COLOURED)
    white = plane.printed > 0.5
    opened = _open(((strange | ~white) & plane.inside) | ~plane.inside, WIDER_MM / 2.0 * plane.px_per_mm)
    _, labels, _, _ = cv2.connectedComponentsWithStats((opened & plane.inside).astype(np.uint8))
    count = labels.max() + 1
    voters = np.bincount(labels.ravel(), weights=(strange & white).ravel(), minlength=count)
    size = np.maximum(np.bincount(labels.ravel(), minlength=count), 1)
    table = (voters / size > LEAST_SHARE) & (size > (WIDER_MM * plane.px_per_mm) ** 2)
    table[0] = False
    return np.asarray((table[labels] | _holes(plane, strange)) & plane.inside)


def _holes(plane: Plane, strange: Mask) -> Mask:
    """Slots that were cut out: where the rim just inside a slot's outline is not paper."""
    holes = np.zeros_like(strange)
    for x0, y0, x1, y1 in plane.slots_mm:
        box = np.rint((np.array([x0, y0, x1, y1]) - np.array([plane.x0_mm, plane.y0_mm] * 2)) * plane.px_per_mm).astype(int)
        left, top, right, bottom = (int(v) for v in np.clip(box, 0, [*strange.shape[::-1], *strange.shape[::-1]]))
        if right - left < 8 or bottom - top < 8:
            continue
        rim_px = max(round(0.8 * plane.px_per_mm), 2)
        part = strange[top:bottom, left:right]
        edge = np.concatenate([part[2:rim_px].ravel(), part[-rim_px:-2].ravel()])
        if edge.mean() > 0.5:
            holes[top:bottom, left:right] = True
    return holes


def over_table(plane: Plane, relative: Image, table: Mask) -> Mask:
    """Mark what lies over the table: tinted otherwise, brighter, or darker with a hard border; a shadow is none of these."""
    if table.sum() < 100:
        return np.zeros_like(table)
    smooth = cv2.GaussianBlur(np.asarray(relative, dtype=np.float32), (0, 0), 1.2)
    level = np.log(smooth + 0.02)
    usual = np.median(level[table], axis=0)
    tint = level - level.mean(axis=2, keepdims=True)
    spread = 1.4826 * np.median(np.abs(tint[table] - (usual - usual.mean()))) + 0.01
    tinted = np.abs(tint - (usual - usual.mean())).max(axis=2) > max(6.0 * spread, 0.18)
    grey = level.mean(axis=2)
    steep = np.hypot(cv2.Sobel(grey, cv2.CV_32F, 1, 0), cv2.Sobel(grey, cv2.CV_32F, 0, 1)) / 8.0
    hard = steep > 0.12
    return np.asarray((tinted | (grey > usual.mean() + 0.35) | hard) & table)


def rim(plane: Plane, table: Mask) -> Mask:
    """Zone around the table's border, where neither paper nor table tells what is seen."""
    reach = RIM_MM * plane.px_per_mm
    return np.asarray(_wider(table, reach) & _wider(~table, reach))


def _open(mask: Mask, radius_px: float) -> Mask:
    """Morphological opening by distance: fast for a large disc."""
    inner = cv2.distanceTransform(mask.astype(np.uint8), cv2.DIST_L2, 5) > radius_px
    grown = cv2.distanceTransform((~inner).astype(np.uint8), cv2.DIST_L2, 5) <= radius_px
    return np.asarray(grown & mask)


def _wider(mask: Mask, radius_px: float) -> Mask:
    return np.asarray(cv2.distanceTransform((~mask).astype(np.uint8), cv2.DIST_L2, 5) <= radius_px)
