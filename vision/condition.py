"""Stage 8 of 9: everything measured -> Condition. Reasons to discard, with what this photo could and could not have shown.

The tool can find a reason to discard an instrument; nothing here can clear one.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from scipy.stats import norm

from vision.bends import KINK_LEAST_DEG, Bend
from vision.dimensions import Dimensions
from vision.handle import HandleColour
from vision.nominal import LENGTHS_MM, sizes_of_colour
from vision.quantity import Quantity
from vision.reading import Call, ConditionReading, Finding
from vision.unwinding import ALERT_FALSE, TwistLoss

SEEN_SHARE = 0.5  # one photo sees about half of the circumference
DISCARD_AT, LOOK_AT = 0.9, 0.5
REVERSED_LEAST_MM = 0.3
ZONE_LEAST_MM = 0.6  # a jump within less than a pitch at the tip is the fit's loose end, not metal that gave way
TIP_LOST_LEAST_MM = 0.8
BLUNT = 0.75  # width at the very end over the width just behind it


@dataclass(frozen=True)
class TipLoss:
    """How much of the tip is missing, judged from handle colour, taper and length; probability that it is."""

    lost_mm: Quantity
    probability: float


def lost_tip(dimensions: Dimensions, colour: HandleColour, blunt: float | None) -> TipLoss | None:
    """Judge a lost tip: metal too thick at its end for the colour, blunt, and short. None when nothing speaks for it.

    Needs a handle colour: without one a thick end is simply a larger size.
    """
    sizes = sizes_of_colour(colour.word)
    d0, taper, length = dimensions.d0_mm, dimensions.taper_mm_per_mm, dimensions.length_mm
    if d0 is None or taper is None or taper.value < 0.008 or not sizes:
        return None
    below = [size / 100.0 for size in sizes if size / 100.0 < d0.value + 0.01]
    if not below:
        return None
    excess = d0.value - max(below)
    lost = excess / taper.value
    u = math.hypot(d0.u, 0.012) / taper.value
    by_end = float(norm.cdf((lost - TIP_LOST_LEAST_MM / 2.0) / u)) if lost < 8.0 else 0.0
    by_length = _short_by(length, lost, u)
    by_shape = 0.9 if blunt is not None and blunt > BLUNT else 0.15
    odds = by_end / max(1.0 - by_end, 1e-3) * by_length * by_shape / (1.0 - by_shape) * 0.2
    probability = odds / (1.0 + odds)
    return TipLoss(Quantity(lost, u), probability) if lost > TIP_LOST_LEAST_MM and probability > 0.2 else None


def _short_by(length: Quantity | None, lost_mm: float, u_mm: float) -> float:
    """How much better 'a standard length less what is missing' fits than 'a standard length'; 1 when length is unknown."""
    if length is None:
        return 1.0
    spread = math.hypot(0.3, length.u)
    whole = max(math.exp(-0.5 * ((length.value - full) / spread) ** 2) for full in LENGTHS_MM)
    wide = math.hypot(spread, u_mm)
    short = max(math.exp(-0.5 * ((length.value + lost_mm - full) / wide) ** 2) for full in LENGTHS_MM) * spread / wide
    return (short + 0.02) / (whole + 0.02)


def examine(
    twist: TwistLoss | None, bend: Bend | None, tip: TipLoss | None, *, doubts: tuple[str, ...] = ()
) -> ConditionReading:
    """Collect the findings and make the call. ``doubts`` are reasons why the photo itself is unfit to judge."""
    findings = [*_twist_findings(twist), *_bend_findings(bend), *_tip_findings(tip)]
    return ConditionReading(_call(findings, doubts), SEEN_SHARE, _smallest(twist, bend), tuple(findings), doubts)


def _call(findings: list[Finding], doubts: tuple[str, ...]) -> Call:
    strongest = max((finding.probability for finding in findings), default=0.0)
    if strongest >= DISCARD_AT:
        return "discard"
    return "look again" if strongest >= LOOK_AT or doubts else "nothing seen"


def _twist_findings(twist: TwistLoss | None) -> list[Finding]:
    """Twist lost or gained; probability 1/2 at the alert that one healthy instrument in a hundred would pass."""
    if twist is None or twist.zone_mm is None or twist.zone_mm[1] - twist.zone_mm[0] < ZONE_LEAST_MM:
        return []
    loss = twist.loss_deg
    probability = float(norm.cdf(abs(loss.value) / max(loss.u, 1.0) - ALERT_FALSE))
    if probability < 0.3:
        return []
    if loss.value < 0.0:
        return [Finding("overwound", *twist.zone_mm, loss.scaled(-1.0), "deg of twist gained", probability)]
    kind = "reverse-wound" if twist.reversed_mm > REVERSED_LEAST_MM else "unwound"
    return [Finding(kind, *twist.zone_mm, loss, "deg of twist lost", probability)]


def _bend_findings(bend: Bend | None) -> list[Finding]:
    if bend is None:
        return []
    size = abs(bend.sharp_deg)
    probability = float(norm.cdf((size - KINK_LEAST_DEG) / max(2.0, 2.0 * bend.u_deg)))
    if probability < 0.3:
        return []
    return [Finding("kinked", bend.at_mm - 0.8, bend.at_mm + 0.8, Quantity(size, max(bend.u_deg, 1.5)), "deg as projected", probability)]


def _tip_findings(tip: TipLoss | None) -> list[Finding]:
    return [] if tip is None else [Finding("tip-lost", 0.0, 0.0, tip.lost_mm, "mm", tip.probability)]


def _smallest(twist: TwistLoss | None, bend: Bend | None) -> Mapping[str, Mapping[str, float]]:
    limits: dict[str, Mapping[str, float]] = {}
    if twist is not None:
        limits["unwound"] = {"value": round(twist.smallest_deg), "over_mm": 4.0}
    if bend is not None:
        limits["kinked"] = {"value": round(KINK_LEAST_DEG + 1.65 * max(2.0, 2.0 * bend.u_deg)), "over_mm": 1.6}
    return limits
