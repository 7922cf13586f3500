"""Stage 8d: what is left of the outline -> a piece missing from a crest, and what this photo would have shown of one."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from vision.expected import Left, smoothed
from vision.quantity import Quantity

OVER_MM = 0.10  # chips are 0.1 to 0.4 mm long
# Alert: spreads of all crests (a few hundred looks, far heavier tails than a normal law's: glints move the outline at single
# crests by seven spreads), and share of the crest height at least. A Hedstroem's teeth are drawn by the light and differ by up
# to a quarter (development renders).
CLOSED_FORM, OWN_TOOTH = (7.5, 0.18), (7.5, 0.33)
END_CLEAR_MM = 0.3  # the first crest behind the tip is often ground
FOUND_95 = 1.645
LEAST_LOOKS = 60


@dataclass(frozen=True)
class Chip:
    """Deepest cut at a crest in the outline: where, % of the crest height, probability; the least cut that would have shown."""

    from_mm: float
    to_mm: float
    depth_percent: Quantity
    probability: float
    smallest_percent: float


def deepest_chip(left: Left, hidden_mm: tuple[float, float] | None) -> Chip | None:
    """Look at every crest on both edges; None where too few are seen. ``hidden_mm``: behind a stop."""
    mean = smoothed(left, OVER_MM)
    use = left.crest & np.isfinite(mean) & (left.crest_mm > 0.0)
    use &= left.x_mm > _begin(left) + END_CLEAR_MM
    if hidden_mm is not None:
        use &= (left.x_mm < hidden_mm[0] - 0.5) | (left.x_mm > hidden_mm[1] + 0.5)
    if use.sum() < LEAST_LOOKS:
        return None
    share = -mean / np.maximum(left.crest_mm, 1e-6)
    seen = share[use]
    middle = float(np.median(seen))
    spread = max(1.4826 * float(np.median(np.abs(seen - middle))), 1e-3)
    alert = max(*(n * s for n, s in zip(OWN_TOOTH if left.own_tooth else CLOSED_FORM, (spread, 1.0), strict=True)))
    cut = np.where(use, share - middle, -np.inf)
    side, at = np.unravel_index(int(np.argmax(cut)), cut.shape)
    deep = float(cut[side, at])
    low, high = _extent(cut[side], int(at), 0.5 * deep)
    return Chip(
        float(left.x_mm[low]),
        float(left.x_mm[high]),
        Quantity(100.0 * deep, 100.0 * spread),
        float(ndtr((deep - alert) / spread)),
        100.0 * (alert + FOUND_95 * spread),
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
