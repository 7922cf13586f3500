"""Stage 6i: rival courses of one blank's twist -> the likeliest of them.

A twist that stops and goes on looks much like one that turns back. Two things tell: how well each course explains the outline, and
how like it is to a blank that was turned: a healthy wander and one smooth loss or gain.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.healthy_twist import against_healthy
from vision.twist import TwistFit
from vision.twist_path import TwistPath, courses

Array = NDArray[np.floating[Any]]
OUTLINE_WEIGHT = 0.5  # its points share more of their errors than their neighbours'
TURNED_BACK = 3.0  # nats against a course that turns back


def follow_twist(
    fit: TwistFit, x_mm: Array, upper_mm: Array, lower_mm: Array, axis_mm: Array, trust: Array
) -> TwistPath | None:
    """Follow the twist along both edges, as ``twist_path.courses`` does, and choose; None where it cannot be followed."""
    rivals = courses(fit, x_mm, upper_mm, lower_mm, axis_mm, trust)
    if not rivals:
        return None
    return min(rivals, key=lambda rival: _against(*rival))[0]


def _against(path: TwistPath, cost: float) -> float:
    """What speaks against a course, nats."""
    healthy = against_healthy(path)
    unlikely = 0.0 if healthy is None else -healthy.log_evidence
    back = TURNED_BACK if (np.diff(path.theta_rad) < 0.0).any() else 0.0
    return OUTLINE_WEIGHT * cost + unlikely + back
