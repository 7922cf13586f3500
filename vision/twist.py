"""Stage 6b: edge profiles -> one fit of envelope, axis and twist for a twisted blank.

Both whole outlines are explained at once by the closed form of ``vision.shapes``: D0, taper, corner rounding, a smooth
axis and a smooth twist theta(x). Nothing nominal enters.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import BSpline

from vision.crests import Crests, numbered, upper_line
from vision.robust_fit import fit_robustly
from vision.shape_slopes import Turned, sloped_support, turned
from vision.shapes import RHOMBUS, Blank, support, support_of

Array = NDArray[np.floating[Any]]
SHAPE_NAMES = ("d0", "taper", "rounding", "low_corner")
MOST_POINTS, ENOUGH_POINTS = 1500, 300
KNOT_MM = 1.5
NEAR_CREST = 0.955  # of the enclosing radius: within 17 deg of a crest
LEAST_CREST_POINTS, CREST_SPAN = 40, 0.75  # on each edge; share of the stretch that they must cover


@dataclass(frozen=True)
class TwistFit:
    """Best outline of one blank: parameters, covariance, and how well it explains the edges.

    ``twist`` is theta(x) in rad (a cubic spline, valid within ``span_mm``); ``misfit_mm`` is the robust spread of the
    edges about the outline. ``theta_u_rad`` is the standard uncertainty of theta at the spline's own stations.
    """

    blank: Blank
    d0_mm: float
    taper: float
    rounding: float
    low_corner: float
    axis_mm: Array
    twist: BSpline
    span_mm: tuple[float, float]
    misfit_mm: float
    covariance: Array
    crest_count: int

    def radius_mm(self, x_mm: Array) -> Array:
        """Radius of the enclosing circle at x."""
        return np.asarray((self.d0_mm + self.taper * x_mm) / 2.0)

    def theta_rad(self, x_mm: Array) -> Array:
        """Twist at x, rad, increasing toward the handle (its sense cannot be told from an outline)."""
        return np.asarray(self.twist(x_mm))

    def rate_rad_per_mm(self, x_mm: Array) -> Array:
        """Twist a mm at x."""
        return np.asarray(self.twist.derivative()(x_mm))

    def edges_mm(self, x_mm: Array) -> tuple[Array, Array]:
        """Upper and lower edge of the fitted outline, signed from the axis that the profile is counted from."""
        theta, radius = self.theta_rad(x_mm), self.radius_mm(x_mm)
        axis = _axis(self.axis_mm, x_mm, self.span_mm)
        above = radius * support(self.blank, theta, self.rounding, self.low_corner)
        below = radius * support(self.blank, theta + np.pi, self.rounding, self.low_corner)
        return np.asarray(axis + above), np.asarray(axis - below)


def crest_angles(blank: Blank, upper: Crests, lower: Crests) -> tuple[Array, Array]:
    """Number the crests of both edges on one scale of twist; returns (x, theta) sorted by x.

    One edge's crests are a corner apart. The lower edge shows the blank turned by half a turn: its crests fall together
    with the upper ones for an even number of corners, midway between them for an odd one.
    """
    if blank is RHOMBUS:
        upper, lower = high_crests(upper), high_crests(lower)
    step = np.pi if blank is RHOMBUS else 2.0 * np.pi / blank.corners
    x_up, number = upper.x_mm, numbered(upper.x_mm)
    theta_up = step * number
    if len(x_up) < 2:
        return x_up, theta_up
    shift = 0.5 if blank.corners % 2 else 0.0
    guess = np.interp(lower.x_mm, x_up, number, left=np.nan, right=np.nan)
    theta_low = step * (np.rint(guess - shift) + shift)
    kept = np.isfinite(guess)
    x = np.concatenate([x_up, lower.x_mm[kept]])
    theta = np.concatenate([theta_up, theta_low[kept]])
    order = np.argsort(x)
    return x[order], theta[order]


def high_crests(crests: Crests) -> Crests:
    """Leave out the low crests of a rhombus: those clearly below the line through the high ones."""
    if len(crests.x_mm) < 4:
        return crests
    relative = crests.height_mm / upper_line(crests.x_mm, crests.height_mm)
    low, high = np.percentile(relative, [15, 85])
    kept = relative > (low + high) / 2.0 if high - low > 0.06 else np.logical_not(_between(crests.x_mm, relative))
    empty = np.empty(0)
    return Crests(crests.x_mm[kept], crests.height_mm[kept], empty, empty)


def _between(x_mm: Array, relative: Array) -> NDArray[np.bool_]:
    """Crests that stand lower than both neighbours and at half the usual distance from both: low ones seen now and then."""
    gaps = np.diff(x_mm)
    close = gaps < 0.75 * np.median(gaps)
    lower = np.zeros(len(x_mm), dtype=bool)
    lower[1:-1] = close[:-1] & close[1:] & (relative[1:-1] < relative[:-2]) & (relative[1:-1] < relative[2:])
    return lower


def fit_twist(
    blank: Blank,
    x_mm: Array,
    upper_mm: Array,
    lower_mm: Array,
    crests: tuple[Crests, Crests],
    span_mm: tuple[float, float],
    trust: Array | None = None,
) -> TwistFit | None:
    """Fit one blank to both edges between two stations; None when there are too few crests to start from.

    ``x_mm`` (N,), ``upper_mm`` and ``lower_mm`` (N,) signed heights, NaN where not found; ``trust`` (2, N) weighs
    them. Residuals are weighed by a
    soft L1 loss, so stretches where an edge was misplaced pull little.
    """
    at, theta = crest_angles(blank, *crests)
    if len(at) < 4:
        return None
    use = (x_mm >= span_mm[0]) & (x_mm <= span_mm[1])
    stride = max(int(use.sum() / MOST_POINTS), 1)
    x, up, low = x_mm[use][::stride], upper_mm[use][::stride], lower_mm[use][::stride]
    knots = _knots(span_mm, len(at))
    coefficients = _start_twist(at, theta, knots, span_mm)
    start = np.concatenate([_start_shape(blank, crests), np.zeros(4), coefficients])
    weigh = np.ones((2, len(x))) if trust is None else trust[:, use][:, ::stride]
    weight_up, weight_low = np.isfinite(up) * weigh[0], np.isfinite(low) * weigh[1]
    seen = np.concatenate([np.isfinite(up), np.isfinite(low)])
    up, low = np.nan_to_num(up), np.nan_to_num(low)
    design = BSpline.design_matrix(x, knots, 3).toarray()

    problem = _Problem(blank, x, (up, low), (weight_up, weight_low), design, span_mm)
    bounds = _bounds(blank, len(start))
    start = np.clip(start, bounds[0] + 1e-9, bounds[1] - 1e-9)
    scale = 0.05 * max(float(start[0] + start[1] * 8.0), 0.05)
    # The first only leads near, and tells how widely the edges scatter: some of the points tell as much.
    for posed, least_gain in ((problem.thinned(max(len(x) // ENOUGH_POINTS, 1)), 1e-6), (problem, 1e-7)):
        solved = fit_robustly(
            partial(posed.residuals, scale=scale),
            partial(posed.slopes, scale=scale),
            start,
            bounds,
            soft_at=1.5,
            least_gain=least_gain,
        )
        start = solved.p
        miss = problem.residuals(start, 1.0)[: 2 * len(x)][seen]
        scale = max(1.4826 * float(np.median(np.abs(miss))), 5e-4)
    found, u = _on_crests(blank, start, x, (up, low), (weight_up, weight_low), design @ start[8:], span_mm)
    fit = _result(blank, found, solved.normal, knots, span_mm, scale, len(at))
    if u is not None:
        fit.covariance[:2, :2] = np.maximum(1.0, np.trace(fit.covariance[:2, :2]) / np.trace(u)) * u
    return fit


class _Problem:
    """Residuals of both edges about one blank's outline and their slopes; p: D0, taper, rounding, low corner, axis, twist."""

    def __init__(
        self,
        blank: Blank,
        x: Array,
        edges: tuple[Array, Array],
        weights: tuple[Array, Array],
        design: Array,
        span: tuple[float, float],
    ) -> None:
        self.blank, self.x, self.edges, self.weights, self.design, self.span = blank, x, edges, weights, design, span
        self.bend = np.polynomial.legendre.legvander(2.0 * (x - span[0]) / (span[1] - span[0]) - 1.0, 3)
        self.third = 0.2 * np.diff(np.eye(design.shape[1]), 3, axis=0)
        self._last: tuple[Array, tuple[Turned, Turned]] | None = None

    def thinned(self, every: int) -> _Problem:
        """The same with every so manieth point."""
        edges, weights = ((pair[0][::every], pair[1][::every]) for pair in (self.edges, self.weights))
        return _Problem(self.blank, self.x[::every], edges, weights, self.design[::every], self.span)

    def _turned(self, p: Array) -> tuple[Turned, Turned]:
        """The blank's twist and that of the same turned by half a turn, as the lower edge shows it; slopes are asked for where residuals
        just were."""
        if self._last is None or self._last[0] is not p:
            turn = self.design @ p[8:]
            self._last = p, (turned(turn), turned(turn + np.pi))
        return self._last[1]

    def residuals(self, p: Array, scale: float) -> Array:
        """Misses of both edges, weighed and over ``scale``, and of what is held loosely."""
        radius, axis, (up, low) = (p[0] + p[1] * self.x) / 2.0, self.bend @ p[4:8], self._turned(p)
        above = axis + radius * support_of(self.blank, up.cosine, up.sine, p[2], p[3]) - self.edges[0]
        below = axis - radius * support_of(self.blank, low.cosine, low.sine, p[2], p[3]) - self.edges[1]
        prior = np.array([(p[2] - 0.04) / 0.06 if self.blank is not RHOMBUS else 0.0, *(self.third @ p[8:])])
        if self.blank is not RHOMBUS:  # a parameter without effect would leave the trust region a flat direction
            prior = np.append(prior, (p[3] - 1.0) / 3e-4)
        return np.concatenate([above * self.weights[0] / scale, below * self.weights[1] / scale, prior])

    def slopes(self, p: Array, scale: float) -> Array:
        """Slopes of ``residuals``, (residuals, parameters)."""
        count, own = len(self.x), 0 if self.blank is RHOMBUS else 1
        result = np.zeros((2 * count + 1 + len(self.third) + own, len(p)))
        radius = (p[0] + p[1] * self.x) / 2.0
        for k, (sign, at) in enumerate(zip((1.0, -1.0), self._turned(p), strict=True)):
            shape = sloped_support(self.blank, at, p[2], p[3])
            weight = self.weights[k] / scale
            rows, reach = result[k * count : (k + 1) * count], sign * weight * radius
            rows[:, 0] = sign * weight * shape.value / 2.0
            rows[:, 1] = rows[:, 0] * self.x
            rows[:, 2] = reach * shape.by_rounding
            rows[:, 3] = reach * shape.by_low_corner
            rows[:, 4:8] = self.bend * weight[:, None]
            rows[:, 8:] = self.design * (reach * shape.by_theta)[:, None]
        held = result[2 * count :]
        held[0, 2] = own / 0.06
        held[1 : 1 + len(self.third), 8:] = self.third
        if own:
            held[-1, 3] = 1.0 / 3e-4
        return result


def _on_crests(
    blank: Blank, p: Array, x: Array, edges: tuple[Array, Array], weights: tuple[Array, Array], turn: Array, span: tuple[float, float]
) -> tuple[Array, Array | None]:
    """Diameter, taper and axis once more from the points near crests alone, twist and rounding kept.

    Seen at a slant along the axis, valleys fill up and crests lean, but a crest stands as high as before: the whole outline
    would give away 1 % of a triangle's diameter. Robust linear least squares; returns all
    parameters and the covariance of diameter and taper, None with too few points near crests.
    """
    above = np.asarray(support(blank, turn, p[2], p[3]))
    below = np.asarray(support(blank, turn + np.pi, p[2], p[3]))
    scaled = 2.0 * (x - span[0]) / (span[1] - span[0]) - 1.0
    bend = np.polynomial.legendre.legvander(scaled, 3)
    design = np.concatenate(
        [
            np.column_stack([above / 2.0, above * x / 2.0, bend]),
            np.column_stack([-below / 2.0, -below * x / 2.0, bend]),
        ]
    )
    seen = np.concatenate([edges[0], edges[1]])
    trust = np.concatenate([weights[0] * (above > NEAR_CREST), weights[1] * (below > NEAR_CREST)])
    sides = [x[trust[: len(x)] > 0], x[trust[len(x) :] > 0]]
    if min(len(side) for side in sides) < LEAST_CREST_POINTS or min(np.ptp(side) for side in sides) < CREST_SPAN * np.ptp(x):
        return p, None
    solution = np.concatenate([p[:2], p[4:8]])
    root, spread = trust, 1.0
    for _ in range(6):
        miss = seen - design @ solution
        spread = max(1.4826 * float(np.median(np.abs(miss[trust > 0]))), 5e-4)
        root = trust * np.clip(1.0 - (miss / (4.7 * spread)) ** 2, 0.0, None)
        solution = np.linalg.lstsq(design * root[:, None], seen * root, rcond=None)[0]
    covariance = np.linalg.pinv((design * root[:, None] ** 2).T @ design, hermitian=True)[:2, :2] * spread**2
    return np.concatenate([solution[:2], p[2:4], solution[2:], p[8:]]), covariance


def _result(
    blank: Blank, p: Array, normal: Array, knots: Array, span: tuple[float, float], scale: float, count: int
) -> TwistFit:
    covariance = np.linalg.pinv(normal, hermitian=True)
    return TwistFit(
        blank=blank,
        d0_mm=float(p[0]),
        taper=float(p[1]),
        rounding=float(p[2]),
        low_corner=float(p[3]),
        axis_mm=p[4:8],
        twist=BSpline(knots, p[8:], 3),
        span_mm=span,
        misfit_mm=scale,
        covariance=covariance,
        crest_count=count,
    )


def _axis(coefficients: Array, x: Array, span: tuple[float, float]) -> Array:
    """Cubic axis on the span scaled to -1 ... 1."""
    scaled = 2.0 * (x - span[0]) / (span[1] - span[0]) - 1.0
    return np.asarray(np.polynomial.legendre.legval(scaled, coefficients))


def _knots(span: tuple[float, float], crest_count: int) -> Array:
    inner = int(np.clip(min((span[1] - span[0]) / KNOT_MM, crest_count / 2.0), 1, 14))
    middle = np.linspace(span[0], span[1], inner + 1)
    return np.concatenate([[span[0]] * 3, middle, [span[1]] * 3])


def _start_twist(at: Array, theta: Array, knots: Array, span: tuple[float, float]) -> Array:
    """Least-squares spline through the numbered crests, held by a weak straight-line pull where they are few."""
    slope, offset = np.polyfit(at, theta, 1)
    fill = np.linspace(span[0], span[1], 60)
    design = BSpline.design_matrix(np.clip(np.concatenate([at, fill]), *span), knots, 3).toarray()
    inside = np.concatenate([(at >= span[0]) & (at <= span[1]), np.full(60, 0.05)])
    wanted = np.concatenate([theta, np.interp(fill, at, theta)])
    beyond = np.concatenate([np.zeros(len(at)), ((fill < at[0]) | (fill > at[-1]))]).astype(bool)
    wanted[beyond] = slope * np.concatenate([at, fill])[beyond] + offset
    solution, *_ = np.linalg.lstsq(design * inside[:, None], wanted * inside, rcond=None)
    return np.asarray(solution)


def _start_shape(blank: Blank, crests: tuple[Crests, Crests]) -> Array:
    x = np.concatenate([crests[0].x_mm, crests[1].x_mm])
    high = np.concatenate([crests[0].height_mm, crests[1].height_mm])
    taper, d0 = np.polyfit(x, 2.0 * high, 1)
    return np.array([max(d0, 0.03), np.clip(taper, 0.0, 0.1), 0.04, 0.6 if blank is RHOMBUS else 1.0])


def _bounds(blank: Blank, size: int) -> tuple[Array, Array]:
    low, high = np.full(size, -np.inf), np.full(size, np.inf)
    low[:4] = [0.01, -0.02, 0.0, 0.4 if blank is RHOMBUS else 0.999]
    high[:4] = [3.0, 0.12, 0.45, 0.95 if blank is RHOMBUS else 1.001]
    return low, high
