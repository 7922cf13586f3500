"""Stage 6e: edge profiles -> straight-sided envelope, where no twisted blank explains them.

Hedstroem: the lines through the crests of both edges. Broach: the core wire between the barbs. Plain wire, spreader,
plugger and shank: the edges themselves.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.crests import Crests

Array = NDArray[np.floating[Any]]


@dataclass(frozen=True)
class Cone:
    """D(x) = d0 + taper x about a cubic axis: values, (2, 2) covariance of d0 and taper, robust misfit in mm, points."""

    d0_mm: float
    taper: float
    covariance: Array
    misfit_mm: float
    points: int
    middle_mm: float

    @property
    def u_middle_mm(self) -> float:
        """Standard uncertainty of the diameter at the middle of the fitted stretch, from the fit alone."""
        c, x = self.covariance, self.middle_mm
        return float(np.sqrt(max(c[0, 0] + 2.0 * x * c[0, 1] + x * x * c[1, 1], 0.0)))

    def diameter_mm(self, x_mm: float) -> float:
        """Diameter at a station."""
        return self.d0_mm + self.taper * x_mm


def through_crests(upper: Crests, lower: Crests) -> Cone | None:
    """Fit the cone through the crests of both edges (heights counted outward); None with fewer than three on each."""
    if min(len(upper.x_mm), len(lower.x_mm)) < 3:
        return None
    x = np.concatenate([upper.x_mm, lower.x_mm])
    height = np.concatenate([upper.height_mm, lower.height_mm])
    side = np.concatenate([np.ones(len(upper.x_mm)), -np.ones(len(lower.x_mm))])
    return _fit(x, height, side, np.ones(len(x)), outer_weight=1.0, correlated=1.0)


def along_edges(
    x_mm: Array, upper_mm: Array, lower_mm: Array, trust: Array | None = None, *, barbs: bool, correlated_points: float
) -> Cone | None:
    """Fit the cone to the edges themselves; with ``barbs`` whatever stands out or is cut in is left out.

    ``trust`` (2, N) weighs the points
    of both edges. ``correlated_points`` is how many neighbouring stations share one error (blur and smoothing along the axis).
    """
    up, low = np.isfinite(upper_mm), np.isfinite(lower_mm)
    if min(up.sum(), low.sum()) < 30:
        return None
    x = np.concatenate([x_mm[up], x_mm[low]])
    height = np.concatenate([upper_mm[up], -lower_mm[low]])
    side = np.concatenate([np.ones(up.sum()), -np.ones(low.sum())])
    weigh = np.ones(len(x)) if trust is None else np.concatenate([trust[0][up], trust[1][low]])
    return _fit(x, height, side, weigh, outer_weight=0.3 if barbs else 1.0, correlated=correlated_points)


def even_width(
    x_mm: Array, upper_mm: Array, lower_mm: Array, trust: Array, *, astray_mm: Array, correlated_points: float
) -> Cone | None:
    """Width of a stretch of wire: the median, weighed by trust, of stations where both edges are seen; None below 30 of them.

    A short stretch beside a stop, with one edge in shadow, would not bear the axis and taper that a cone asks for.
    ``astray_mm`` (2, N): how far an edge may lie off all along, as where it follows a facet instead of the rim; its median over
    each edge is carried.
    """
    seen = np.isfinite(upper_mm) & np.isfinite(lower_mm)
    if seen.sum() < 30:
        return None
    x, width, weight = x_mm[seen], (upper_mm - lower_mm)[seen], np.prod(trust[:, seen], axis=0)
    order = np.argsort(width)
    value = float(np.interp(0.5, (np.cumsum(weight[order]) - 0.5 * weight[order]) / weight.sum(), width[order]))
    spread = max(1.4826 * float(np.median(np.abs(width - value))), 2e-4)
    u = 1.25 * spread * float(np.sqrt(correlated_points / len(x)))  # of a median
    u = float(np.hypot(u, np.linalg.norm(np.median(astray_mm[:, seen], axis=1))))
    return Cone(value, 0.0, np.diag([u * u, 0.0]), spread / 2.0, len(x), float(np.median(x)))


def _fit(x: Array, height: Array, side: Array, trust: Array, *, outer_weight: float, correlated: float) -> Cone:
    """Robust (Tukey) least squares of height = D(x)/2 + side * axis(x), axis cubic."""
    middle, half = (x.max() + x.min()) / 2.0, max((x.max() - x.min()) / 2.0, 1e-6)
    t = (x - middle) / half
    order = 4 if len(x) >= 16 else 2
    bend = np.polynomial.legendre.legvander(t, order - 1) * side[:, None]
    design = np.column_stack([np.full(len(x), 0.5), x / 2.0, bend])
    weight = trust**2
    solution = np.zeros(design.shape[1])
    spread = 1.0
    for _ in range(15):
        root = np.sqrt(weight)[:, None]
        solution = np.linalg.lstsq(design * root, height * root[:, 0], rcond=None)[0]
        miss = height - design @ solution
        spread = max(1.4826 * float(np.median(np.abs(miss - np.median(miss) * (outer_weight < 1.0)))), 2e-4)
        reach = np.where(miss > 0, miss * (1.0 if outer_weight == 1.0 else 1.0 / outer_weight**0.5), miss)
        weight = (trust * np.clip(1.0 - (reach / (4.7 * spread)) ** 2, 0.0, None)) ** 2
    normal = design.T @ (design * weight[:, None])
    free = max(len(x) - design.shape[1], 1)
    covariance = np.linalg.pinv(normal, hermitian=True) * spread**2 * correlated * (len(x) / free) ** 2
    return Cone(float(solution[0]), float(solution[1]), covariance[:2, :2], spread, len(x), float(middle))
