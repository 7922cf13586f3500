"""Where an instrument is hurt, column by column: what the damage network learns to point at."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from models.train.facing import barbs_seen, seen
from samples.instrument import Instrument
from samples.pose import Pose

Array = NDArray[np.floating[Any]]
HURTS = ("unwound", "reverse-wound", "overwound", "kinked", "tip-lost", "crest-chipped", "barbs-folded", "barbs-missing", "debris")
# Strengths from which a damage counts as one, in the unit of readings. A weaker one is neither damage nor soundness: the
# columns about it are not asked.
COUNTS = {
    "unwound": 55.0, "reverse-wound": 100.0, "overwound": 55.0, "kinked": 12.0, "tip-lost": 0.5, "crest-chipped": 25.0,
    "barbs-folded": 1.0, "barbs-missing": 1.0, "debris": 0.006,
}  # fmt: skip
BARBS = ("barbs-folded", "barbs-missing")
BROKEN_END_MM = 0.25  # the end itself tells of a lost tip
LEAST_COLUMNS, BESIDE = 6.0, 8.0  # a mark is at least so long; columns at either side of it that are not asked


def hurt(instrument: Instrument, pose: Pose, columns_of: Callable[[Array], Array], columns: int) -> NDArray[np.uint8]:
    """Return (2, HURTS, columns): 1 where a damage of a kind lies, and 1 where the answer counts.

    ``columns_of`` tells the columns of places on the axis, mm from the tip.
    """
    found = np.zeros((2, len(HURTS), columns), np.uint8)
    found[1] = 1
    at = np.arange(float(columns))
    for kind, from_mm, to_mm, counts in _places(instrument, pose):
        low, high = np.sort(columns_of(np.array([from_mm, to_mm])))
        more = max(0.0, 0.5 * (LEAST_COLUMNS - (high - low)))
        inside = (at >= low - more) & (at <= high + more)
        around = (at >= low - more - BESIDE) & (at <= high + more + BESIDE)
        found[1, kind, around & ~inside & (found[0, kind] == 0)] = 0
        found[0, kind, inside] |= counts
        found[1, kind, inside] = found[0, kind, inside]
    return found


def _places(instrument: Instrument, pose: Pose) -> Iterator[tuple[int, float, float, bool]]:
    """Kind, from where to where on the axis, and whether it is shown and strong enough to be asked for."""
    for one in (*instrument.damage, *instrument.marks):
        if one.kind not in HURTS:
            continue
        kind = HURTS.index(one.kind)
        if one.kind in BARBS:
            yield from ((kind, low, high, faces) for low, high, faces in barbs_seen(instrument, pose, one))
            continue
        shown = seen(instrument, pose, one)
        low, high = (0.0, BROKEN_END_MM) if one.kind == "tip-lost" else (one.from_mm, one.to_mm)
        yield kind, low, high, shown is not None and shown.strength >= COUNTS[one.kind]
