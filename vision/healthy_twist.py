"""Stage 6i: twist followed along a blank -> lost or gained turns against what a healthy blank may do by itself.

``vision.twist_model`` says how likely each healthy wander is, and each place and length over which turns may have been lost; the
likelihood ratio decides. The same ratio, with a loss added to this very course, tells which loss would have been told.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.twist_model import SCATTER_RAD, WANDER_MM, TwistModel, like, log_sum, model_of, ramp
from vision.twist_path import TwistPath

Array = NDArray[np.floating[Any]]
LIKELY_ODD = 0.0  # log ratio from which a damaged zone no longer counts as this blank's own wander


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

    ``lost``, ``gained``: likeliest loss and gain of turns. ``scatter_rad``: its likeliest wander. ``log_evidence``: of the whole
    course, healthy or with one loss or gain. ``model``, and ``without_odd``: the course at the model's stations with the odd zone,
    where there surely is one, taken out: for the smallest loss that would be told.
    """

    x_mm: Array
    theta_rad: Array
    lost: Ramp
    gained: Ramp
    scatter_rad: float
    log_evidence: float
    model: TwistModel
    without_odd: Array


def against_healthy(path: TwistPath) -> HealthyTwist | None:
    """Weigh every loss and gain against a healthy wander; None when the path is too short to have a trend."""
    model = model_of(path)
    if model is None:
        return None
    evidence, gains = model.evidence(model.theta_rad), model.gains(model.theta_rad)
    lost, gained = (_best(sign, model, evidence, gains) for sign in (1.0, -1.0))
    odd = lost if lost.log_ratio > gained.log_ratio else gained
    beside = evidence + _explained(odd, model, gains)  # what wander is likely once the odd zone is explained
    scatter = float(SCATTER_RAD[int(np.argmax(beside)) // len(WANDER_MM)])
    whole = float(log_sum(evidence) + np.logaddexp.reduce([0.0, lost.log_ratio, gained.log_ratio]))
    gone = odd.loss_rad if odd.log_ratio > LIKELY_ODD else 0.0
    without = model.theta_rad - gone * ramp(model.x_mm, odd.from_mm, odd.to_mm)
    return HealthyTwist(path.x_mm, _course(path, model, odd, scatter), lost, gained, scatter, whole, model, without)


def _best(sign: float, model: TwistModel, evidence: Array, gains: Array) -> Ramp:
    """The ramp of one sign: all wanders, places and lengths weighed together, and what they differ by is part of u."""
    loss = gains / model.weight
    score = evidence[:, None] + np.where(sign * loss > 0.0, 0.5 * gains * loss, 0.0)
    ratio = model.log_ratios(evidence, gains, sign)
    share = np.exp(score - log_sum(score))  # of every wander, at each place
    mean = (share * loss).sum(axis=0)
    spread = (share * (1.0 / model.weight + (loss - mean) ** 2)).sum(axis=0)
    likely = np.where(sign * mean > 0.0, ratio, -np.inf)
    likely = np.exp(likely - np.logaddexp.reduce(likely)) if np.isfinite(likely).any() else np.full(len(ratio), 1.0 / len(ratio))
    start, width = (float(part) for part in likely @ model.windows)
    told = float(likely @ mean)
    u = float(np.sqrt(likely @ (spread + (mean - told) ** 2)))
    return Ramp(start, start + width, told, u, float(np.logaddexp.reduce(ratio)))


def _explained(odd: Ramp, model: TwistModel, gains: Array) -> Array:
    at = int(np.argmin(np.abs(model.windows[:, 0] - odd.from_mm) + np.abs(model.windows.sum(axis=1) - odd.to_mm)))
    return np.asarray(0.5 * gains[:, at] ** 2 / model.weight[:, at])


def _course(path: TwistPath, model: TwistModel, odd: Ramp, scatter: float) -> Array:
    """The healthy trend through what lies outside the odd zone, carried on through it to the tip."""
    within = scatter**2 * like(model.x_mm, 2.0) + model.noise
    columns = np.column_stack([model.trend, ramp(model.x_mm, odd.from_mm, odd.to_mm)]) if odd.log_ratio > 0.0 else model.trend
    inverse = np.linalg.inv(within)
    normal = columns.T @ inverse @ columns + 1e-12 * np.eye(columns.shape[1])
    solution = np.linalg.solve(normal, columns.T @ inverse @ model.theta_rad)
    return carried_on(path.x_mm, model.x_mm, model.trend @ solution[: model.trend.shape[1]])


def carried_on(x_mm: Array, known_mm: Array, theta_rad: Array) -> Array:
    """The turn at ``x_mm``, carried on at its last rate beyond what is known: where it stood still its pitch would double at the end."""
    inside = np.interp(x_mm, known_mm, theta_rad)
    if len(known_mm) < 2:
        return np.asarray(inside)
    rate = np.diff(theta_rad) / np.diff(known_mm)
    before, beyond = np.minimum(x_mm - known_mm[0], 0.0), np.maximum(x_mm - known_mm[-1], 0.0)
    return np.asarray(inside + rate[0] * before + rate[-1] * beyond)
