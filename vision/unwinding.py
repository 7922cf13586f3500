"""Stage 8a: twist against its own healthy trend. Where has the blank lost turns, gained turns, or turned back?

Unwinding sits in the last millimetres, so a trend fitted through it would swallow it: the trend is fitted from the
handle end and carried into the tip zone with its uncertainty.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.quantity import Quantity
from vision.twist import TwistFit

Array = NDArray[np.floating[Any]]
STEP_MM = 0.1
HEALTHY_SCATTER_DEG = 10.0  # usual wander of a new instrument's twist about a smooth trend: assumed, no source
LEAST_CRESTS = 6  # fewer an edge outside the zone: family-level limits only
MOST_ZONE = 0.55  # of the span may be damaged and still leave a trend


@dataclass(frozen=True)
class TwistLoss:
    """Twist missing against the trend (positive: unwound; negative: overwound), where it was lost, and how sure.

    ``trend_pitch_mm`` (N, 2) rows of x and the healthy local pitch, ``pitch_mm`` the measured one at the same x.
    """

    zone_mm: tuple[float, float] | None
    loss_deg: Quantity
    reversed_zone: bool
    smallest_deg: float
    pitch_mm: Array
    trend_pitch_mm: Array


def twist_loss(fit: TwistFit) -> TwistLoss | None:
    """Compare the fitted twist with its own trend; None when too short to have one."""
    low, high = fit.span_mm
    if high - low < 4.0:
        return None
    x = np.arange(low, high, STEP_MM)
    rate = fit.rate_rad_per_mm(x)
    healthy = _healthy(x, rate)
    trend = np.polyval(np.polyfit(x[healthy], rate[healthy], 1 if healthy.sum() * STEP_MM < 7.0 else 2), x)
    lost = np.degrees(np.cumsum((trend - rate)[::-1])[::-1] * STEP_MM)  # cumulative from the healthy end
    scatter = _scatter(lost, healthy)
    zone, loss = _zone(x, lost, rate, trend)
    reach = 1.0 + float(high - (zone[1] if zone else low + 3.0)) / (high - low)
    u = float(np.hypot(scatter, 0.02 * abs(loss)) * reach)
    corners = fit.blank.corners
    turned_back = bool((rate < -0.05 * np.median(np.abs(trend))).sum() * STEP_MM > 0.4)
    return TwistLoss(
        zone,
        Quantity(loss, u),
        turned_back,
        3.3 * u,
        np.column_stack([x, _pitch(rate, corners)]),
        np.column_stack([x, _pitch(trend, corners)]),
    )


def _healthy(x: Array, rate: Array) -> NDArray[np.bool_]:
    """The stations that agree with a line fitted robustly from the handle end."""
    start = x > x[-1] - max(0.45 * (x[-1] - x[0]), 3.0)
    kept = start.copy()
    for _ in range(6):
        line = np.polyval(np.polyfit(x[kept], rate[kept], 1), x)
        miss = np.abs(rate - line) / np.maximum(np.abs(line), 1e-6)
        limit = max(0.12, 3.0 * 1.4826 * float(np.median(miss[kept])))
        good = miss < limit
        # Healthy stations form one stretch that reaches the handle end; a wander back into tolerance does not rejoin it.
        first_bad = np.flatnonzero(~good & (x < x[start][0]))
        edge = x[first_bad[-1]] if len(first_bad) else x[0] - 1.0
        kept = (x > edge) & good
        if kept.sum() < 10:
            return np.asarray(start)
    return np.asarray(kept)


def _scatter(lost: Array, healthy: NDArray[np.bool_]) -> float:
    return max(float(np.std(lost[healthy])), HEALTHY_SCATTER_DEG / 2.0)


def _zone(x: Array, lost: Array, rate: Array, trend: Array) -> tuple[tuple[float, float] | None, float]:
    """Place of the greatest lasting change of twist: from 10 % to 90 % of it."""
    total = float(lost[0] - lost[-1])
    extreme = int(np.argmax(np.abs(lost)))
    peak = float(lost[extreme])
    if abs(peak) < 1e-6:
        return None, 0.0
    share = lost / peak
    inside = np.flatnonzero((share > 0.1) & (share < 0.9) & (np.sign(trend - rate) == np.sign(peak)))
    if len(inside) == 0:
        return None, total
    return (float(x[inside[0]]), float(x[inside[-1]])), peak


def _pitch(rate: Array, corners: int) -> Array:
    safe = np.where(np.abs(rate) > 1e-3, rate, np.nan)
    return np.asarray(2.0 * np.pi / corners / safe)
