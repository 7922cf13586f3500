"""Stage 6i: twist against its own healthy trend. Where has the blank lost turns, gained turns, or turned back?

Unwinding sits in the last millimetres, so a trend fitted through it would swallow it. The trend is started at the handle
end and extended toward the tip only as long as the twist agrees with it; the rest is judged against the extrapolation.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.lead import Trend, fit_trend, sampled
from vision.quantity import Quantity
from vision.shapes import RHOMBUS
from vision.twist import TwistFit

Array = NDArray[np.floating[Any]]
HEALTHY_SCATTER_RAD = np.radians(12.0)  # wander of a new instrument's twist about a smooth trend: assumed 3 to 15 deg, no source
START_SHARE, START_MM = 0.45, 5.0
GROW_MM = 0.5
AGREES = 2.5  # standard uncertainties
LEAST_MM = 4.0
LEAST_CRESTS = 6  # an edge outside the zone; fewer (large reamers) leave no trend to compare with
ALERT_FALSE = 2.33  # one-sided 1 % false alarms
FOUND_95 = 1.645


@dataclass(frozen=True)
class TwistLoss:
    """Twist missing against the trend (positive: unwound; negative: overwound), where, and how sure.

    ``smallest_deg`` is the loss that this photo would have shown 95 times in 100. ``pitch_mm`` and ``trend_pitch_mm`` are
    rows of x and the local pitch, measured and healthy.
    """

    zone_mm: tuple[float, float] | None
    loss_deg: Quantity
    reversed_mm: float
    smallest_deg: float
    pitch_mm: Array
    trend_pitch_mm: Array

    @property
    def is_odd(self) -> bool:
        """Whether the loss passes the alert: more than one in a hundred healthy instruments would not."""
        return abs(self.loss_deg.value) > ALERT_FALSE * self.loss_deg.u


def twist_loss(fit: TwistFit) -> TwistLoss | None:
    """Compare the fitted twist with its own trend; None when too short, or with too few crests, to have one."""
    x, theta = sampled(fit)
    crests = fit.crest_count * (2 if fit.blank is RHOMBUS else 1)  # of a rhombus only the high ones are counted
    if len(x) == 0 or x[-1] - x[0] < LEAST_MM or crests < 2 * LEAST_CRESTS + 4:
        return None
    trend, edge = _grown_trend(x, theta, fit.blank.corners)
    if trend is None:
        return None
    missing = theta - trend.theta(x)  # the twist grows toward the handle: a lost turn leaves the tip side too high
    u = np.hypot(trend.u_theta(x), max(trend.scatter_rad, HEALTHY_SCATTER_RAD))
    end = slice(0, 4)
    loss, u_loss = float(np.degrees(missing[end].mean())), float(np.degrees(u[end].mean()))
    rate = np.gradient(theta, x)
    usual = np.gradient(trend.theta(x), x)
    back = _turned_back_mm(rate, usual, float(x[1] - x[0]))
    return TwistLoss(
        _zone(x, missing, edge),
        Quantity(loss, u_loss),
        back,
        (ALERT_FALSE + FOUND_95) * u_loss,
        np.column_stack([x, _pitch(rate, fit.blank.corners)]),
        np.column_stack([x, _pitch(usual, fit.blank.corners)]),
    )


def _turned_back_mm(rate: Array, usual: Array, step_mm: float) -> float:
    """Length over which the blank turns the other way; 0 where all of that turn is no more than a healthy wander."""
    turned = -float(np.minimum(rate, 0.0).sum()) * step_mm
    if turned < HEALTHY_SCATTER_RAD:
        return 0.0
    return float((rate < -0.05 * np.median(np.abs(usual))).sum()) * step_mm


def _grown_trend(x: Array, theta: Array, corners: int) -> tuple[Trend | None, float]:
    """Trend from the handle end, extended toward the tip while the next half millimetre agrees; and where it stopped."""
    span = x[-1] - x[0]
    edge = float(x[-1] - max(START_SHARE * span, min(START_MM, span)))
    trend = None
    while True:
        healthy = x >= edge
        grown = fit_trend(x[healthy], theta[healthy], corners, least_scatter=0.5 * HEALTHY_SCATTER_RAD)
        if grown is None:
            return trend, edge
        trend = grown
        if edge <= x[0]:
            return trend, float(x[0])
        ahead = (x < edge) & (x >= edge - GROW_MM)
        miss = np.abs(theta[ahead] - trend.theta(x[ahead]))
        limit = AGREES * np.hypot(trend.u_theta(x[ahead]), max(trend.scatter_rad, HEALTHY_SCATTER_RAD))
        if len(miss) and np.median(miss / limit) > 1.0:
            return trend, edge
        edge -= GROW_MM


def _zone(x: Array, missing: Array, edge: float) -> tuple[float, float] | None:
    """Where the change happened: from 90 % of it (tip side) to 10 % (handle side)."""
    peak = float(missing[:4].mean())
    part = x <= edge + 1.0
    share = missing[part] / peak if abs(peak) > 1e-6 else np.zeros(int(part.sum()))
    over = np.flatnonzero(share > 0.1)
    if len(over) == 0:
        return None
    below = np.flatnonzero(share[: over[-1] + 1] < 0.9)
    start = x[below[0]] if len(below) else x[0]
    return float(start), float(max(x[over[-1]], start))


def _pitch(rate: Array, corners: int) -> Array:
    safe = np.where(np.abs(rate) > 1e-3, rate, np.nan)
    return np.asarray(2.0 * np.pi / corners / safe)
