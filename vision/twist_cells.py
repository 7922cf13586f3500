"""Stage 6h: edges of a twisted blank -> what every course of its twist would cost, cell by cell (leaf of ``twist_path``).

A cell is a short piece of the working part, a sixth of the section's own period long. In it the twist runs straight: every angle
at its middle and every rate is compared with both edges. Costs are in nats, robust against glints and dirt.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import percentile_filter

from vision.shapes import RHOMBUS, Blank, support_of
from vision.twist import TwistFit

Array = NDArray[np.floating[Any]]
STEPS_A_PERIOD, STEPS_A_CELL = 48, 8  # of theta in one symmetry of the section; in one cell at the usual rate
FINER = 4  # parts of a step to which a point's cost is looked up
WORST = 6.0  # cost of a point at most: glints and dirt
CORRELATED_PX = 4.0  # neighbouring points of an outline share their errors
LEAST_MISFIT_MM = 0.0015
RATE_CHANGE = 1.0  # steps a cell: how far the rate may move from cell to cell while angles are refined
ROUNDS = 5
CREST_PITCHES, LOCAL_MM = 1.3, 2.0  # windows: in which a crest must lie, and over which its height and the misfit are smoothed
CREST_PERCENT, MIDDLE_PERCENT = 88, 50
THINNEST, THICKEST = 0.93, 1.8  # of the cone: an outline of a very small tip reads up to half too thick


@dataclass(frozen=True)
class Points:
    """Edge points inside the fitted stretch: station, the two edges about the axis over the radius, weights, spread."""

    x_mm: Array
    edges: Array
    weights: Array
    spread: Array


@dataclass(frozen=True)
class Cells:
    """Middles and lengths (mm) of the cells from the handle toward the tip, and in which of them each point lies."""

    middle_mm: Array
    length_mm: Array
    which: NDArray[np.int_]


def period(blank: Blank) -> float:
    """Turn (rad) after which the outline repeats; a rhombus's crests alternate high and low."""
    return float(np.pi if blank == RHOMBUS else 2.0 * np.pi / blank.corners)


def points_of(fit: TwistFit, x_mm: Array, edges_mm: Array, trust: Array) -> Points:
    """Heights (2, N) about the axis as shares of the fitted radius; NaN weighs nothing."""
    radius = np.maximum(fit.radius_mm(x_mm), 0.01)
    relative = edges_mm / radius
    weights = np.where(np.isfinite(relative), trust, 0.0)
    return Points(x_mm, np.nan_to_num(relative), weights, max(fit.misfit_mm, LEAST_MISFIT_MM) / radius)


def cells_between(edges_mm: Array, x_mm: Array) -> Cells:
    """Cells with these borders, descending from the handle's end; points beyond count to the nearest."""
    which = np.clip(np.searchsorted(-edges_mm, -x_mm, side="left") - 1, 0, len(edges_mm) - 2)
    return Cells(0.5 * (edges_mm[1:] + edges_mm[:-1]), edges_mm[:-1] - edges_mm[1:], which)


def costs_of(fit: TwistFit, points: Points, cells: Cells, rates: NDArray[np.int_]) -> Array:
    """Cost (cells, rate, theta) of every cell at every rate (steps a cell) and angle, to a ``FINER`` part of a step.

    What a point costs at every angle is worked out once; a rate is where along that each point of a cell is looked up.
    """
    table = _costs_by_angle(fit, points)
    costs = np.zeros((len(cells.middle_mm), len(rates), STEPS_A_PERIOD), dtype=np.float32)
    first = np.flatnonzero(np.diff(cells.which, prepend=-1))  # of each cell; the points stand in their order
    along = (points.x_mm - cells.middle_mm[cells.which]) / cells.length_mm[cells.which]
    number = np.arange(len(along))
    for k, rate in enumerate(rates):
        off = np.rint(FINER * along * rate).astype(int) % (FINER * STEPS_A_PERIOD)
        costs[cells.which[first], k] += np.add.reduceat(table[number, off % FINER, off // FINER], first, axis=0)
    return costs


def _costs_by_angle(fit: TwistFit, points: Points) -> Array:
    """Cost of a point, both edges, at every angle: seen as (points, part of a step, steps turned, further steps)."""
    step = period(fit.blank) / STEPS_A_PERIOD
    angles = step * (np.arange(STEPS_A_PERIOD)[None, :] + np.arange(FINER)[:, None] / FINER).ravel()
    over = (1.0 / (np.sqrt(2.0) * points.spread)).astype(np.float32)
    wanted, trust = (points.edges * over).astype(np.float32), (points.weights / CORRELATED_PX).astype(np.float32)
    costs = np.zeros((len(points.x_mm), len(angles)), dtype=np.float32)
    for shape, edge, weights in zip(_shape(fit, angles).astype(np.float32), wanted, trust, strict=True):
        miss = over[:, None] * shape - edge[:, None]
        costs += np.minimum(miss * miss, np.float32(WORST)) * weights[:, None]
    parts = costs.reshape(-1, FINER, STEPS_A_PERIOD)
    return np.lib.stride_tricks.sliding_window_view(np.concatenate([parts, parts], axis=2), STEPS_A_PERIOD, axis=2)


def refined(fit: TwistFit, points: Points, cells: Cells, theta_rad: Array) -> tuple[Array, Array]:
    """Gauss-Newton on the cells' angles, linear between middles, their changes of rate held loosely; and the covariance."""
    count, step = len(cells.middle_mm), period(fit.blank) / STEPS_A_PERIOD
    place = _place(points.x_mm, cells.middle_mm)
    bend = np.diff(np.eye(count), 2, axis=0) / (RATE_CHANGE * step)
    prior = bend.T @ bend
    normal, theta = prior, theta_rad
    for _ in range(ROUNDS):
        turn = _turn(place, theta)
        miss = (points.edges - _shape(fit, turn)) / points.spread
        slope = (_shape(fit, turn + 0.02) - _shape(fit, turn - 0.02)) / 0.04 / points.spread
        root = points.weights / CORRELATED_PX / (1.0 + (miss / 2.5) ** 2)
        pull, pulled = _summed(place, (root * slope * miss).sum(axis=0), (root * slope**2).sum(axis=0), count)
        normal = pulled + prior
        theta = theta + np.clip(np.linalg.solve(normal + 1e-9 * np.eye(count), pull - prior @ theta), -2.0 * step, 2.0 * step)
    return theta, np.asarray(np.linalg.pinv(normal, hermitian=True))


def cost_of(fit: TwistFit, points: Points, cells: Cells, theta_rad: Array) -> float:
    """Cost of a whole course, in nats."""
    miss = (points.edges - _shape(fit, _turn(_place(points.x_mm, cells.middle_mm), theta_rad))) / points.spread
    return float((np.minimum(0.5 * miss * miss, WORST) * points.weights / CORRELATED_PX).sum())


def _place(x_mm: Array, middle_mm: Array) -> tuple[NDArray[np.int_], Array]:
    """Of every point the cell whose middle lies before it, and its share of the way to the next one's."""
    count = len(middle_mm)
    place = np.clip(np.interp(x_mm, middle_mm[::-1], np.arange(count)[::-1].astype(float)), 0.0, count - 1.0)
    low = np.minimum(place.astype(int), count - 2)
    return low, place - low


def _turn(place: tuple[NDArray[np.int_], Array], theta: Array) -> Array:
    """Angle at every point on straight lines from cell to cell."""
    low, share = place
    return np.asarray((1.0 - share) * theta[low] + share * theta[low + 1])


def _summed(place: tuple[NDArray[np.int_], Array], pulls: Array, weights: Array, count: int) -> tuple[Array, Array]:
    """What the points pull at the cells' angles (count,) and how firmly they hold them (count, count)."""
    low, share = place

    def at(values: Array, of: NDArray[np.int_]) -> Array:
        return np.asarray(np.bincount(of, values, minlength=count), dtype=float)

    pull = at(pulls * (1.0 - share), low) + at(pulls * share, low + 1)
    own = at(weights * (1.0 - share) ** 2, low) + at(weights * share**2, low + 1)
    beside = at(weights * share * (1.0 - share), low)[:-1]
    return pull, np.diag(own) + np.diag(beside, 1) + np.diag(beside, -1)


def _shape(fit: TwistFit, theta: Array) -> Array:
    """Both edges' heights over the radius, stacked first."""
    cosine, sine = np.cos(theta), np.sin(theta)
    upper = support_of(fit.blank, cosine, sine, fit.rounding, fit.low_corner)
    even = fit.blank.corners % 2 == 0  # half a turn shows the same
    return np.stack([upper, upper if even else support_of(fit.blank, -cosine, -sine, fit.rounding, fit.low_corner)])


def as_thick(points: Points, pitch_mm: float, px_per_mm: float) -> Points:
    """The same points about the crests' own height where the tip's half reads thicker or thinner than the cone.

    A small tip reads too thick, and a curve toward the camera is magnified; a twist that then stood still at a crest would fit best.
    """
    seen = np.where(points.weights > 0.0, points.edges, 0.0).sum(axis=0) / np.maximum((points.weights > 0.0).sum(axis=0), 1)
    told = (points.weights > 0.0).any(axis=0)
    if told.sum() < 50:
        return points
    width = np.interp(points.x_mm, points.x_mm[told], seen[told])
    crests = percentile_filter(width, CREST_PERCENT, size=_odd(CREST_PITCHES * pitch_mm * px_per_mm), mode="nearest")
    crests = percentile_filter(crests, MIDDLE_PERCENT, size=_odd(LOCAL_MM * px_per_mm), mode="nearest")
    half = points.x_mm > np.median(points.x_mm)
    thick = np.where(half, 1.0, np.clip(crests / np.median(crests[half]), THINNEST, THICKEST))
    return replace(points, edges=points.edges / thick)


def as_rough(fit: TwistFit, points: Points, x_mm: Array, theta_rad: Array, px_per_mm: float) -> Points:
    """The same points, their spread no less than their misses about a course of the twist are nearby."""
    miss = np.abs(points.edges - _shape(fit, np.interp(points.x_mm, x_mm, theta_rad)))
    told = (points.weights > 0.0).any(axis=0)
    if told.sum() < 50:
        return points
    usual = np.where(points.weights > 0.0, miss, 0.0).sum(axis=0) / np.maximum((points.weights > 0.0).sum(axis=0), 1)
    usual = np.interp(points.x_mm, points.x_mm[told], usual[told])
    nearby = 1.4826 * percentile_filter(usual, MIDDLE_PERCENT, size=_odd(LOCAL_MM * px_per_mm), mode="nearest")
    return replace(points, spread=np.maximum(points.spread, nearby))


def _odd(size: float) -> int:
    return max(round(size) | 1, 5)
