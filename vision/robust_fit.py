"""Least squares under bounds with a loss that outliers pull little at (leaf): few parameters, thousands of residuals.

Levenberg's damping on the normal equations: a round costs one product of the slopes with themselves, where a general solver
decomposes all of them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.floating[Any]]
FIRST_DAMPING, LEAST_DAMPING, MOST_DAMPING = 1e-3, 1e-9, 1e8
EASIER, HARDER = 0.2, 5.0


@dataclass(frozen=True)
class Fitted:
    """Parameters at the least cost, and the normal matrix of the weighed slopes there."""

    p: Array
    normal: Array


def fit_robustly(
    residuals: Callable[[Array], Array],
    slopes: Callable[[Array], Array],
    start: Array,
    bounds: tuple[Array, Array],
    *,
    soft_at: float,
    rounds: int = 60,
    least_gain: float = 1e-8,
) -> Fitted:
    """Minimise the sum of soft L1 losses (linear beyond ``soft_at``) of ``residuals`` (N,); ``slopes`` (N, P) are theirs.

    ``start`` must lie within ``bounds``. Ends when a round gains less than ``least_gain`` of the cost.
    """
    p, damping = start, FIRST_DAMPING
    miss = residuals(p)
    cost = _cost(miss, soft_at)
    pull, normal = _normal(miss, slopes(p), soft_at)
    for _ in range(rounds):
        step = _step(p, pull, normal, damping, bounds)
        tried = np.clip(p + step, *bounds)
        miss = residuals(tried)
        new = _cost(miss, soft_at)
        if new < cost:
            gained, p, cost, damping = cost - new, tried, new, max(damping * EASIER, LEAST_DAMPING)
            pull, normal = _normal(miss, slopes(p), soft_at)
            if gained < least_gain * cost:
                break
        elif damping > MOST_DAMPING or np.abs(step).max() < 1e-10:
            break
        else:
            damping *= HARDER
    return Fitted(p, normal)


def _cost(miss: Array, soft_at: float) -> float:
    return float((np.sqrt(1.0 + (miss / soft_at) ** 2) - 1.0).sum()) * soft_at**2


def _normal(miss: Array, slopes: Array, soft_at: float) -> tuple[Array, Array]:
    """Direction of descent (P,) and the normal matrix, the loss's own curvature included as far as it stays positive (Triggs)."""
    over = 1.0 + (miss / soft_at) ** 2
    first = 1.0 / np.sqrt(over)
    curved = np.maximum(first / over, np.finfo(float).eps)  # first + 2 second z
    return -(slopes.T @ (first * miss)), (slopes * curved[:, None]).T @ slopes


def _step(p: Array, pull: Array, normal: Array, damping: float, bounds: tuple[Array, Array]) -> Array:
    """The damped step; parameters at a bound that they would leave through stay there."""
    damped, diagonal = normal.copy(), normal.diagonal()
    damped.flat[:: len(p) + 1] = diagonal + damping * np.maximum(diagonal, 1e-12)
    held = ((p <= bounds[0]) & (pull < 0.0)) | ((p >= bounds[1]) & (pull > 0.0))
    if not held.any():
        return np.asarray(np.linalg.solve(damped, pull))
    step, free = np.zeros(len(p)), ~held
    step[free] = np.linalg.solve(damped[np.ix_(free, free)], pull[free])
    return step
