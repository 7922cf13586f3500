"""Stage 2e: lens and pose -> where points of the sheet are seen. A pinhole with one radial term, in the sensor's own frame.

Points are offsets in px from the picture's centre, x right and y down on the sensor as it stores its rows: a photo turned
upright is turned back first, since the principal point belongs to the sensor.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.floating[Any]]
# EXIF orientation -> matrix that takes an offset on the sensor to one in the upright photo (CIPA DC-008, tag 0x0112).
_UPRIGHT = {
    1: ((1, 0), (0, 1)),
    2: ((-1, 0), (0, 1)),
    3: ((-1, 0), (0, -1)),
    4: ((1, 0), (0, -1)),
    5: ((0, 1), (1, 0)),
    6: ((0, -1), (1, 0)),
    7: ((0, -1), (-1, 0)),
    8: ((0, 1), (-1, 0)),
}
CELL_MM = 8.0
FEWEST = 5.0  # corners a cell, on average


@dataclass(frozen=True)
class View:
    """The saddles of one photo: (N, 2) page mm (print stretch applied) and (N, 2) offsets px on the sensor.

    ``px_per_mm`` is the scale in the picture's middle, ``homography`` the free fit from page mm to ideal offsets,
    ``noise_px`` the robust spread of its residuals.
    """

    name: str
    mm: Array
    offset_px: Array
    px_per_mm: float
    homography: Array
    noise_px: float


def turn_upright(orientation: int) -> Array:
    """(2, 2) matrix from sensor offsets to upright ones; its transpose goes back. Unknown values count as 1."""
    return np.array(_UPRIGHT.get(orientation, _UPRIGHT[1]), dtype=float)


def rotation_of(pose: Array) -> Array:
    """(3, 3) rotation of the page before the camera from a pose (rotation vector and shift)."""
    return np.asarray(cv2.Rodrigues(pose[:3])[0])


def seen_at(lens: Array, pose: Array, squeeze: float, mm: Array, radius_px: float) -> Array:
    """Offsets px (N, 2) of page points. ``lens``: focal length px, principal point x, y px, k1 (r in ``radius_px``).

    ``pose``: rotation vector and shift mm of the page before the camera. ``squeeze``: by how much more the print is
    stretched along x than along y, beyond what is known of it.
    """
    rotation = rotation_of(pose)
    camera = (mm * [1.0 + squeeze / 2.0, 1.0 - squeeze / 2.0]) @ rotation[:, :2].T + pose[3:]
    ideal = lens[0] * camera[:, :2] / camera[:, 2:]
    return np.asarray(ideal * (1.0 + lens[3] * (ideal**2).sum(axis=1) / radius_px**2)[:, None] + lens[1:3])


def pose_of(homography: Array, focal_px: float, principal_px: tuple[float, float] = (0.0, 0.0)) -> Array:
    """Rotation vector and shift (6,) of the page from its homography (page mm to ideal offsets px), f being given."""
    inverse = np.array([[1.0, 0.0, -principal_px[0]], [0.0, 1.0, -principal_px[1]], [0.0, 0.0, focal_px]])
    columns = inverse @ homography
    columns /= (np.linalg.norm(columns[:, 0]) + np.linalg.norm(columns[:, 1])) / 2.0
    columns *= np.sign(columns[2, 2]) or 1.0
    right, down = columns[:, 0], columns[:, 1]
    u, _, v = np.linalg.svd(np.column_stack([right, down, np.cross(right, down)]))
    return np.append(cv2.Rodrigues(u @ v)[0].ravel(), columns[:, 2])


def clumping(miss_px: Array, mm: Array) -> float:
    """By what factor chi-square grows because neighbours miss alike (paper not flat, print uneven); 1 for plain noise.

    The variance of the mean over cells of 8 mm (larger where corners are sparse), against that of independent residuals (design
    effect of cluster samples, Kish 1965, from memory). Known bias: cells larger than the ripple's own length are not seen.
    """
    area = float(np.prod(np.ptp(mm, axis=0)))
    side = max(CELL_MM, (FEWEST * area / max(len(mm), 1)) ** 0.5)
    cells = np.unique(np.floor(mm / side).astype(int), axis=0, return_inverse=True)[1].ravel()
    counts = np.bincount(cells)
    sums = np.column_stack([np.bincount(cells, miss_px[:, axis]) for axis in (0, 1)])
    crowded = counts >= 3
    spread = float(np.mean(miss_px**2))
    if crowded.sum() < 4 or spread == 0.0:
        return 1.0
    # Weighted by count, so that the few saddles of a cut cell do not rule.
    return max(float((sums[crowded] ** 2).sum() / (2.0 * counts[crowded].sum() * spread)), 1.0)
