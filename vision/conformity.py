"""Stage 8c: what was measured and named -> conformity, by guard-banded decision.

JCGM 106:2012, clause 8 (from memory): with a guard band r U on each side of a tolerance limit, 'within' is stated only inside
the limit less the guard, 'outside' only beyond the limit plus the guard; in between nothing is stated. Here r U = 2 u,
so that a verdict is wrong at most about once in 44. Clause 7 (from memory) gives the conformance probability.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from scipy.special import ndtr

from vision.nominal import (
    LENGTHS_MM,
    TAPER,
    TIP_ANGLE_DEG,
    Limit,
    diameter_limit,
    length_limit,
    tip_angle_limit,
)
from vision.quantity import Quantity
from vision.reading import InstrumentReading, Judgement, Verdict

GUARD_U = 2.0
VERDICTS = ("d0", "d16", "length", "tip_angle")  # the format's fixed keys; what is judged beyond them follows
UNITS = dict.fromkeys(VERDICTS, "mm") | {"tip_angle": "deg", "taper": "mm/mm"}
JUDGED_FAMILIES = ("k-file", "reamer", "hedstroem-file")
SIZE_FROM = 0.8  # chance of the size that is judged against; an overview names sizes a little sooner, for sorting
TIP_LOST_AT = 0.5  # from here on a lost tip is taken for lost
NO_TAPER = "no text with a limit of the taper was read"
NO_TIP_ANGLE = "the tip angle is not measured"
NOT_MEASURED = "not measured"


def judge_reading(one: InstrumentReading) -> InstrumentReading:
    """Return the reading with every judgement and the verdicts that follow from the numbers as they stand in it."""
    lost = any(f.kind == "tip-lost" and f.probability >= TIP_LOST_AT for f in one.condition.findings)
    measured = (one.d0_mm, one.d16_mm, one.length_mm)
    size = one.size.value if one.size.probability >= SIZE_FROM else None
    judged = _judged(measured, one.family.value, size, tip_lost=lost)
    return replace(one, conformity=verdicts(judged), judged=judged)


def verdicts(judged: Mapping[str, Judgement]) -> dict[str, Verdict]:
    """Return the verdicts under the format's fixed keys."""
    return {name: judged[name].verdict for name in VERDICTS}


def judge(quantity: Quantity | None, nominal: float, limit: Limit, unit: str = "mm") -> Judgement:
    """Judge one quantity against nominal ± limit; no verdict when it was not measured."""
    stated = Judgement(None, unit, nominal, limit.within, limit.outside)
    if quantity is None:
        return replace(stated, reason=NOT_MEASURED)
    off, u = abs(quantity.value - nominal), max(quantity.u, 1e-12)
    within, outside = limit.within.half_width, limit.outside.half_width
    verdict: Verdict = "undecided"
    if off + GUARD_U * quantity.u <= within:
        verdict = "within"
    elif off - GUARD_U * quantity.u > outside:
        verdict = "outside"
    met = outside if off > outside else within
    return replace(
        stated,
        verdict=verdict,
        margin_u=(met - off) / u,
        probability=conformance_probability(quantity, nominal - within, nominal + within),
    )


def conformance_probability(quantity: Quantity, low: float, high: float) -> float:
    """Probability that the true value lies between two limits, for a normal distribution about the estimate."""
    u = max(quantity.u, 1e-12)
    return float(ndtr((high - quantity.value) / u) - ndtr((low - quantity.value) / u))


def _judged(
    measured: tuple[Quantity | None, Quantity | None, Quantity | None],
    family: str | int | None,
    size: str | int | None,
    *,
    tip_lost: bool,
) -> dict[str, Judgement]:
    """Judge D0, D16 and length; the tip angle is measured too coarsely, and no limit of the taper was read."""
    reason = _why_not(family, size, tip_lost=tip_lost)
    if reason is not None or not isinstance(size, int):
        return {name: Judgement(None, unit, reason=reason) for name, unit in UNITS.items()}
    d0, d16, length = measured
    diameter, angle = diameter_limit(size), tip_angle_limit()
    return {
        "d0": judge(d0, size / 100.0, diameter),
        "d16": judge(d16, size / 100.0 + 16.0 * TAPER, diameter),
        "length": _length(length),
        "tip_angle": Judgement(None, "deg", TIP_ANGLE_DEG, angle.within, angle.outside, reason=NO_TIP_ANGLE),
        "taper": Judgement(None, "mm/mm", TAPER, reason=NO_TAPER),
    }


def _why_not(family: str | int | None, size: str | int | None, *, tip_lost: bool) -> str | None:
    """Why nothing of this instrument is judged; None when it is."""
    if tip_lost:
        return "the tip is taken for lost: what counts from the tip no longer stands for the size"
    if family == "barbed-broach":
        return "limits of broaches stand in a table that nobody here has read"
    if family not in JUDGED_FAMILIES:
        return "no family with limits is named"
    return None if isinstance(size, int) else "no size is named that could be judged against"


def _length(length: Quantity | None) -> Judgement:
    if length is None:
        return Judgement(None, "mm", reason=NOT_MEASURED)
    nearest = min(LENGTHS_MM, key=lambda nominal: abs(nominal - length.value))
    return judge(length, nearest, length_limit())
