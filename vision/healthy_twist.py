"""Stage 6i: twist followed along a blank -> lost or gained turns against what a healthy blank may do by itself.

A healthy blank's pitch runs straight or drifts evenly, and its twist wanders about that: a Gaussian process of 3 to 15 deg rms,
correlated over 1 to 4 mm (assumed; no source). How much this one wanders is not known beforehand: its own outline weighs the
possibilities. Against that stands every place and length over which turns may have been lost; the likelihood ratio decides.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.twist_path import TwistPath

Array = NDArray[np.floating[Any]]
SCATTER_RAD = np.radians([3.0, 6.0, 9.0, 12.0, 15.0])
WANDER_MM = np.array([1.0, 2.0, 4.0])  # the correlation has fallen to 1/e
STATION_MM = 0.35
FLOOR_RAD = np.radians(2.0)  # of one station: what the fit's own covariance does not know (corner shapes, neighbouring glints)
COVARIANCE_TIMES = 2.0
START_MM = 0.4  # step of the places tried
WIDTHS_MM = (1.0, 1.4, 2.0, 2.8, 4.0, 5.6)
CLEAR_OF_END_MM = 2.0  # a loss that ends nearer to the working part's end has no healthy side left
NEAR_TIP_MM = 4.5  # a loss mostly begins nearer to the tip than this
SURELY_ODD = 3.0  # log ratio from which a damaged zone no longer counts as this blank's own wander
NEIGHBOURS = 6.0  # places and lengths that explain one loss about equally well
USUAL_LOSS_RAD = np.radians(120.0)  # spread of losses that are looked for
DRIFT_PER_MM = 0.02  # spread of a healthy pitch's relative change a mm: assumed, no source


@dataclass(frozen=True)
class Ramp:
    """The likeliest loss: where, how much (rad, positive lost), its u, and the log likelihood ratio against a healthy blank."""

    from_mm: float
    to_mm: float
    loss_rad: float
    u_rad: float
    log_ratio: float


@dataclass(frozen=True)
class HealthyTwist:
    """What a healthy course of this blank would be: theta (rad) at the path's stations, and the two rival explanations.

    ``lost``, ``gained``: likeliest loss and gain of turns. ``u_rad``: of a loss over ``over_mm`` near the tip that a
    healthy blank of this wander would leave, for the smallest visible loss; ``cost``: what its place and size take off the
    log ratio. ``scatter_rad``: its likeliest wander.
    """

    x_mm: Array
    theta_rad: Array
    lost: Ramp
    gained: Ramp
    u_rad: float
    over_mm: float
    cost: float
    scatter_rad: float


def against_healthy(path: TwistPath) -> HealthyTwist | None:
    """Weigh every loss and gain against a healthy wander; None when the path is too short to have a trend."""
    at = _stations(path)
    if len(at) < 10:
        return None
    x, y = path.x_mm[at], path.theta_rad[at]
    noise = COVARIANCE_TIMES * path.covariance[np.ix_(at, at)] + FLOOR_RAD**2 * np.eye(len(at))
    trend = _trend(x, y)
    windows = _windows(x)
    ramps = np.stack([ramp(x, a, a + w) for a, w in windows], axis=1)
    evidence: list[float] = []
    found: list[tuple[Array, Array]] = []
    for scatter in SCATTER_RAD:
        for wander in WANDER_MM:
            within = scatter**2 * np.exp(-(((x[:, None] - x[None, :]) / wander) ** 2)) + noise
            evidence_of, projected = _projected(within, trend, y)
            gain = ramps.T @ projected @ y
            weight = np.einsum("ij,ij->j", ramps, projected @ ramps)
            evidence.append(evidence_of)
            found.append((gain, np.maximum(weight, 1e-9)))
    return _weighed(path, x, y, trend, noise, windows, np.array(evidence), found)


def ramp(x_mm: Array, from_mm: float, to_mm: float) -> Array:
    """Share of a loss that shows at x: all of it on the tip's side of the zone, none on the handle's, smooth between."""
    share = np.clip((to_mm - x_mm) / (to_mm - from_mm), 0.0, 1.0)
    return np.asarray(share**2 * (3.0 - 2.0 * share))


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
    drift = float(np.clip(-2.0 * bend / max(rate, 1e-6), -0.03, 0.04))
    drift *= DRIFT_PER_MM**2 / (DRIFT_PER_MM**2 + 0.01**2)
    return np.column_stack([np.ones(len(x)), _law(t, drift), (_law(t, drift + 0.002) - _law(t, drift - 0.002)) / 0.004])


def _law(t: Array, drift: float) -> Array:
    return np.asarray(t if abs(drift) < 1e-6 else np.log(np.maximum(1.0 + drift * t, 0.05)) / drift)


def _windows(x: Array) -> list[tuple[float, float]]:
    return [
        (float(start), width)
        for width in WIDTHS_MM
        for start in np.arange(x[0] - 0.2 * width, x[-1] - CLEAR_OF_END_MM - width, START_MM)
    ]


def _projected(within: Array, trend: Array, y: Array) -> tuple[float, Array]:
    """Log evidence of y, and the inverse covariance with the trend projected out."""
    inverse = np.linalg.inv(within)
    normal = trend.T @ inverse @ trend
    projected = inverse - inverse @ trend @ np.linalg.solve(normal, trend.T @ inverse)
    log = -0.5 * float(y @ projected @ y) - 0.5 * np.linalg.slogdet(within)[1] - 0.5 * np.linalg.slogdet(normal)[1]
    return float(log), np.asarray(projected)


def _weighed(
    path: TwistPath, x: Array, y: Array, trend: Array, noise: Array, windows: list[tuple[float, float]], evidence: Array,
    found: list[tuple[Array, Array]],
) -> HealthyTwist:
    base = float(np.logaddexp.reduce(evidence))
    lost, gained = (_best(sign, windows, evidence, found, base) for sign in (1.0, -1.0))
    odd = lost if lost.log_ratio > gained.log_ratio else gained
    beside = evidence + _gain_of(odd, windows, found)  # what wander is likely once the odd zone is explained
    scatter = _likeliest(beside)
    told = beside if odd.log_ratio > SURELY_ODD else evidence
    share = np.exp(told - np.logaddexp.reduce(told))
    near = int(np.argmin([abs(a - x[0] - 0.8) + abs(w - 2.8) for a, w in windows]))
    u = float(np.sqrt(sum(p / weight[near] for p, (_, weight) in zip(share, found, strict=True))))
    cost = float(np.log(USUAL_LOSS_RAD / u) - np.log(NEIGHBOURS) - _place(windows)[near])
    course = _course(path, x, y, trend, noise, odd, scatter)
    return HealthyTwist(path.x_mm, course, lost, gained, u, windows[near][1], cost, scatter)


def _best(
    sign: float, windows: list[tuple[float, float]], evidence: Array, found: list[tuple[Array, Array]], base: float
) -> Ramp:
    """The ramp of one sign: all wanders, places and lengths weighed together, and what they differ by is part of u."""
    weight = np.stack([one for _, one in found])
    loss = np.stack([gain for gain, _ in found]) / weight
    score = evidence[:, None] + np.where(sign * loss > 0.0, 0.5 * loss**2 * weight, 0.0)
    size = -0.5 * np.log(weight * USUAL_LOSS_RAD**2)
    ratio = np.logaddexp.reduce(score + size, axis=0) - base + _place(windows)
    share = np.exp(score - np.logaddexp.reduce(score, axis=0))  # of every wander, at each place
    mean = (share * loss).sum(axis=0)
    spread = (share * (1.0 / weight + (loss - mean) ** 2)).sum(axis=0)
    likely = np.where(sign * mean > 0.0, ratio, -np.inf)
    likely = np.exp(likely - np.logaddexp.reduce(likely)) if np.isfinite(likely).any() else np.full(len(ratio), 1.0 / len(ratio))
    start, width = (likely @ np.array(part) for part in zip(*windows, strict=True))
    told = float(likely @ mean)
    u = float(np.sqrt(likely @ (spread + (mean - told) ** 2)))
    return Ramp(float(start), float(start + width), told, u, float(np.logaddexp.reduce(ratio)))


def _place(windows: list[tuple[float, float]]) -> Array:
    """Log chance of every place beforehand: unwinding sits in the last 3 to 5 mm."""
    start = np.array([a for a, _ in windows])
    chance = np.where(start < NEAR_TIP_MM, 1.0, 0.1)
    return np.asarray(np.log(chance / chance.sum()))


def _gain_of(odd: Ramp, windows: list[tuple[float, float]], found: list[tuple[Array, Array]]) -> Array:
    at = windows.index(min(windows, key=lambda one: abs(one[0] - odd.from_mm) + abs(one[0] + one[1] - odd.to_mm)))
    return np.array([0.5 * gain[at] ** 2 / weight[at] for gain, weight in found])


def _likeliest(evidence: Array) -> float:
    return float(SCATTER_RAD[int(np.argmax(evidence)) // len(WANDER_MM)])


def _course(path: TwistPath, x: Array, y: Array, trend: Array, noise: Array, odd: Ramp, scatter: float) -> Array:
    """The healthy trend through what lies outside the odd zone, carried on through it to the tip."""
    within = scatter**2 * np.exp(-(((x[:, None] - x[None, :]) / 2.0) ** 2)) + noise
    columns = np.column_stack([trend, ramp(x, odd.from_mm, odd.to_mm)]) if odd.log_ratio > 0.0 else trend
    inverse = np.linalg.inv(within)
    solution = np.linalg.solve(columns.T @ inverse @ columns + 1e-12 * np.eye(columns.shape[1]), columns.T @ inverse @ y)
    return np.asarray(np.interp(path.x_mm, x, trend @ solution[: trend.shape[1]]))
