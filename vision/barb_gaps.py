"""Stage 8d: where barbs stand out of the outline -> a row of them folded down or gone.

Barbs follow one another along the wire all round; about half of them stand out of one photo's outline. A stretch without
any, long against their usual distance, is a row that lies flat or is missing; an outline does not tell which of the two.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.quantity import Quantity

Array = NDArray[np.floating[Any]]
LEAST_BARBS = 6
ALERT_GAPS = 3.6  # usual distances: healthy wires leave gaps of up to about three
U_GAPS = 0.45
LEAST_APART_MM = 0.4  # 30 to 44 barbs on 10 to 12 mm, half of them at the outline: common practice, no source
FOUND_95 = 1.645


@dataclass(frozen=True)
class BarbGap:
    """Longest stretch without barbs: where, how many are missing from the outline, probability; what would have shown."""

    from_mm: float
    to_mm: float
    missing: Quantity
    probability: float
    smallest: float


def longest_gap(spikes_mm: Array, first_mm: float) -> BarbGap | None:
    """Look for the longest stretch without barbs; ``first_mm``: where barbs usually begin. None with too few to compare."""
    if len(spikes_mm) < LEAST_BARBS:
        return None
    places = np.concatenate([[min(first_mm, float(spikes_mm[0]))], spikes_mm])
    gaps = np.diff(places)
    # One barb may show two spikes, its point and its root: the usual distance is no smaller than barbs stand apart.
    usual = max(float(np.median(gaps[1:])), float(np.ptp(spikes_mm)) / (len(spikes_mm) - 1), LEAST_APART_MM)
    at = int(np.argmax(gaps))
    size = float(gaps[at]) / usual
    chance = 0.5 * (1.0 + math.erf((size - ALERT_GAPS) / (U_GAPS * math.sqrt(2.0))))
    smallest = ALERT_GAPS + FOUND_95 * U_GAPS - 1.0
    return BarbGap(float(places[at]), float(places[at + 1]), Quantity(max(size - 1.0, 0.0), 0.7), chance, smallest)
