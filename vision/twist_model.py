"""Stage 6i: twist followed along a blank -> how likely every healthy wander is, and every place and length of a loss.

A healthy blank's pitch runs straight or drifts evenly, and its twist wanders about that: a Gaussian process of 3 to 15 deg rms,
correlated over 1 to 4 mm (assumed; no source). How much this one wanders is not known beforehand: its own outline weighs the
possibilities. Against that stands every place and length over which turns may have been lost.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.twist_drift import drawn_in, run_of
from vision.twist_path import TwistPath

Array = NDArray[np.floating[Any]]
SCATTER_RAD = np.radians([3.0, 6.0, 9.0, 12.0, 15.0])
WANDER_MM = np.array([1.0, 2.0, 4.0])  # the correlation has fallen to 1/e
STATION_MM = 0.2
LEAST_STATIONS = 10
FLOOR_RAD = np.radians(2.0)  # of one station: what the fit's own covariance does not know (corner shapes, neighbouring glints)
COVARIANCE_TIMES = 2.0
START_MM, FARTHER_MM = 0.2, 0.5  # steps of the places tried, near the tip and beyond NEAR_TIP_MM
WIDTHS_MM = (0.8, 1.0, 1.2, 1.5, 1.8, 2.2, 2.6, 3.1, 3.7, 4.4, 5.2, 6.2)
CLEAR_OF_END_MM = 2.0  # a loss that ends nearer to the working part's end has no healthy side left
NEAR_TIP_MM = 4.5  # a loss mostly begins nearer to the tip than this
USUAL_LOSS_RAD = np.radians(120.0)  # spread of losses that are looked for
DRIFTS, DRIFT_U = (-0.03, 0.04), 0.01  # of the pitch, relative a mm: our own bounds; and how well it is read


@dataclass(frozen=True)
class TwistModel:
    """All rival explanations of one course: K wanders, and W windows (from, length) over which turns may be lost.

    ``x_mm`` and ``theta_rad`` (N,), ``noise`` (N, N) of the measurement, ``trend`` (N, 3) what a healthy course may do in any amount,
    ``windows`` (W, 2), ``ramps`` (N, W), ``place`` (W,) log chance of each beforehand; ``inverse`` (K, N, N): inverse covariances with
    the trend projected out, ``level`` (K,) the constants of their log evidence, ``weight`` (K, W): 1/u² of a loss in each window.
    """

    x_mm: Array
    theta_rad: Array
    noise: Array
    trend: Array
    windows: Array
    ramps: Array
    place: Array
    inverse: Array
    level: Array
    weight: Array

    def evidence(self, theta_rad: Array) -> Array:
        """Log evidence (K,) of a course without a loss."""
        return np.asarray(self.level - 0.5 * np.einsum("i,kij,j->k", theta_rad, self.inverse, theta_rad, optimize=True))

    def gains(self, theta_rad: Array) -> Array:
        """Loss times its weight (K, W), in every window."""
        return np.asarray((self.inverse @ theta_rad) @ self.ramps)

    def log_ratios(self, evidence: Array, gains: Array, sign: float) -> Array:
        """Log ratio (W,) of a loss (``sign`` 1) or gain (-1) in every window against a healthy course, all wanders weighed."""
        score = evidence[:, None] + np.where(sign * gains > 0.0, 0.5 * gains**2 / self.weight, 0.0)
        size = -0.5 * np.log(self.weight * USUAL_LOSS_RAD**2)
        return np.asarray(log_sum(score + size) - log_sum(evidence[:, None]) + self.place)


def model_of(path: TwistPath) -> TwistModel | None:
    """Lay out the rivals; None when the path is too short to have a trend."""
    at = _stations(path)
    if len(at) < LEAST_STATIONS:
        return None
    x, theta = path.x_mm[at], path.theta_rad[at]
    noise = COVARIANCE_TIMES * path.covariance[np.ix_(at, at)] + FLOOR_RAD**2 * np.eye(len(at))
    trend, windows = _trend(x, theta), _windows(x)
    if not len(windows):
        return None
    ramps = ramp(x[:, None], windows[:, 0], windows.sum(axis=1))
    alike = np.stack([like(x, wander) for wander in WANDER_MM])
    inverse, level = _projected((SCATTER_RAD[:, None, None, None] ** 2 * alike).reshape(-1, len(x), len(x)) + noise, trend)
    weight = np.maximum(np.einsum("iw,kiw->kw", ramps, inverse @ ramps), 1e-9)
    return TwistModel(x, theta, noise, trend, windows, ramps, _place(windows), inverse, level, weight)


def ramp(x_mm: Array, from_mm: float | Array, to_mm: float | Array) -> Array:
    """Share of a loss that shows at x: all of it on the tip's side of the zone, none on the handle's, smooth between."""
    share = np.clip((to_mm - x_mm) / (to_mm - from_mm), 0.0, 1.0)
    return np.asarray(share**2 * (3.0 - 2.0 * share))


def like(x_mm: Array, wander_mm: float) -> Array:
    """Correlation (N, N) of a wander."""
    return np.asarray(np.exp(-(((x_mm[:, None] - x_mm[None, :]) / wander_mm) ** 2)))


def log_sum(logs: Array) -> Array:
    """log of the sum of exp over the first axis."""
    top = logs.max(axis=0)
    return np.asarray(top + np.log(np.exp(logs - top).sum(axis=0)))


def _stations(path: TwistPath) -> NDArray[np.int_]:
    """Cells about STATION_MM apart whose angle is told at all."""
    told = np.flatnonzero(np.sqrt(np.diag(path.covariance)) < np.radians(15.0))
    if len(told) < 2:
        return told
    every = max(round(STATION_MM / float(np.median(np.diff(path.x_mm)))), 1)
    return np.asarray(told[::every])


def _trend(x: Array, y: Array) -> Array:
    """Columns that a healthy course may take in any amount: a start, a rate, and a drift of the pitch, straightened at its own size.

    theta = rate / drift * log(1 + drift (x - middle)): pitch changes evenly. The drift is read off the half nearer the handle.
    """
    middle = 0.5 * (x[0] + x[-1])
    t = x - middle
    upper = t > -0.15 * np.ptp(x)
    bend, rate, _ = np.polyfit(t[upper], y[upper], 2)
    drift = drawn_in(float(np.clip(-2.0 * bend / max(rate, 1e-6), *DRIFTS)), DRIFT_U)
    return np.column_stack([np.ones(len(x)), run_of(t, drift), (run_of(t, drift + 0.002) - run_of(t, drift - 0.002)) / 0.004])


def _windows(x: Array) -> Array:
    last = x[-1] - CLEAR_OF_END_MM
    starts = np.concatenate([np.arange(x[0] - 1.2, NEAR_TIP_MM, START_MM), np.arange(max(x[0], NEAR_TIP_MM), x[-1], FARTHER_MM)])
    return np.array([(start, over) for over in WIDTHS_MM for start in starts if x[0] - 0.2 * over <= start < last - over])


def _projected(within: Array, trend: Array) -> tuple[Array, Array]:
    """Inverse covariances (K, N, N) with the trend projected out, and the constants (K,) of the log evidence."""
    inverse = np.linalg.inv(within)
    across = inverse @ trend
    normal = trend.T @ across
    projected = inverse - across @ np.linalg.solve(normal, across.swapaxes(1, 2))
    return projected, -0.5 * np.linalg.slogdet(within)[1] - 0.5 * np.linalg.slogdet(normal)[1]


def _place(windows: Array) -> Array:
    """Log chance of every place beforehand: unwinding sits in the last 3 to 5 mm."""
    chance = np.where(windows[:, 0] < NEAR_TIP_MM, 1.0, 0.1)
    return np.asarray(np.log(chance / chance.sum()))
