"""Stage 6i: rival courses of one blank's twist -> the likeliest of them.

A twist that stops and goes on looks much like one that turns back. Two things tell: how well each course explains the outline, and
how like it is to a blank that was turned: a healthy wander and one smooth loss or gain.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
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
    fit: TwistFit, x_mm: Array, upper_mm: Array, lower_mm: Array, axes_mm: Iterable[Array], trust: Array
) -> TwistPath | None:
    """Follow the twist along both edges as ``twist_path.courses`` does, about one axis after the other until a course is one that a
    whole blank may take, and choose the likeliest; None where it cannot be followed."""
    rivals: list[_Rival] = []
    for axis in axes_mm:
        rivals += [_rival(path, cost) for path, cost in courses(fit, x_mm, upper_mm, lower_mm, axis, trust)]
        if rivals and not min(rivals, key=_against).odd:
            break
    return min(rivals, key=_against).path if rivals else None


@dataclass(frozen=True)
class _Rival:
    """A course, what speaks against it (nats), and whether a loss or gain explains it better than a healthy wander."""

    path: TwistPath
    against: float
    odd: bool


def _rival(path: TwistPath, cost: float) -> _Rival:
    healthy = against_healthy(path)
    unlikely = 0.0 if healthy is None else -healthy.log_evidence
    back = TURNED_BACK if (np.diff(path.theta_rad) < 0.0).any() else 0.0
    odd = healthy is not None and max(healthy.lost.log_ratio, healthy.gained.log_ratio) > 0.0
    return _Rival(path, OUTLINE_WEIGHT * cost + unlikely + back, odd)


def _against(rival: _Rival) -> float:
    return rival.against
