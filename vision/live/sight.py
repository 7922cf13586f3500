"""Frame -> Sight: where the sheet lies in it, how fine it is, where the camera stands. Markers alone, no saddles: a few ms."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from calib.sheet import Sheet
from vision.camera import stand
from vision.focal import Doubt
from vision.markers import Seen, glance, sheets_of
from vision.photo import Photo
from vision.scale import Camera, Scale, project
from vision.sheetfit import lens_centre

Array = NDArray[np.floating[Any]]
SMALL_AREA_PX = 230_400  # of the picture in which instruments are looked for: 640 x 360
LEAST_MARKERS = 3
WITHIN_PX = 6.0  # a corner that lies further off is that of a covered or misread marker
WINDOW_PX = 5
MOST_TRIALS = 200
AS_SEEN = Doubt(paper=0.005)  # corners to a px or so over most of the frame, on a print that may be stretched by as much


@dataclass(frozen=True)
class Sight:
    """The sheet in a frame. ``scale`` belongs to ``small``, the frame reduced ``shrink`` times; ``homography``: page mm to frame px.

    ``corners_mm``, ``corners_px`` (N, 2): corners of the markers seen, in the frame.
    """

    frame: Photo
    small: Photo
    shrink: float
    scale: Scale
    homography: Array
    px_per_mm: float
    camera: Camera
    markers: int
    corners_mm: Array
    corners_px: Array

    def to_frame(self, small_px: Array) -> Array:
        """Map (N, 2) px of the small picture to px of the frame."""
        return np.asarray((small_px + 0.5) * self.shrink - 0.5)


def see_sheet(frame: Photo, f35_mm: float | None = None, known: str | None = None) -> Sight | None:
    """Find the sheet; None where fewer than three of its markers are clear. ``f35_mm``: the lens, 35 mm equivalent, if known;
    ``known``: the sheet seen last, looked for first.

    px/mm is good to about 1 %. Without ``f35_mm`` the camera's height and tilt rest on a usual lens and may be half or twice that.
    """
    grey = np.asarray(cv2.cvtColor(frame.rgb, cv2.COLOR_RGB2GRAY), dtype=np.uint8)
    groups = sheets_of(glance(grey, known))
    if not groups:
        return None
    sheet, seen = max(groups.values(), key=lambda group: len(group[1]))
    found = _fitted(grey, sheet, seen) if len(seen) >= LEAST_MARKERS else None
    return None if found is None else _sight(frame, sheet, len(seen), f35_mm, *found)


def _fitted(grey: NDArray[np.uint8], sheet: Sheet, seen: list[Seen]) -> tuple[Array, Array, Array] | None:
    """Homography from page mm to frame px, and the corners it rests on."""
    known = {marker.id: marker for marker in sheet.markers}
    mm = np.concatenate([np.asarray(known[one.id].corners_mm, dtype=float) for one in seen])
    rough = np.concatenate([one.corners_px for one in seen]).astype(np.float32)
    criteria = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 15, 0.02)
    px = np.asarray(cv2.cornerSubPix(grey, rough.reshape(-1, 1, 2), (WINDOW_PX, WINDOW_PX), (-1, -1), criteria), dtype=float)
    px = px.reshape(-1, 2)
    matrix, used = cv2.findHomography(mm, px, cv2.RANSAC, WITHIN_PX, maxIters=MOST_TRIALS)
    if matrix is None or np.mean(used) < 0.6 or np.linalg.det(matrix[:2, :2]) <= 0.0:
        return None
    kept = np.asarray(used).ravel() > 0
    return np.asarray(matrix / matrix[2, 2], dtype=float), mm[kept], px[kept]


def _sight(
    frame: Photo, sheet: Sheet, markers: int, f35_mm: float | None, homography: Array, mm: Array, px: Array
) -> Sight:
    shrink = max((frame.width_px * frame.height_px / SMALL_AREA_PX) ** 0.5, 1.0)
    size = round(frame.width_px / shrink), round(frame.height_px / shrink)
    rgb = np.asarray(cv2.resize(frame.rgb, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)
    smaller = np.array([[1 / shrink, 0, 0.5 / shrink - 0.5], [0, 1 / shrink, 0.5 / shrink - 0.5], [0, 0, 1]]) @ homography
    smaller = smaller / smaller[2, 2]
    centre, radius = lens_centre(rgb.shape)
    camera = stand(smaller, centre, max(size), f35_mm, AS_SEEN)
    scale = Scale(
        homography=smaller, k1=0.0, centre_px=centre, radius_px=radius, covariance=np.zeros((9, 9)), print_u=(0.0, 0.0),
        print_checked=None, sheet=sheet, print_scale=(1.0, 1.0), camera=camera, residual_px=0.0, saddles_mm=mm,
    )  # fmt: skip
    middle = ((frame.width_px - 1) / 2.0, (frame.height_px - 1) / 2.0)
    small, fine = Photo(frame.path, rgb, frame.camera), _px_per_mm(homography, middle)
    return Sight(frame, small, shrink, scale, homography, fine, camera, markers, mm, px)


def _px_per_mm(homography: Array, at_px: tuple[float, float]) -> float:
    """Root of the area ratio at a place of the frame."""
    mm = project(np.linalg.inv(homography), np.array([at_px]))
    around = project(homography, mm + 0.1 * np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]]))
    return float(np.sqrt(abs(np.linalg.det(np.column_stack([around[1] - around[0], around[2] - around[0]])))) / 0.1)
