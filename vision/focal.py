"""Stage 2m: homographies -> the focal length that views of the sheet tell, where no record and no profile names it.

Seen from aside, a sheet is foreshortened, and how its lines run together tells the focal length: in the camera's own frame both
axes of the page must be of one length and at right angles (the image of the absolute conic, Hartley and Zisserman, Multiple View
Geometry, 8.6, from memory). Seen square on it tells nothing, and what is usual stays. Both are weighed by Bayes' rule on a grid.

A print that is longer along one axis than along the other looks like a tilt, and that is most of what one view leaves in doubt. Seen
square on, by the same camera, it shows that it is: views that share camera and print are weighed together, for both are the same
in all of them. From 27 sets of two to four rendered views, one of them 18 to 21 deg from the side, the prints not checked, focal
lengths came out wrong by 2.5 % rms, u 7.5 %, where the surest view alone gave 14 %, u 19 %.

Known bias: toward what is usual, by up to a third of u. A picture that was cut has its lens elsewhere than in its middle;
``CENTRE_SHARE`` carries cuts by some per cent, no more.
"""

from __future__ import annotations

from collections.abc import Sequence
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


@dataclass(frozen=True)
class View:
    """One view of a flat sheet: page mm to ideal px, what that may be wrong in, and which print it shows."""

    homography: Array
    doubt: Doubt
    print_name: str = ""


def focal_seen(homography: Array, centre_px: tuple[float, float], long_side_px: int, doubt: Doubt) -> Focal:
    """Weigh what a view of the sheet (page mm to ideal px) tells of the focal length with what is usual.

    Valid for one view of a flat sheet by a camera with square pixels. Square on, the answer is what is usual.
    """
    return focal_shared([View(homography, doubt)], centre_px, long_side_px)


def focal_shared(views: Sequence[View], centre_px: tuple[float, float], long_side_px: int) -> Focal:
    """The same from several views by one camera, which share its lens, where that looks in the picture, and each print's shape."""
    steps = np.linspace(-REACH, REACH, STEPS)
    focal_px = long_side_px / FULL_FRAME_MM * USUAL_F35_MM * np.exp(USUAL_F35_U * steps)
    starts = [np.concatenate([one.homography.ravel()[:8] / one.homography[2, 2], np.asarray(centre_px, dtype=float)]) for one in views]
    miss = np.concatenate([_miss(start, focal_px) for start in starts])
    spread = _spread(starts, [one.doubt for one in views], focal_px, CENTRE_SHARE * long_side_px) + _of_prints(views)
    chi_square = np.einsum("in,nij,jn->n", miss, np.linalg.inv(spread), miss)
    log = -0.5 * (steps**2 + chi_square + np.linalg.slogdet(spread)[1])
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


def _spread(starts: Sequence[Array], doubts: Sequence[Doubt], focal_px: Array, centre_u_px: float) -> Array:
    """(N, 2K, 2K): covariance of what K views miss by each one's own fit and paper that is not flat, and by the lens's place in all."""
    size = 2 * len(starts)
    own, centre = np.zeros((len(focal_px), size, size)), np.empty((2, size, len(focal_px)))
    for k, (start, doubt) in enumerate(zip(starts, doubts, strict=True)):
        slopes, at = _slopes(start, focal_px), slice(2 * k, 2 * k + 2)
        own[:, at, at] = FLAT_U**2 * np.eye(2)
        if doubt.covariance is not None:
            own[:, at, at] += np.einsum("kin,kl,ljn->nij", slopes[:8], doubt.covariance[:8, :8], slopes[:8])
        centre[:, at] = slopes[8:]
    return np.asarray(own + centre_u_px**2 * np.einsum("kin,kjn->nij", centre, centre))


def _slopes(start: Array, focal_px: Array) -> Array:
    """(10, 2, N): how what is missed moves with the eight entries of the homography and the lens's place."""
    slopes = np.empty((10, 2, len(focal_px)))
    for k in range(10):
        step = np.zeros(10)
        step[k] = 1e-6 * max(abs(start[k]), 1e-6)
        slopes[k] = (_miss(start + step, focal_px) - _miss(start - step, focal_px)) / (2.0 * step[k])
    return slopes


def _of_prints(views: Sequence[View]) -> Array:
    """(2K, 2K): covariance of prints that are longer along one axis than along the other, each the same in all of its views."""
    names = np.array([one.print_name for one in views])
    paper = np.array([one.doubt.paper for one in views])
    return np.kron(np.outer(paper, paper) * (names[:, None] == names[None, :]), np.diag([1.0, 0.0]))
