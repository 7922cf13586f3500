"""Stage 6h: TwistFit, edges -> twist followed cell by cell from the handle to the tip, wherever it goes.

A spline through numbered crests takes a stretch that has lost half of its turns for a missed crest. Here nothing is numbered:
the likeliest course of theta(x) is found over all cells at once. Twice: first with the rate free, which tells what is usual for
this blank from its half nearer the handle; then in phases (``twist_phases``), in cells of equal usual turn. It is refined by
least squares, which also tells its u.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.twist import TwistFit
from vision.twist_cells import (
    CORRELATED_PX,
    STEPS_A_CELL,
    STEPS_A_PERIOD,
    Cells,
    Points,
    as_rough,
    as_thick,
    cells_between,
    cost_of,
    costs_of,
    period,
    points_of,
    refined,
)
from vision.twist_drift import drawn_in, run_of
from vision.twist_phases import FREE_RATES, RATES, likeliest_free, likeliest_in_phases

Array = NDArray[np.floating[Any]]
LEAST_CELLS = 12
HANDLE_SHARE = 0.6  # of the followed stretch, nearer the handle: where unwinding does not sit
DRIFTS, DRIFT_U = (-0.03, 0.06), 0.008  # of the pitch, relative a mm: our own bounds; and how well it is read
FINE_MM = 0.005


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
class _Followed:
    """The first course, its rate free: from the handle toward the tip, on even cells; the points that it was followed along."""

    points: Points
    cells: Cells
    theta_rad: Array
    covariance: Array


def freely_followed(
    fit: TwistFit, x_mm: Array, upper_mm: Array, lower_mm: Array, axis_mm: Array, trust: Array
) -> TwistPath | None:
    """Follow the twist with its rate free, once; arguments as in ``courses``. None where it cannot be followed."""
    first = _free(fit, x_mm, np.stack([upper_mm - axis_mm, axis_mm - lower_mm]), trust)
    return None if first is None else _path(fit, first.cells, first.theta_rad, first.covariance, axis_mm)


def courses(
    fit: TwistFit, x_mm: Array, upper_mm: Array, lower_mm: Array, axis_mm: Array, trust: Array
) -> tuple[tuple[TwistPath, float], ...]:
    """Follow the twist of ``fit``'s blank along both edges (N,), NaN where unseen; ``trust`` (2, N) weighs them.

    ``axis_mm`` (N,): the axis, counted as the edges are. Two courses, the first never turning back, each with its cost (nats);
    none where there are too few cells or the fit does not turn. The start of theta is arbitrary.
    """
    first = _free(fit, x_mm, np.stack([upper_mm - axis_mm, axis_mm - lower_mm]), trust)
    if first is None:
        return ()
    at, theta = first.cells.middle_mm[::-1], first.theta_rad[::-1]
    px_per_mm = float(1.0 / np.median(np.diff(first.points.x_mm)))
    points = as_thick(first.points, period(fit.blank) / usual_rate(fit), px_per_mm)
    points = as_rough(fit, points, at, theta, px_per_mm)
    # A likelihood's other half, the same for all courses about one axis: an axis that fits badly must not gain by the spread it is given.
    rough = float((points.weights * np.log(points.spread / first.points.spread)).sum() / CORRELATED_PX)
    return tuple((path, cost + rough) for path, cost in _again(fit, points, usual_course(at, theta), axis_mm))


def _free(fit: TwistFit, x_mm: Array, heights_mm: Array, trust: Array) -> _Followed | None:
    inside = (x_mm >= fit.span_mm[0]) & (x_mm <= fit.span_mm[1])
    usual = usual_rate(fit)
    if usual <= 0.0 or inside.sum() < 50:
        return None
    points = points_of(fit, x_mm[inside], heights_mm[:, inside], trust[:, inside])
    step = period(fit.blank) / STEPS_A_PERIOD
    cells = _even_cells(fit.span_mm, STEPS_A_CELL * step / usual, points.x_mm)
    if cells is None:
        return None
    return _Followed(points, cells, *refined(fit, points, cells, step * likeliest_free(costs_of(fit, points, cells, FREE_RATES))))


def _again(
    fit: TwistFit, points: Points, usual: tuple[float, float, float], axis_mm: Array
) -> tuple[tuple[TwistPath, float], ...]:
    """Follow once more, in phases, beside what is usual for the blank as first followed."""
    step = period(fit.blank) / STEPS_A_PERIOD
    cells = _turned_cells(points.x_mm, usual, STEPS_A_CELL * step)
    if cells is None:
        return ()
    costs, found = costs_of(fit, points, cells, RATES), []
    for course in likeliest_in_phases(costs):
        theta, covariance = refined(fit, points, cells, step * course)
        found.append((_path(fit, cells, theta, covariance, axis_mm), cost_of(fit, points, cells, theta)))
    return tuple(found)


def _path(fit: TwistFit, cells: Cells, theta_rad: Array, covariance: Array, axis_mm: Array) -> TwistPath:
    return TwistPath(cells.middle_mm[::-1], theta_rad[::-1], covariance[::-1, ::-1], fit.blank.corners, axis_mm)


def usual_course(x_mm: Array, theta_rad: Array) -> tuple[float, float, float]:
    """Middle (mm), rate there (rad/mm) and drift (relative, a mm) of a course whose pitch changes evenly, told by the handle's side.

    The drift is drawn toward none as far as it is ill read.
    """
    middle = 0.5 * (x_mm[0] + x_mm[-1])
    near = x_mm > x_mm[-1] - HANDLE_SHARE * np.ptp(x_mm)
    t, turn = x_mm[near] - middle, theta_rad[near]
    weight = np.ones(len(t))
    for _ in range(6):
        bend, rate, start = np.polyfit(t, turn, 2, w=weight)
        miss = np.abs(turn - np.polyval((bend, rate, start), t))
        weight = 1.0 / np.sqrt(1.0 + (miss / (2.0 * np.median(miss) + 1e-3)) ** 2)
    drift = drawn_in(float(np.clip(-2.0 * bend / max(rate, 1e-6), *DRIFTS)), DRIFT_U)
    return float(middle), float(rate), drift


def _course(x_mm: Array, usual: tuple[float, float, float]) -> Array:
    middle, rate, drift = usual
    return np.asarray(rate * run_of(x_mm - middle, drift))


def usual_rate(fit: TwistFit) -> float:
    """Median rate of the half nearer the handle, where unwinding does not sit."""
    x = np.linspace(0.5 * (fit.span_mm[0] + fit.span_mm[1]), fit.span_mm[1] - 0.3, 40)
    return float(np.median(fit.rate_rad_per_mm(x)))


def _even_cells(span_mm: tuple[float, float], cell_mm: float, x_mm: Array) -> Cells | None:
    """Cells of one length from the handle's end; None where there are too few."""
    count = int((span_mm[1] - span_mm[0]) / cell_mm)
    return None if count < LEAST_CELLS else cells_between(span_mm[1] - cell_mm * np.arange(count + 1), x_mm)


def _turned_cells(x_mm: Array, usual: tuple[float, float, float], turn_rad: float) -> Cells | None:
    """Cells of equal usual turn from the handle's end; None where there are too few."""
    fine = np.arange(x_mm[0], x_mm[-1], FINE_MM)
    course = _course(fine, usual)
    count = int((course[-1] - course[0]) / turn_rad)
    if count < LEAST_CELLS or usual[1] <= 0.0:
        return None
    return cells_between(np.interp(course[-1] - turn_rad * np.arange(count + 1), course, fine), x_mm)
