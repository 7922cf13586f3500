"""Stage 2f: several views of the sheet -> lens with its covariance. One least-squares fit over all saddles.

Z. Zhang, A flexible new technique for camera calibration, IEEE PAMI 22(11), 2000 (from memory): a tilted view of a plane
gives two equations for the focal length; they start the fit. Besides the lens, the fit carries what would disturb it: a
print stretched unequally, and a focal length that grows as the camera focuses nearer.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from vision.lens import View, clumping, pose_of, seen_at
from vision.quantity import Quantity

Array = NDArray[np.floating[Any]]
MOST_SADDLES = 150  # a view; more add nothing but time
CENTRE_SHARE = 0.01  # of the longer side: where the principal point may lie (u); common practice, no source
K1_U = 0.03  # as for one photo alone
SHARED = 6  # focal length, its growth, principal point x and y, k1, squeeze
OUTLIER = 5.0


@dataclass(frozen=True)
class Priors:
    """What is known before any photo: growth of the focal length in px per px/mm, u of the unequal stretch of the print."""

    growth: Quantity
    squeeze_u: float
    long_side_px: int
    radius_px: float


@dataclass(frozen=True)
class LensFit:
    """Lens parameters (focal length px at ``at_px_per_mm``, growth, principal point x, y, k1, squeeze) and covariance (6, 6).

    ``poses`` (V, 6); ``miss_px`` a list of (N, 2) residuals a view; ``noise_px`` their spread; ``inflation`` the factor by
    which the covariance was widened because neighbours miss alike; ``ripple_px``: what a fifth-power radial term would
    still move a picture's corner.
    """

    values: Array
    covariance: Array
    at_px_per_mm: float
    poses: Array
    views: tuple[View, ...]
    miss_px: tuple[Array, ...]
    noise_px: float
    inflation: float
    ripple_px: Quantity


def closed_form_focal(homographies: Sequence[Array]) -> float | None:
    """Focal length px from homographies (page mm to offsets px) by Zhang's two constraints a view, least squares.

    Square pixels, principal point in the middle, no distortion. None when the views are too square-on to tell.
    """
    rows, right = [], []
    for whole in homographies:
        h = whole / np.linalg.norm(whole[:2, :2])
        rows += [h[0, 0] * h[0, 1] + h[1, 0] * h[1, 1], h[0, 0] ** 2 + h[1, 0] ** 2 - h[0, 1] ** 2 - h[1, 1] ** 2]
        right += [-h[2, 0] * h[2, 1], h[2, 1] ** 2 - h[2, 0] ** 2]
    a, b = np.array(rows), np.array(right)
    inverse_square = float(a @ b / (a @ a))
    return float(inverse_square**-0.5) if inverse_square > 0.0 else None


def fit_lens(views: Sequence[View], priors: Priors, guess_px: float) -> LensFit:
    """Fit one lens to several views; ``guess_px`` starts the focal length where the views themselves cannot."""
    thin = tuple(_thinned(view) for view in views)
    at = float(np.median([view.px_per_mm for view in thin]))
    everything = _start(thin, priors, guess_px)
    noise = max(float(np.median([view.noise_px for view in thin])), 0.02)
    kept: list[NDArray[np.bool_]] = [np.ones(len(view.mm), dtype=bool) for view in thin]

    def residuals(p: Array) -> Array:  # of what is kept, with the noise found so far
        miss = [m[k].ravel() for m, k in zip(_misses(p, thin, at, priors.radius_px), kept, strict=True)]
        return np.concatenate([np.concatenate(miss) / noise, _pulls(p, priors)])

    for _ in range(2):  # the second time without outliers, and with the noise that was found
        everything = least_squares(residuals, everything, x_scale="jac", max_nfev=60).x
        misses = _misses(everything, thin, at, priors.radius_px)
        spread = 1.4826 * float(np.median(np.abs(np.concatenate(misses) - np.median(np.concatenate(misses), axis=0))))
        kept = [np.hypot(*miss.T) < OUTLIER * max(spread, 0.02) for miss in misses]
        inside = np.concatenate([miss[k].ravel() for miss, k in zip(misses, kept, strict=True)])
        free = max(len(inside) - len(everything), 1)
        noise = max(float(np.sqrt((inside**2).sum() / free)), 0.005)
    clumps = [clumping(miss[k], view.mm[k]) for miss, k, view in zip(misses, kept, thin, strict=True)]
    inflation = float(np.mean(clumps))
    covariance = _covariance(residuals, everything, inflation)
    ripple = _ripple(misses, kept, thin, everything, priors.radius_px, noise * inflation**0.5)
    return LensFit(
        values=everything[:SHARED],
        covariance=covariance[:SHARED, :SHARED],
        at_px_per_mm=at,
        poses=everything[SHARED:].reshape(-1, 6),
        views=thin,
        miss_px=tuple(misses),
        noise_px=noise,
        inflation=inflation,
        ripple_px=ripple,
    )


def _start(views: Sequence[View], priors: Priors, guess_px: float) -> Array:
    """Where the fit begins: focal length by the closed form where it is believable, and each view's pose with it."""
    closed = closed_form_focal([view.homography for view in views])
    focal = closed if closed is not None and 0.5 < closed / guess_px < 2.0 else guess_px
    lens = np.array([focal, priors.growth.value, 0.0, 0.0, 0.0, 0.0])
    return np.concatenate([lens, *(pose_of(view.homography, focal) for view in views)])


def _misses(p: Array, views: Sequence[View], at: float, radius_px: float) -> list[Array]:
    found: list[Array] = []
    for number, view in enumerate(views):
        pose = p[SHARED + 6 * number : SHARED + 6 * number + 6]
        lens = np.array([p[0] + p[1] * (view.px_per_mm - at), p[2], p[3], p[4]])
        found.append(seen_at(lens, pose, float(p[5]), view.mm, radius_px) - view.offset_px)
    return found


def _pulls(p: Array, priors: Priors) -> Array:
    """What was known before, as residuals."""
    centre_u = CENTRE_SHARE * priors.long_side_px
    growth = (p[1] - priors.growth.value) / priors.growth.u
    return np.array([growth, p[2] / centre_u, p[3] / centre_u, p[4] / K1_U, p[5] / priors.squeeze_u])


def _covariance(residuals: Any, p: Array, inflation: float) -> Array:
    """Inverse information: photos weigh by the noise found and the clumping of neighbours, priors as they stand."""
    jacobian = _slopes(residuals, p)
    photos, prior = jacobian[:-5], jacobian[-5:]
    information = photos.T @ photos / inflation + prior.T @ prior
    size = np.sqrt(np.diag(information))
    return np.asarray(np.linalg.pinv(information / np.outer(size, size), hermitian=True) / np.outer(size, size))


def _slopes(function: Any, p: Array) -> Array:
    """Central differences, columns d function / d p."""
    columns = []
    for i in range(len(p)):
        step = 1e-6 * max(abs(p[i]), 1e-2)
        ahead, behind = p.copy(), p.copy()
        ahead[i] += step
        behind[i] -= step
        columns.append((function(ahead) - function(behind)) / (2.0 * step))
    return np.column_stack(columns)


def _ripple(
    misses: list[Array],
    kept: list[NDArray[np.bool_]],
    views: Sequence[View],
    p: Array,
    radius_px: float,
    u_px: float,
) -> Quantity:
    """Slope of the radial residuals on r^5 (less what r and r^3 explain), as px in the picture's corner."""
    radial, rows = [], []
    for miss, k, view in zip(misses, kept, views, strict=True):
        offset = (view.offset_px[k] - p[2:4]) / radius_px
        r = np.maximum(np.hypot(*offset.T), 1e-9)
        radial.append(-(miss[k] * offset).sum(axis=1) / r)
        rows.append(np.column_stack([r, r**3, r**5]))
    design, target = np.concatenate(rows), np.concatenate(radial)
    inverse = np.linalg.pinv(design.T @ design)
    return Quantity(float((inverse @ design.T @ target)[2]), u_px * float(inverse[2, 2]) ** 0.5)


def _thinned(view: View) -> View:
    """At most MOST_SADDLES of a view, spread evenly over the order of the sheet, which runs along its ribbons."""
    if len(view.mm) <= MOST_SADDLES:
        return view
    chosen = np.linspace(0, len(view.mm) - 1, MOST_SADDLES).astype(int)
    return View(view.name, view.mm[chosen], view.offset_px[chosen], view.px_per_mm, view.homography, view.noise_px)
