"""Stage 6j: twist followed along the outline -> turns lost or gained, where, how sure, and whether the blank turns back.

``vision.twist_path`` says what the twist does, ``vision.healthy_twist`` what a healthy blank may do by itself; here the two
become numbers. A curve out of the picture's plane shortens the flutes as seen and hides up to a few tens of degrees of
loss near the tip: u of a loss carries it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.healthy_twist import Ramp, against_healthy
from vision.outline import Outline
from vision.place import Profile
from vision.quantity import Quantity
from vision.twist import TwistFit
from vision.twist_axis import axes
from vision.twist_limit import USUAL_OVER_MM, smallest_loss_rad
from vision.twist_path import TwistPath
from vision.twist_rivals import follow_twist

Array = NDArray[np.floating[Any]]
# Log likelihood ratio that one healthy twist in a hundred passes: 400 drawn healthy courses, 2.5 deg of noise a cell.
ALERT_LOG_RATIO = 1.1
LOG_RATIO_SCALE = 0.8  # of the chance: 1/2 at the alert, 0.9 at 1.8 above it
LEAST_CRESTS = 6  # an edge outside the zone; fewer (large reamers) leave no trend to compare with
LEAST_MM = 4.0
REVERSED_LEAST_MM = 0.2
BACK_LEAST_RAD = np.radians(25.0)  # turned back by less is the fit's own doubt where flutes run nearly straight
BACK_U_SHARE, ZONE_STEPS = 0.35, 101
CURVE_RADIUS_MM = 16.0  # of a pre-curve that might lie out of the plane: 8 to 25 mm in use


@dataclass(frozen=True)
class TwistLoss:
    """Twist missing against the healthy trend (positive: unwound; negative: overwound), where, and how sure.

    ``probability``: that this is no healthy wander. ``reversed_mm``: length over which the blank turns back.
    ``smallest_deg``: the loss over ``over_mm`` that this photo would have shown 95 times in 100. ``pitch_mm`` and
    ``trend_pitch_mm`` are rows of x and the local pitch, measured and healthy. ``scatter_deg``: this blank's own wander.
    ``corners``: of its section. ``same_hand``: log odds that the faces there run as the whole blank's do, along the twist as followed
    (``vision.hand``); None where they do not tell.
    """

    zone_mm: tuple[float, float]
    loss_deg: Quantity
    probability: float
    reversed_mm: float
    smallest_deg: float
    over_mm: float
    scatter_deg: float
    pitch_mm: Array
    trend_pitch_mm: Array
    corners: int = 4
    same_hand: float | None = None

    @property
    def turned(self) -> bool:
        """Whether the twist as followed turns back over more than REVERSED_LEAST_MM."""
        return self.loss_deg.value >= 0.0 and self.reversed_mm > REVERSED_LEAST_MM

    @property
    def is_odd(self) -> bool:
        """Whether the loss passes the alert: about one in a hundred healthy instruments would, unwound and overwound together two."""
        return self.probability >= 0.5


def followed(fit: TwistFit, profile: Profile, outline: Outline) -> TwistPath | None:
    """Follow the twist of the chosen blank along the outline that it was fitted to; None where it cannot be followed."""
    about = axes(fit, profile, outline)
    return follow_twist(fit, profile.x_mm, profile.upper_mm, profile.lower_mm, about, profile.trust)


def twist_loss(path: TwistPath) -> TwistLoss | None:
    """Compare the twist with a healthy one; None when it is too short, or has too few crests, for a trend of its own."""
    x = path.x_mm
    crests = np.ptp(path.theta_rad) * path.corners / (2.0 * np.pi)
    if x[-1] - x[0] < LEAST_MM or crests < LEAST_CRESTS:
        return None
    healthy = against_healthy(path)
    if healthy is None:
        return None
    odd, sign = (healthy.lost, 1.0) if healthy.lost.log_ratio >= healthy.gained.log_ratio else (healthy.gained, -1.0)
    back = _turned_back_mm(path)
    usual = np.gradient(healthy.theta_rad, x)
    return TwistLoss(
        zone_mm=(max(odd.from_mm, 0.0), odd.to_mm),
        loss_deg=Quantity(float(np.degrees(odd.loss_rad)), _u_deg(odd, usual)),
        probability=chance(odd.log_ratio),
        reversed_mm=back if sign > 0.0 else 0.0,
        smallest_deg=float(np.degrees(smallest_loss_rad(healthy, ALERT_LOG_RATIO))),
        over_mm=USUAL_OVER_MM,
        scatter_deg=float(np.degrees(healthy.scatter_rad)),
        pitch_mm=np.column_stack([x, pitch_of(path.rate_rad_per_mm, path.corners)]),
        trend_pitch_mm=np.column_stack([x, pitch_of(usual, path.corners)]),
        corners=path.corners,
    )


def missing_deg(loss: TwistLoss, zone_mm: tuple[float, float], *, back: bool) -> Quantity | None:
    """Twist missing over a zone that others named (negative: gained); ``back``: if the blank turns the other way over all of it, which is
    what it should have turned and what it turns back. None where less than half of the zone was followed.

    An outline turns alike in either sense, so only what it turns is measured, not which way. What turns back comes out too small where
    its crests were too close to be followed, and too large by what the zone's ends turn before they stand still: u holds a third of it.
    """
    x, usual = loss.trend_pitch_mm.T
    low, high = max(zone_mm[0], float(x[0])), min(zone_mm[1], float(x[-1]))
    if high - low < 0.5 * (zone_mm[1] - zone_mm[0]) or high <= low:
        return None
    at = np.linspace(low, high, ZONE_STEPS)
    turns, seen = (np.interp(at, x, np.nan_to_num(1.0 / pitch)) for pitch in (usual, loss.pitch_mm[:, 1]))
    value = float(np.trapezoid(turns + np.abs(seen) if back else turns - seen, at)) * 360.0 / loss.corners
    return Quantity(value, float(np.hypot(loss.loss_deg.u, BACK_U_SHARE * value if back else 0.0)))


def chance(log_ratio: float) -> float:
    """Chance that a loss is real: one half at the alert."""
    return float(1.0 / (1.0 + np.exp(-(log_ratio - ALERT_LOG_RATIO) / LOG_RATIO_SCALE)))


def pitch_growth(turns: float, lost_deg: float) -> float:
    """p'/p - 1 of a zone of ``turns`` turns that has lost ``lost_deg``: the same length, fewer turns. Infinite when none is left."""
    left = turns - lost_deg / 360.0
    return turns / left - 1.0 if left > 0.0 else float("inf")


def pitch_of(rate_rad_per_mm: Array, corners: int) -> Array:
    """Distance of successive crests on one edge; NaN where the blank hardly turns."""
    safe = np.where(np.abs(rate_rad_per_mm) > 1e-3, rate_rad_per_mm, np.nan)
    return np.asarray(2.0 * np.pi / corners / safe)


def _u_deg(odd: Ramp, usual: Array) -> float:
    """u of the loss: the fit's, and what a pre-curve out of the picture's plane would hide of it."""
    hidden = float(np.median(usual)) * odd.to_mm**3 / (6.0 * CURVE_RADIUS_MM**2)
    return float(np.degrees(np.hypot(odd.u_rad, min(hidden, np.radians(40.0)))))


def _turned_back_mm(path: TwistPath) -> float:
    """Length over which the blank turns the other way; 0 where all of that turn is no more than the fit's own doubt."""
    step = np.diff(path.theta_rad)
    back = np.minimum(step, 0.0)
    u = float(np.degrees(np.sqrt(np.median(np.diag(path.covariance)))))
    if -back.sum() < max(BACK_LEAST_RAD, np.radians(3.0 * u)):
        return 0.0
    return float(np.diff(path.x_mm)[step < 0.0].sum())
