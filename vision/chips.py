"""Stage 8d: what is left of the outline -> a piece missing from a crest, and what this photo would have shown of one."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import expit

from vision.expected import Left, smoothed
from vision.quantity import Quantity

OVER_MM = 0.10  # chips are 0.1 to 0.4 mm long
# Alert: spreads of all crests (a few hundred looks, far heavier tails than a normal law's), and share of the crest height at least. 41
# rendered crops, development seeds. A Hedstroem's teeth are held against one another instead (`vision.teeth`).
ALERT_SPREADS, STEEP = 9.0, 4.0
LEAST_SHARE = 0.05
END_CLEAR_MM = 1.2  # behind the tip's cone: crests there are ground and the outline errs (11 of 13 false ones of 397 whole crops)
STOP_CLEAR_MM = 1.0  # a stop's rim and shadow reach over the crests beside it
FOUND_95 = 2.3  # spreads: 1.645, and what averaging over OVER_MM takes off a narrow cut
BRIDGED = 0.4  # relative u of a depth: the learned outline leads straight over a part of most chips
LEAST_LOOKS = 60


@dataclass(frozen=True)
class Chip:
    """Deepest cut at a crest in the outline: where, % of the crest height, spreads of all crests; the least cut that would have shown."""

    from_mm: float
    to_mm: float
    depth_percent: Quantity
    spreads: float
    smallest_percent: float

    @property
    def odds(self) -> float:
        """Log odds that the outline by itself gives: even at the alert."""
        return STEEP * float(np.log(max(self.spreads, 0.1) / ALERT_SPREADS))

    @property
    def probability(self) -> float:
        """Chance that the outline by itself gives."""
        return float(expit(self.odds))


def deepest_chip(left: Left, hidden_mm: tuple[float, float] | None, until_mm: float) -> Chip | None:
    """Look at every crest on both edges; None where too few are seen. ``hidden_mm``: behind a stop; ``until_mm``: where crests end.

    The outline is off by so many um at every crest alike, and crests grow toward the handle: near the tip a cut must be
    deeper, as a share of its crest, to be told.
    """
    mean = smoothed(left, OVER_MM)
    use = left.crest & np.isfinite(mean) & (left.crest_mm > 0.0)
    use &= (left.x_mm > _begin(left) + END_CLEAR_MM) & (left.x_mm < until_mm)
    if hidden_mm is not None:
        use &= (left.x_mm < hidden_mm[0] - STOP_CLEAR_MM) | (left.x_mm > hidden_mm[1] + STOP_CLEAR_MM)
    if use.sum() < LEAST_LOOKS:
        return None
    crest_mm = np.broadcast_to(np.maximum(left.crest_mm, 1e-6), mean.shape)
    middle = float(np.median((-mean / crest_mm)[use]))
    cut = -mean - middle * crest_mm
    spread = max(1.4826 * float(np.median(np.abs(cut[use]))), 1e-5)
    alert = np.maximum(ALERT_SPREADS * spread, LEAST_SHARE * crest_mm)
    over = np.where(use & (cut < crest_mm), cut / alert, -np.inf)  # deeper than the crest is high: the outline was astray
    if not np.isfinite(over).any():
        return None
    side, at = np.unravel_index(int(np.argmax(over)), over.shape)
    deep, crest = float(cut[side, at]), float(crest_mm[side, at])
    low, high = _extent(np.where(use[side], cut[side], -np.inf), int(at), 0.5 * deep)
    usual = float(np.median(crest_mm[use]))
    return Chip(
        float(left.x_mm[low]),
        float(left.x_mm[high]),
        Quantity(100.0 * deep / crest, 100.0 * float(np.hypot(spread, BRIDGED * deep)) / crest),
        ALERT_SPREADS * float(over[side, at]),
        100.0 * (max(ALERT_SPREADS * spread / usual, LEAST_SHARE) + FOUND_95 * spread / usual),
    )


def _begin(left: Left) -> float:
    seen = np.isfinite(left.left_mm).any(axis=0)
    return float(left.x_mm[np.argmax(seen)]) if seen.any() else 0.0


def _extent(cut: np.ndarray, at: int, level: float) -> tuple[int, int]:
    low = high = at
    while low > 0 and cut[low - 1] > level:
        low -= 1
    while high < len(cut) - 1 and cut[high + 1] > level:
        high += 1
    return low, high
