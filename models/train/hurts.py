"""Where an instrument is hurt, column by column: what the damage network learns to point at."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from samples.instrument import Damage, Instrument

Array = NDArray[np.floating[Any]]
HURTS = ("unwound", "reverse-wound", "overwound", "kinked", "tip-lost", "crest-chipped", "barbs-folded", "barbs-missing", "debris")
# Strengths from which a damage counts as one, in the unit of readings. A weaker one is neither damage nor soundness: the
# columns about it are not asked.
COUNTS = {
    "unwound": 55.0, "reverse-wound": 100.0, "overwound": 55.0, "kinked": 12.0, "tip-lost": 0.5, "crest-chipped": 25.0,
    "barbs-folded": 1.0, "barbs-missing": 1.0, "debris": 0.006,
}  # fmt: skip
BROKEN_END_MM = 0.25  # the end itself tells of a lost tip
LEAST_COLUMNS, BESIDE = 6.0, 8.0  # a mark is at least so long; columns at either side of it that are not asked


def hurt(instrument: Instrument, columns_of: Callable[[Array], Array], columns: int) -> NDArray[np.uint8]:
    """Return (2, HURTS, columns): 1 where a damage of a kind lies, and 1 where the answer counts.

    ``columns_of`` tells the columns of places on the axis, mm from the tip.
    """
    found = np.zeros((2, len(HURTS), columns), np.uint8)
    found[1] = 1
    at = np.arange(float(columns))
    for one in (*instrument.damage, *instrument.marks):
        if one.kind not in HURTS:
            continue
        kind = HURTS.index(one.kind)
        low, high = np.sort(columns_of(np.array(_place(one))))
        more = max(0.0, 0.5 * (LEAST_COLUMNS - (high - low)))
        inside = (at >= low - more) & (at <= high + more)
        around = (at >= low - more - BESIDE) & (at <= high + more + BESIDE)
        counts = one.strength >= COUNTS[one.kind]
        found[1, kind, around & ~inside] = 0
        found[0, kind, inside] = counts
        found[1, kind, inside] = counts
    return found


def _place(one: Damage) -> tuple[float, float]:
    return (0.0, BROKEN_END_MM) if one.kind == "tip-lost" else (one.from_mm, one.to_mm)
