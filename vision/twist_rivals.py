"""Stage 6i: rival courses of one blank's twist -> the likeliest of them.

A twist that stops and goes on looks much like one that turns back. Two things tell: how well each course explains the outline, and
how like it is to a blank that was turned: a healthy wander and one smooth loss or gain.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.healthy_twist import against_healthy
from vision.twist import TwistFit
from vision.twist_path import TwistPath, courses

Array = NDArray[np.floating[Any]]
OUTLINE_WEIGHT = 0.5  # its points share more of their errors than their neighbours'
TURNED_BACK = 3.0  # nats against a course that turns back: our own choice


def follow_twist(
    fit: TwistFit, x_mm: Array, upper_mm: Array, lower_mm: Array, axes_mm: Iterable[Array], trust: Array
) -> TwistPath | None:
    """Follow the twist along both edges as ``twist_path.courses`` does, about one axis after the other until a course is one that a
    whole blank may take, and choose the likeliest; None where it cannot be followed."""
    rivals: list[tuple[TwistPath, float]] = []
    likeliest, odd = None, True
    for axis in axes_mm:
        rivals += courses(fit, x_mm, upper_mm, lower_mm, axis, trust)
        if rivals:
            likeliest, odd = _likeliest(rivals)
        if not odd:
            break
    return likeliest


def _likeliest(rivals: Sequence[tuple[TwistPath, float]]) -> tuple[TwistPath, bool]:
    """The likeliest course, and whether a loss or gain explains it better than a healthy wander. All of them are weighed at the same
    stations: how likely a course is depends on how many are asked."""
    low, high = max(path.x_mm[0] for path, _ in rivals), min(path.x_mm[-1] for path, _ in rivals)
    at = rivals[0][0].x_mm
    at = at[(at >= low) & (at <= high)]
    weighed = [_weighed(_at(path, at), cost) for path, cost in rivals]
    best = int(np.argmin([against for against, _ in weighed]))
    return rivals[best][0], weighed[best][1]


def _at(path: TwistPath, x_mm: Array) -> TwistPath:
    """The same course at other stations, and what its u is there."""
    between = np.stack([np.interp(x_mm, path.x_mm, unit) for unit in np.eye(len(path.x_mm))], axis=1)
    return TwistPath(x_mm, between @ path.theta_rad, between @ path.covariance @ between.T, path.corners, path.axis_mm)


def _weighed(path: TwistPath, cost: float) -> tuple[float, bool]:
    """What speaks against a course, nats, and whether it is odd."""
    healthy = against_healthy(path)
    back = TURNED_BACK if (np.diff(path.theta_rad) < 0.0).any() else 0.0
    if healthy is None:
        return OUTLINE_WEIGHT * cost + back, False
    return OUTLINE_WEIGHT * cost + back - healthy.log_evidence, max(healthy.lost.log_ratio, healthy.gained.log_ratio) > 0.0
