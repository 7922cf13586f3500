"""Stage 8 of 9: everything measured -> Condition. Reasons to discard, with what this photo could and could not have shown.

The tool can find a reason to discard an instrument; nothing here can clear one.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from vision.barb_gaps import BarbGap
from vision.bends import Bend
from vision.call import call_of, own_rules
from vision.chips import Chip
from vision.dirt import Dirt
from vision.hurt_sight import HurtSight
from vision.past_kink import TURN_DEG
from vision.quantity import Quantity
from vision.reading import ConditionReading, Finding
from vision.tint import Spot
from vision.tip_loss import TipLoss
from vision.unwinding import TwistLoss, missing_deg
from vision.witness import (
    FACES_LEVEL,
    Twisted,
    barbs_limit,
    barbs_told,
    bend_limit,
    bend_told,
    chip_seen,
    chip_told,
    loss_limit,
    spot_told,
    tip_told,
    tooth_told,
    twist_seen,
    twist_told,
)

SEEN_SHARE = 0.5  # one photo sees about half of the circumference
WHOLE_CREST = 100.0  # % of its height: no chip is deeper
SHOWN_FROM = 0.3  # chance from which a finding is told at all
KINK_HIDES, KINK_BESIDE_MM = 0.5, 0.5  # chance of a kink from which, and how near, a chip is taken for the kink's own crests
CHIP_SHOWN_FROM = 0.5  # glints make small ones everywhere
MOST_BEND_DEG = TURN_DEG[1]  # a line that turns by more within a millimetre follows no shaft
MOST_REACH = 1.3  # half widths of the metal behind it: an end within them may still be a slanting break
BEND_U_SHARE = 0.1  # of a kink: the line that is followed rounds it off (16 rendered kinks, development seeds)
TIP_LEAST_MM = 0.35  # of 462 crops (80000 to 87123) up to 0.5 mm: 8 of 10 lost tips are told, 1 of 452 others called 'look again'
OVERWOUND_MOST, MOST = 0.45, 0.999
TURNS = {"unwound": "deg of twist lost", "reverse-wound": "deg of twist lost", "overwound": "deg of twist gained"}
LIKELIER = 0.5
USUAL_PART_MM = 14.0  # where the end of the working part was not seen
# Tray resolution: below this scale only gross damage is told.
FINE_PX_PER_MM = 40.0
COARSE_LEAST = {"kinked": 20.0, "tip-lost": 2.0, "unwound": 180.0, "overwound": 180.0, "reverse-wound": 180.0}
Limits = Mapping[str, Mapping[str, float]]


@dataclass(frozen=True)
class Seen:
    """What the examinations of one instrument in one photo came to; None where one could not be made.

    ``hurts``: what the damage network sees; ``barbed``: a broach; ``part_mm``: where the working part ends; ``turn_deg_per_mm``: the
    usual twist of a twisted blank; ``teeth``: of a Hedstroem file, those lower than their neighbours; ``end_reach``: of
    ``vision.tip_loss``, of an end thick enough for it to be plain.
    """

    twist: TwistLoss | None = None
    bend: Bend | None = None
    tip: TipLoss | None = None
    chip: Chip | None = None
    barbs: BarbGap | None = None
    dirt: Dirt | None = None
    spots: tuple[Spot, ...] = ()
    hurts: HurtSight | None = None
    barbed: bool = False
    part_mm: float = USUAL_PART_MM
    turn_deg_per_mm: float | None = None
    teeth: tuple[Chip, ...] = ()
    end_reach: float | None = None


def examine(seen: Seen, *, px_per_mm: float, doubts: tuple[str, ...] = ()) -> ConditionReading:
    """Collect the findings and make the call. ``doubts`` are reasons why the photo itself is unfit to judge."""
    kinks = _bend_findings(seen)
    findings = [*_twist_findings(seen), *kinks, *_tip_findings(seen)]
    findings += [*_chip_findings(seen, kinks), *_barb_findings(seen)]
    limits = _limits(seen)
    if px_per_mm < FINE_PX_PER_MM:
        findings = [one for one in findings if one.strength.value >= COARSE_LEAST.get(one.kind, float("inf"))]
        limits = {kind: _coarsened(kind, limit) for kind, limit in limits.items() if kind in COARSE_LEAST}
    spot = spot_told(seen.spots, seen.hurts, seen.part_mm)
    doubts = (*doubts, *_cut_doubts(seen), *_bend_doubts(seen.bend), *_end_doubts(seen), *_dirt_doubts(seen.dirt), *_spot_doubts(spot))
    call = call_of(findings, unfit=bool(doubts), rules=own_rules())
    return ConditionReading(call, SEEN_SHARE, limits, tuple(findings), doubts)


def _twist_findings(seen: Seen) -> list[Finding]:
    twist = seen.twist
    if twist is None:
        return _seen_twist(seen)
    told = twist_told(twist, seen.hurts, seen.part_mm)
    # A gain of turns and a curve toward the camera look alike in one outline: an oddity at most, unless the faces tell as well.
    chance = min(told.probability, OVERWOUND_MOST if seen.hurts is None and told.kind == "overwound" else MOST)
    if chance < SHOWN_FROM:
        return []
    return [Finding(told.kind, *told.zone_mm, _turned(twist, told, loss_limit(twist, seen.hurts)), TURNS[told.kind], chance)]


def _seen_twist(seen: Seen) -> list[Finding]:
    """What the faces alone tell of a blank whose twist could not be followed, of a large reamer with few crests above all: that a stretch
    has lost or gained turns, but not how many; anything from none to all of its usual ones, of what turns back from one to three times
    as many."""
    if seen.hurts is None or seen.turn_deg_per_mm is None:
        return []
    told = twist_seen(seen.hurts, seen.part_mm)
    if (chance := min(told.probability, MOST)) < SHOWN_FROM:
        return []
    half = 0.5 * seen.turn_deg_per_mm * (told.zone_mm[1] - told.zone_mm[0])
    most = Quantity(4.0 * half, 2.0 * half / math.sqrt(3.0)) if told.kind == "reverse-wound" else Quantity(half, half / math.sqrt(3.0))
    return [Finding(told.kind, *told.zone_mm, most, TURNS[told.kind], chance)]


def _turned(twist: TwistLoss, told: Twisted, least_deg: float) -> Quantity:
    """How much twist is lost or gained where it is told; as much as this photo would have shown, give or take all of it, where the
    outline does not say."""
    back = told.kind == "reverse-wound"
    if told.zone_mm == twist.zone_mm and (not back or twist.turned):
        return Quantity(abs(twist.loss_deg.value), twist.loss_deg.u)
    size = missing_deg(twist, told.zone_mm, back=back)
    sense = -1.0 if told.kind == "overwound" else 1.0
    if size is None or sense * size.value <= 0.0:
        return Quantity(least_deg, least_deg)
    return Quantity(sense * size.value, size.u)


def _bend_findings(seen: Seen) -> list[Finding]:
    bend = seen.bend
    if bend is None or _bend_doubts(bend) or (chance := min(bend_told(bend, seen.hurts), MOST)) < SHOWN_FROM:
        return []
    size = Quantity(abs(bend.sharp_deg), math.hypot(bend.u_deg, BEND_U_SHARE * bend.sharp_deg))
    return [Finding("kinked", max(bend.at_mm - 0.5, 0.0), bend.at_mm + 0.5, size, "deg as projected", chance)]


def _tip_findings(seen: Seen) -> list[Finding]:
    tip = seen.tip
    if tip is not None and tip.smallest_mm is None and seen.hurts is None:
        return []  # a length alone is no reason
    if tip is None or tip.lost_mm.value < TIP_LEAST_MM or (chance := min(tip_told(tip, seen.hurts), MOST)) < SHOWN_FROM:
        return []
    return [Finding("tip-lost", 0.0, 0.0, tip.lost_mm, "mm", chance)]


def _chip_findings(seen: Seen, kinks: list[Finding]) -> list[Finding]:
    """A chip; none beside a likely kink, where crests crowd on one side and part on the other."""
    told = tooth_told(seen.teeth, seen.hurts) or _likelier_chip(seen)
    if told is None:
        return []
    chip, chance = told[0], min(told[1], MOST)
    likely = [one for one in kinks if one.probability >= KINK_HIDES]
    if any(one.from_mm - KINK_BESIDE_MM < chip.to_mm and chip.from_mm < one.to_mm + KINK_BESIDE_MM for one in likely):
        return []
    if chance < CHIP_SHOWN_FROM:
        return []
    return [Finding("crest-chipped", chip.from_mm, chip.to_mm, chip.depth_percent, "% of crest height", chance)]


def _likelier_chip(seen: Seen) -> tuple[Chip, float] | None:
    """The deepest cut in a twisted blank's outline, or where the faces alone show a chip, whichever is likelier; how deep the faces do not
    tell: anything from none to the whole crest."""
    cut = None if seen.chip is None else (seen.chip, chip_told(seen.chip, seen.hurts))
    if seen.hurts is None or seen.turn_deg_per_mm is None:
        return cut
    (low, high), chance = chip_seen(seen.hurts, seen.part_mm)
    if cut is not None and cut[1] >= chance:
        return cut
    half = 0.5 * WHOLE_CREST
    return Chip(low, high, Quantity(half, half / math.sqrt(3.0)), 0.0, math.nan), chance


def _barb_findings(seen: Seen) -> list[Finding]:
    row = barbs_told(seen.barbs, seen.hurts, seen.part_mm) if seen.barbed else None
    if row is None or row.probability < SHOWN_FROM:
        return []
    return [Finding(row.kind, row.from_mm, row.to_mm, row.count, "barbs", min(row.probability, MOST))]


def _cut_doubts(seen: Seen) -> tuple[str, ...]:
    """What looks like twist gone wrong in the faces of a part that by its shape was never twisted: one of the two is mistaken."""
    if seen.hurts is None or seen.turn_deg_per_mm is not None or seen.barbed:
        return ()
    told = twist_seen(seen.hurts, seen.part_mm, FACES_LEVEL)
    if told.probability < LIKELIER:
        return ()
    where = f"from {told.zone_mm[0]:.1f} to {told.zone_mm[1]:.1f} mm"
    return (f"the faces look {told.kind} {where}, though the outline shows no twisted blank: look at it with a loupe",)


def _bend_doubts(bend: Bend | None) -> tuple[str, ...]:
    if bend is None or abs(bend.sharp_deg) <= MOST_BEND_DEG:
        return ()
    return (f"the line that was followed turns by {abs(bend.sharp_deg):.0f} deg at {bend.at_mm:.1f} mm from the tip, as no shaft does "
            "unless it is bent back on itself: look at it, lay it clear of print and shadow and photograph again",)


def _end_doubts(seen: Seen) -> tuple[str, ...]:
    """An end aside of its line: of 1,394 development crops three, a kink that the line had missed, a line gone astray, a lost tip."""
    if seen.end_reach is None or seen.end_reach <= MOST_REACH:
        return ()
    return (f"the end lies {seen.end_reach:.1f} half widths aside of the line that was followed: it is bent there, or a shadow led the "
            "line astray: look at it, and photograph it again in softer light",)


def _dirt_doubts(dirt: Dirt | None) -> tuple[str, ...]:
    if dirt is None:
        return ()
    where = f"something stands out by {1000.0 * dirt.height_mm:.0f} um at {dirt.at_mm:.1f} mm from the tip"
    return (f"{where}: dirt or a burr; clean it and photograph again",)


def _spot_doubts(spot: Spot | None) -> tuple[str, ...]:
    if spot is None:
        return ()
    if spot.area_mm2 is None:
        where = f"something seems to stick to the metal at {spot.at_mm:.1f} mm from the tip"
        return (f"{where}: clean it and photograph again",)
    where = f"a brownish spot of {spot.area_mm2:.3f} mm2 lies at {spot.at_mm:.1f} mm from the tip"
    return (f"{where}: dirt, a stain or corrosion; clean it and photograph again",)


def _limits(seen: Seen) -> dict[str, Mapping[str, float]]:
    """The smallest damage of each kind that this photo would have shown about nine times in ten, where it lies in the outline; a kind of
    which not even the largest would have been told so is left out, and chips, of which even deep ones are found two times in three."""
    limits: dict[str, Mapping[str, float]] = {}
    if seen.twist is not None:
        limits["unwound"] = {"value": round(loss_limit(seen.twist, seen.hurts)), "over_mm": round(seen.twist.over_mm, 1)}
    if seen.bend is not None and not _bend_doubts(seen.bend):
        limits["kinked"] = {"value": round(bend_limit(seen.bend, seen.hurts)), "over_mm": 1.0}
    if seen.tip is not None and seen.tip.smallest_mm is not None and (seen.hurts is not None or not seen.barbed):
        limits["tip-lost"] = {"value": round(seen.tip.smallest_mm, 1)}
    if seen.chip is not None and seen.hurts is None and seen.chip.smallest_percent < WHOLE_CREST:
        limits["crest-chipped"] = {"value": round(seen.chip.smallest_percent)}
    if seen.barbs is not None:
        limits["barbs-folded"] = {"value": round(barbs_limit(seen.barbs, seen.hurts), 1)}
    return limits


def _coarsened(kind: str, limit: Mapping[str, float]) -> Mapping[str, float]:
    return {**limit, "value": max(limit["value"], COARSE_LEAST[kind])}
