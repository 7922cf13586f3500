"""Stage 6h: how the twist of a whole blank runs: at one pitch, or at a pitch that changes evenly along the blank."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.floating[Any]]
DRIFT_PER_MM = 0.02  # spread of a whole blank's relative change of pitch a mm: assumed, no source
LEAST = 0.05  # of the pitch at the middle: a drift carried on that far says nothing any more


def run_of(t_mm: Array, drift: float) -> Array:
    """Twist at ``t_mm`` from the middle, over the rate there, of a pitch that changes by ``drift`` (relative) a mm."""
    return np.asarray(t_mm if abs(drift) < 1e-6 else np.log(np.maximum(1.0 + drift * t_mm, LEAST)) / drift)


def drawn_in(drift: float, u: float) -> float:
    """A drift read with ``u``, drawn toward none as far as it is ill read."""
    return drift * DRIFT_PER_MM**2 / (DRIFT_PER_MM**2 + u**2)
