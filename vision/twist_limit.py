"""Stage 6j: what a healthy blank may do, this blank's own course -> the smallest loss of turns that would have been told.

A loss is added to the course that was measured, in each of several places, and made smaller until the likelihood ratio no longer
passes the alert: so this photo's noise, this blank's wander and how much of either is known all count. Where in the last
millimetres it may lie is not known beforehand: the limit is the mean of these levels and FOUND_95 of their spread.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.healthy_twist import HealthyTwist
from vision.twist_model import TwistModel, ramp

Array = NDArray[np.floating[Any]]
FOUND_95 = 1.645
FROM_MM, OVER_MM = (0.6, 1.5, 2.4), (1.5, 3.0)  # within the last 3 to 5 mm, where a file that jams unwinds
USUAL_OVER_MM = 2.2
MOST_RAD, HALVINGS = np.radians(720.0), 9


def smallest_loss_rad(healthy: HealthyTwist, alert: float) -> float:
    """The loss that passes the log ratio ``alert`` 95 times in 100, wherever it lies in what was followed; rad."""
    x = healthy.model.x_mm
    places = [(max(start, float(x[0])), over) for start in FROM_MM for over in OVER_MM]
    levels = np.array([_level(healthy.model, healthy.without_odd, ramp(x, start, start + over), alert) for start, over in places])
    return float(min(levels.mean() + FOUND_95 * levels.std(), MOST_RAD))


def _level(model: TwistModel, theta_rad: Array, shape: Array, alert: float) -> float:
    """The least loss of this shape that passes. All terms are of second degree in the loss: they are worked out once."""
    evidence, gains = model.evidence(theta_rad), model.gains(theta_rad)
    along = model.inverse @ shape
    mixed, own, more = along @ theta_rad, along @ shape, along @ model.ramps
    low, high = 0.0, MOST_RAD
    for _ in range(HALVINGS):
        loss = 0.5 * (low + high)
        ratios = model.log_ratios(evidence - loss * mixed - 0.5 * loss**2 * own, gains + loss * more, 1.0)
        low, high = (low, loss) if np.logaddexp.reduce(ratios) > alert else (loss, high)
    return float(high)
