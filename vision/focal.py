"""Stage 2m: homography -> the focal length that the view itself tells, where no record and no profile names it.

Seen from aside, a sheet is foreshortened, and how its lines run together tells the focal length: in the camera's own frame both
axes of the page must be of one length and at right angles (the image of the absolute conic, Hartley and Zisserman, Multiple View
Geometry, 8.6, from memory). Seen square on it tells nothing, and what is usual stays. Both are weighed by Bayes' rule on a grid.

Known bias: a picture that was cut has its lens elsewhere than in its middle; ``CENTRE_SHARE`` carries cuts by some per cent, no more.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.floating[Any]]
FULL_FRAME_MM = 36.0
USUAL_F35_MM, USUAL_F35_U = 35.0, 0.5  # phones and close-up cameras span about 24 to 80 mm
CENTRE_SHARE = 0.03  # of the long side: where the lens looks in a picture without a record, which may have been cut; common practice
FLAT_U = 0.003  # of lengths and angles on paper that is not quite flat, as in ``flatness.TOLD_SHARE``
REACH, STEPS = 3.2, 321  # the grid: so many u of what is usual either way


@dataclass(frozen=True)
class Doubt:
    """What the view may be wrong in: covariance (8, 8) or (9, 9) of the homography's entries, relative u of the page's two scales."""

    covariance: Array | None = None
    paper: float = 0.0


@dataclass(frozen=True)
class Focal:
    """Focal length as 35 mm equivalent (by the long side, 36 mm), mm, and its relative standard uncertainty."""

    f35_mm: float
    u: float


def focal_seen(homography: Array, centre_px: tuple[float, float], long_side_px: int, doubt: Doubt) -> Focal:
    """Weigh what a view of the sheet (page mm to ideal px) tells of the focal length with what is usual.

    Valid for one view of a flat sheet by a camera with square pixels. Square on, the answer is what is usual.
    """
    steps = np.linspace(-REACH, REACH, STEPS)
    focal_px = long_side_px / FULL_FRAME_MM * USUAL_F35_MM * np.exp(USUAL_F35_U * steps)
    start = np.concatenate([homography.ravel()[:8] / homography[2, 2], np.asarray(centre_px, dtype=float)])
    miss = _miss(start, focal_px)
    spread = _spread(start, focal_px, doubt, CENTRE_SHARE * long_side_px)
    chi_square = np.einsum("in,nij,jn->n", miss, np.linalg.inv(spread), miss)
    log = -0.5 * (steps**2 + chi_square + np.log(np.linalg.det(spread)))
    weight = np.exp(log - log.max())
    weight /= weight.sum()
    mean = float(weight @ steps)
    u = USUAL_F35_U * float(np.sqrt(weight @ (steps - mean) ** 2))
    return Focal(USUAL_F35_MM * float(np.exp(USUAL_F35_U * mean)), u)


def _miss(start: Array, focal_px: Array) -> Array:
    """(2, N): the logarithm of the ratio of both axes' lengths and the cosine between them, for each focal length."""
    matrix = np.append(start[:8], 1.0).reshape(3, 3)
    across, along = (
        np.stack([*np.broadcast_arrays(column[0] - start[8] * column[2], column[1] - start[9] * column[2], focal_px * column[2])])
        for column in matrix.T[:2]
    )
    sizes = np.linalg.norm(across, axis=0), np.linalg.norm(along, axis=0)
    return np.stack([np.log(sizes[0] / sizes[1]), (across * along).sum(axis=0) / (sizes[0] * sizes[1])])


def _spread(start: Array, focal_px: Array, doubt: Doubt, centre_u_px: float) -> Array:
    """(N, 2, 2): covariance of both, of the fit, the lens's place in the picture and the paper."""
    covariance = np.zeros((10, 10))
    if doubt.covariance is not None:
        covariance[:8, :8] = doubt.covariance[:8, :8]
    covariance[8, 8] = covariance[9, 9] = centre_u_px**2
    slopes = np.empty((10, 2, len(focal_px)))
    for k in range(10):
        step = np.zeros(10)
        step[k] = 1e-6 * max(abs(start[k]), 1e-6)
        slopes[k] = (_miss(start + step, focal_px) - _miss(start - step, focal_px)) / (2.0 * step[k])
    paper = np.diag([FLAT_U**2 + doubt.paper**2, FLAT_U**2])
    return np.asarray(np.einsum("kin,kl,ljn->nij", slopes, covariance, slopes) + paper)
