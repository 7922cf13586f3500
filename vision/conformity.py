"""Stage 8c: Dimensions, Identity -> conformity, by guard-banded decision.

JCGM 106:2012 (from memory): with a guard band of r U on each side of a tolerance limit, 'within' is stated only inside
the limit less the guard, 'outside' only beyond the limit plus the guard; in between nothing is stated. Here r U = 2 u.
"""

from __future__ import annotations

from vision.dimensions import Dimensions
from vision.identity import Identity
from vision.nominal import LENGTHS_MM, TAPER, Limit, diameter_limit, length_limit
from vision.quantity import Quantity
from vision.reading import Verdict

GUARD_U = 2.0


def conformity(dimensions: Dimensions, identity: Identity, *, tip_lost: bool) -> dict[str, Verdict]:
    """Judge D0, D16 and length. Tip angle is measured too coarsely to judge; a broach has no limit that was read."""
    size = identity.size.value
    if tip_lost or not isinstance(size, int) or identity.family.value not in ("k-file", "reamer", "hedstroem-file"):
        return {"d0": None, "d16": None, "length": None, "tip_angle": None}
    nominal = size / 100.0
    limit = diameter_limit(size)
    return {
        "d0": judge(dimensions.d0_mm, nominal, limit),
        "d16": judge(dimensions.d16_mm, nominal + 16.0 * TAPER, limit),
        "length": _length(dimensions.length_mm),
        "tip_angle": None,
    }


def judge(quantity: Quantity | None, nominal: float, limit: Limit) -> Verdict:
    """Decide one quantity against nominal ± limit; None when it was not measured."""
    if quantity is None:
        return None
    off = abs(quantity.value - nominal)
    if off + GUARD_U * quantity.u <= limit.within_mm:
        return "within"
    if off - GUARD_U * quantity.u > limit.outside_mm:
        return "outside"
    return "undecided"


def _length(length: Quantity | None) -> Verdict:
    if length is None:
        return None
    nearest = min(LENGTHS_MM, key=lambda nominal: abs(nominal - length.value))
    return judge(length, nearest, length_limit())
