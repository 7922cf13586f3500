"""Stage 6h: TwistFit, edges -> twist followed cell by cell from the handle to the tip, wherever it goes.

A spline through numbered crests takes a stretch that has lost half of its turns for a missed crest. Here nothing is numbered:
the likeliest course of theta(x) is found over all cells at once (Viterbi's algorithm), its rate free from -1.75 to 2.5 times
the usual, held only to change little from cell to cell; it is then refined by least squares, which also tells its u.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.shapes import RHOMBUS, Blank, support, support_of
from vision.twist import TwistFit

Array = NDArray[np.floating[Any]]
STEPS_A_PERIOD, STEPS_A_CELL = 48, 8  # of theta in one symmetry of the section; in one cell at the usual rate
RATES = np.arange(-14, 21)  # steps a cell
RATE_CHANGE, RATE_LEVEL = 1.0, 10.0  # steps a cell: how far the rate may move from cell to cell, and from the usual one
WORST = 6.0  # cost of a point at most: glints and dirt
CORRELATED_PX = 4.0  # neighbouring points of an outline share their errors
LEAST_MISFIT_MM = 0.0015
LEAST_CELLS = 12
ROUNDS = 5


@dataclass(frozen=True)
class TwistPath:
    """theta (rad, growing toward the handle) at ``x_mm`` (ascending) and the (N, N) covariance of its measurement alone.

    ``corners`` a turn, counted as the blank's pitch counts them. ``axis_mm`` is the axis that the heights were counted from, at
    the outline's own stations.
    """

    x_mm: Array
    theta_rad: Array
    covariance: Array
    corners: int
    axis_mm: Array

    @property
    def rate_rad_per_mm(self) -> Array:
        """Twist a mm."""
        return np.asarray(np.gradient(self.theta_rad, self.x_mm))


@dataclass(frozen=True)
class _Points:
    """Edge points inside the fitted stretch: station, the two edges about the axis over the radius, weights, spread."""

    x_mm: Array
    edges: Array
    weights: Array
    spread: Array


def follow_twist(
    fit: TwistFit, x_mm: Array, upper_mm: Array, lower_mm: Array, axis_mm: Array, trust: Array
) -> TwistPath | None:
    """Follow the twist of ``fit``'s blank along both edges (N,), NaN where unseen; ``trust`` (2, N) weighs them.

    ``axis_mm`` (N,): the axis, counted as the edges are. None where there are too few cells or the fit does not turn. The
    start of theta is arbitrary.
    """
    inside = (x_mm >= fit.span_mm[0]) & (x_mm <= fit.span_mm[1])
    usual = _usual_rate(fit)
    if usual <= 0.0 or inside.sum() < 50:
        return None
    heights = np.stack([upper_mm - axis_mm, axis_mm - lower_mm])
    points = _points(fit, x_mm[inside], heights[:, inside], trust[:, inside])
    step = _period(fit.blank) / STEPS_A_PERIOD
    cell_mm = STEPS_A_CELL * step / usual
    count = int((fit.span_mm[1] - fit.span_mm[0]) / cell_mm)
    if count < LEAST_CELLS:
        return None
    centres = fit.span_mm[1] - (np.arange(count) + 0.5) * cell_mm  # from the handle's end toward the tip
    costs = _costs(fit, points, centres, cell_mm, step)
    theta = _likeliest(costs, step)
    theta, covariance = _refined(fit, points, centres, theta, step)
    return TwistPath(centres[::-1], theta[::-1], covariance[::-1, ::-1], fit.blank.corners, axis_mm)


def _period(blank: Blank) -> float:
    return float(np.pi if blank == RHOMBUS else 2.0 * np.pi / blank.corners)


def _usual_rate(fit: TwistFit) -> float:
    """Median rate of the half nearer the handle, where unwinding does not sit."""
    x = np.linspace(0.5 * (fit.span_mm[0] + fit.span_mm[1]), fit.span_mm[1] - 0.3, 40)
    return float(np.median(fit.rate_rad_per_mm(x)))


def _points(fit: TwistFit, x: Array, edges: Array, trust: Array) -> _Points:
    radius = np.maximum(fit.radius_mm(x), 0.01)
    relative = edges / radius
    weights = np.where(np.isfinite(relative), trust, 0.0)
    return _Points(x, np.nan_to_num(relative), weights, max(fit.misfit_mm, LEAST_MISFIT_MM) / radius)


def _shape(fit: TwistFit, theta: Array) -> Array:
    """Both edges' heights over the radius, stacked first."""
    return np.stack([support(fit.blank, theta + turn, fit.rounding, fit.low_corner) for turn in (0.0, np.pi)])


def _costs(fit: TwistFit, points: _Points, centres: Array, cell_mm: float, step: float) -> Array:
    """Cost (cells, theta, rate) of every cell at every angle and rate, in nats."""
    grid = step * np.arange(STEPS_A_PERIOD)
    costs = np.zeros((len(centres), STEPS_A_PERIOD, len(RATES)), dtype=np.float32)
    which = np.clip(((centres[0] + 0.5 * cell_mm - points.x_mm) / cell_mm).astype(int), 0, len(centres) - 1)
    first = np.flatnonzero(np.diff(which, prepend=-1))  # of each cell; the points stand in their order
    over = (1.0 / (np.sqrt(2.0) * points.spread)).astype(np.float32)
    wanted, trust = (points.edges * over).astype(np.float32), (points.weights / CORRELATED_PX).astype(np.float32)
    for k, rate in enumerate(RATES):
        off = (points.x_mm - centres[which]) * rate * step / cell_mm
        for model, edge, weights in zip(_shapes_on(fit, off, grid), wanted, trust, strict=True):
            miss = model * over[:, None] - edge[:, None]
            costs[which[first], :, k] += np.add.reduceat(np.minimum(miss * miss, np.float32(WORST)) * weights[:, None], first, axis=0)
    return costs


def _shapes_on(fit: TwistFit, off: Array, grid: Array) -> tuple[Array, Array]:
    """Both edges' heights over the radius at every sum of ``off`` (N,) and ``grid`` (M,): cosines of sums, without one for each."""
    cos_off, sin_off, cos_grid, sin_grid = (turn(of).astype(np.float32) for of in (off, grid) for turn in (np.cos, np.sin))
    cosine = np.outer(cos_off, cos_grid) - np.outer(sin_off, sin_grid)
    sine = np.outer(sin_off, cos_grid) + np.outer(cos_off, sin_grid)
    upper = support_of(fit.blank, cosine, sine, fit.rounding, fit.low_corner)
    even = fit.blank.corners % 2 == 0  # half a turn shows the same
    return upper, upper if even else support_of(fit.blank, -cosine, -sine, fit.rounding, fit.low_corner)


def _likeliest(costs: Array, step: float) -> Array:
    """Viterbi: theta of every cell on the cheapest course; toward the tip a cell at rate m lies m steps lower."""
    jump = (0.5 * ((RATES[:, None] - RATES[None, :]) / RATE_CHANGE) ** 2).astype(costs.dtype)  # to, from
    level = (0.5 * ((RATES - STEPS_A_CELL) / RATE_LEVEL) ** 2).astype(costs.dtype)
    came = (np.arange(STEPS_A_PERIOD)[:, None] + RATES[None, :]) % STEPS_A_PERIOD  # theta of the cell before
    value = costs[0] + level * STEPS_A_CELL
    back = np.zeros(costs.shape, dtype=np.int8)
    for cell in range(1, len(costs)):
        through = value[:, None, :] + jump[None, :, :]  # theta before, rate now, rate before
        best = through.argmin(axis=2)
        least = np.take_along_axis(through, best[:, :, None], axis=2)[:, :, 0]
        columns = np.arange(len(RATES))[None, :]
        back[cell] = best[came, columns]
        value = costs[cell] + level + least[came, columns]
    at, rate = (int(k) for k in np.unravel_index(int(value.argmin()), value.shape))
    theta = np.full(len(costs), at * step)
    for cell in range(len(costs) - 1, 0, -1):
        theta[cell - 1] = theta[cell] + RATES[rate] * step
        before = int(back[cell, at, rate])
        at, rate = int(at + RATES[rate]) % STEPS_A_PERIOD, before
    return theta


def _refined(fit: TwistFit, points: _Points, centres: Array, theta: Array, step: float) -> tuple[Array, Array]:
    """Gauss-Newton on the cells' angles, linear between centres, with the same prior on changes of rate; and the covariance."""
    count = len(centres)
    place = np.clip(np.interp(points.x_mm, centres[::-1], np.arange(count)[::-1].astype(float)), 0.0, count - 1.0)
    low = np.minimum(place.astype(int), count - 2)
    share = place - low
    spread = np.zeros((len(place), count))
    spread[np.arange(len(place)), low], spread[np.arange(len(place)), low + 1] = 1.0 - share, share
    bend = np.diff(np.eye(count), 2, axis=0) / (RATE_CHANGE * step)
    prior = bend.T @ bend
    normal = prior
    for _ in range(ROUNDS):
        turn = spread @ theta
        miss = (points.edges - _shape(fit, turn)) / points.spread
        slope = (_shape(fit, turn + 0.02) - _shape(fit, turn - 0.02)) / 0.04 / points.spread
        root = points.weights / CORRELATED_PX / (1.0 + (miss / 2.5) ** 2)
        pull = spread.T @ (root * slope * miss).sum(axis=0) - prior @ theta
        normal = spread.T @ (spread * (root * slope**2).sum(axis=0)[:, None]) + prior
        theta = theta + np.clip(np.linalg.solve(normal + 1e-9 * np.eye(count), pull), -2.0 * step, 2.0 * step)
    return theta, np.asarray(np.linalg.pinv(normal, hermitian=True))
