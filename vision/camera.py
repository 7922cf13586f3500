"""Stage 2d: homography -> where the camera stood: foot point on the sheet, height, tilt of the view."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.focal import FULL_FRAME_MM, Doubt, Focal, focal_seen
from vision.quantity import Quantity
from vision.scale import Camera

Array = NDArray[np.floating[Any]]

# Z = W f35 / (36 px_per_mm) holds where f35 refers to the width; makers also state it by the diagonal (43.3 mm against
# 45 mm for 4:3), and round it: about 4 % standard uncertainty.
FOCAL_U = 0.04
NO_DOUBT = Doubt()


def stand(
    homography: Array, centre_px: tuple[float, float], long_side_px: int, f35_mm: float | None, doubt: Doubt = NO_DOUBT
) -> Camera:
    """Work out the camera's place from one view of the plane (page mm to ideal px).

    One nearly square-on view cannot separate focal length from distance, so the focal length comes from the photo's own
    record (``f35_mm``, 35 mm equivalent) or, failing that, from the usual range and what a view from aside tells of it
    (``doubt``: what the view may be wrong in).
    """
    known = f35_mm is not None
    focal = focal_seen(homography, centre_px, long_side_px, doubt) if f35_mm is None else Focal(f35_mm, FOCAL_U)
    focal_px = long_side_px * focal.f35_mm / FULL_FRAME_MM
    inverse = np.array(
        [[1 / focal_px, 0, -centre_px[0] / focal_px], [0, 1 / focal_px, -centre_px[1] / focal_px], [0, 0, 1]]
    )
    columns = inverse @ homography
    size = (np.linalg.norm(columns[:, 0]) + np.linalg.norm(columns[:, 1])) / 2.0
    right, down, shift = columns[:, 0] / size, columns[:, 1] / size, columns[:, 2] / size
    if shift[2] < 0.0:
        right, down, shift = -right, -down, -shift
    (a, b, c), (d, e, f) = right, down
    rotation = np.column_stack([right, down, (b * f - c * e, c * d - a * f, a * e - b * d)])  # by hand: np.cross takes as long as the rest
    u, _, v = np.linalg.svd(rotation)
    rotation = u @ v
    place = -rotation.T @ shift  # camera centre in page axes: x right, y down, z into the page
    height = abs(float(place[2]))
    tilt = float(np.degrees(np.arccos(np.clip(rotation[2, 2], -1.0, 1.0))))
    return Camera((float(place[0]), float(place[1])), Quantity(height, height * focal.u), tilt, known)
