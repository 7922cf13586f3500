"""A straightened look at one instrument: the photo turned, never mirrored, with the tip at the left and the axis level.

View coordinates: u mm along the chord from the tip, v mm across it, downward; at the instrument's own scale.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.photo import Photo
from vision.reading import InstrumentReading, Points


@dataclass(frozen=True)
class View:
    """Turns px of the upright photo into (u, v) mm: origin at the tip, ``along`` the unit vector of the chord."""

    origin_px: tuple[float, float]
    along: tuple[float, float]
    px_per_mm: float

    def to_uv(self, points_px: Points) -> Points:
        """Map (N, 2) px to (N, 2) mm along and across the chord."""
        c, s = self.along
        return np.asarray((points_px - np.array(self.origin_px)) @ np.array([[c, -s], [s, c]]) / self.px_per_mm)

    def to_px(self, uv_mm: Points) -> Points:
        """Map (N, 2) mm along and across the chord back to (N, 2) px."""
        c, s = self.along
        return np.asarray(uv_mm @ np.array([[c, s], [-s, c]]) * self.px_per_mm + np.array(self.origin_px))


def drawable(one: InstrumentReading) -> InstrumentReading:
    """Return the reading with axis points that are no numbers left out; gaps in edges stay and are drawn as gaps."""
    axis, x_mm = one.trace.axis_px, one.trace.axis_x_mm
    real = np.isfinite(axis).all(axis=1)
    kept = x_mm[real] if len(x_mm) == len(axis) else x_mm
    crests = one.trace.crests_px[np.isfinite(one.trace.crests_px).all(axis=1)]
    return replace(one, trace=replace(one.trace, axis_px=axis[real], axis_x_mm=kept, crests_px=crests))


def view_of(one: InstrumentReading) -> View:
    """Return the view along the chord of the traced axis; without an axis, along the longer side of the box."""
    axis = one.trace.axis_px
    if len(axis) >= 2:
        start, end = axis[0], axis[-1]
    else:
        x, y, w, h = one.box_px
        start, end = np.array([x, y + h / 2]), np.array([x + w, y + h / 2])
        if h > w:
            start, end = np.array([x + w / 2, y]), np.array([x + w / 2, y + h])
    chord = end - start
    chord = chord / max(float(np.hypot(*chord)), 1e-9)
    return View((float(start[0]), float(start[1])), (float(chord[0]), float(chord[1])), one.local_px_per_mm)


def picture(
    photo: Photo, view: View, u_mm: tuple[float, float], v_mm: tuple[float, float], width_px: int
) -> NDArray[np.uint8]:
    """Return the window u0..u1 by v0..v1 as an RGB picture of ``width_px``; what lies outside the photo is mid grey."""
    fine = max(width_px / (u_mm[1] - u_mm[0]), view.px_per_mm)  # never sample coarser than the photo, shrink after
    size = (round((u_mm[1] - u_mm[0]) * fine), max(1, round((v_mm[1] - v_mm[0]) * fine)))
    corners_uv = np.array([[u_mm[0], v_mm[0]], [u_mm[1], v_mm[0]], [u_mm[0], v_mm[1]]])
    corners_px = view.to_px(corners_uv)
    (left, top), part = _part(photo, np.vstack([corners_px, corners_px[1] + corners_px[2] - corners_px[0]]))
    # Outer corners of the window are the outer edges of its corner pixels, half a pixel beyond their centres.
    target = np.array([[-0.5, -0.5], [size[0] - 0.5, -0.5], [-0.5, size[1] - 0.5]], dtype=np.float32)
    matrix = cv2.getAffineTransform((corners_px - [left, top]).astype(np.float32), target)
    border = (128, 128, 128)
    turned = cv2.warpAffine(
        part, matrix, size, flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_CONSTANT, borderValue=border
    )
    if size[0] > width_px:
        height_px = max(1, round(size[1] * width_px / size[0]))
        turned = cv2.resize(turned, (width_px, height_px), interpolation=cv2.INTER_AREA)
    return np.asarray(turned, dtype=np.uint8)


def _part(photo: Photo, corners_px: Points) -> tuple[tuple[int, int], NDArray[np.uint8]]:
    """Return the part of the photo round the corners with its offset, so that a turn touches no more than it needs."""
    low = np.floor(corners_px.min(axis=0) - 3).astype(int)
    high = np.ceil(corners_px.max(axis=0) + 4).astype(int)
    left, top = int(np.clip(low[0], 0, photo.width_px - 1)), int(np.clip(low[1], 0, photo.height_px - 1))
    right, bottom = int(np.clip(high[0], left + 1, photo.width_px)), int(np.clip(high[1], top + 1, photo.height_px))
    return (left, top), np.ascontiguousarray(photo.rgb[top:bottom, left:right])
