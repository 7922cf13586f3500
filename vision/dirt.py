"""Stage 8d: what is left of the outline -> something that stands out where no metal should: dirt, a fibre, a burr.

It must not pass as metal, nor hide what lies under it: clean and photograph again.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.expected import Left, smoothed

OVER_MM = 0.08
ALERT_SPREADS = 7.0
LEAST_SHARE = 0.16  # of the radius
OWN_TOOTH_SHARE = 0.45  # a Hedstroem's teeth, as the light draws them, differ by up to a third of the radius (development renders)
LEAST_PX = 1.5


@dataclass(frozen=True)
class Dirt:
    """The highest thing that stands out: where and by how much."""

    at_mm: float
    height_mm: float


def stands_out(left: Left, hidden_mm: tuple[float, float] | None) -> Dirt | None:
    """The highest thing beside a whole outline, None when there is nothing above the alert."""
    mean = smoothed(left, OVER_MM)
    use = np.isfinite(mean) & (left.x_mm > 0.5)
    if hidden_mm is not None:
        use &= (left.x_mm < hidden_mm[0] - 1.0) | (left.x_mm > hidden_mm[1] + 1.0)
    if use.sum() < 60:
        return None
    middle = float(np.median(mean[use]))
    spread = 1.4826 * float(np.median(np.abs(mean[use] - middle)))
    least = OWN_TOOTH_SHARE if left.own_tooth else LEAST_SHARE
    alert = np.maximum(ALERT_SPREADS * spread, np.maximum(least * left.radius_mm, LEAST_PX / left.px_per_mm))
    over = np.where(use, (mean - middle) / alert[None, :], 0.0)
    side, at = np.unravel_index(int(np.argmax(over)), over.shape)
    if over[side, at] < 1.0:
        return None
    return Dirt(float(left.x_mm[at]), float(mean[side, at] - middle))
