"""Stage 8h: what the outline showed, what the damage network sees -> one chance. Two witnesses that err for different reasons.

The log odds of both are added; a kind's level is where the chance is one half. Weights and levels were set on rendered crops
(``python -m tests.study.damage``): 824 of seeds 2600 to 3459, 1,009 of 27000 to 28719 and 2,489 of 27000 to 28113, 80000 to 80799 and 82000
to 82099 with earlier networks; of broken ends, chips and dirt once more on 825 of seeds 83500 to 84130 with the present one; what the faces
tell alone, and the limit of lost twist, on those and on 85000 to 87123. The level of chips was raised on 2,387
whole ones and 41 with a chip from 30 % (85000 to 89310): false chips on 10 instead of 17, found 23 instead of 24. That kinds of twist, and
of barbs, which look alike share what the network sees came with 91000 to 93599: of 1,413 whole broaches 15 told instead of 14, of 92 with
three and more barbs folded 85 instead of 83.
Fresh figures stand in README.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import expit, logit

from vision.barb_gaps import BarbGap
from vision.bends import Bend
from vision.chips import Chip
from vision.hurt_sight import HurtSight
from vision.quantity import Quantity
from vision.tint import Spot
from vision.tip_loss import TipLoss
from vision.unwinding import TwistLoss

LEAST, LEAST_TWIST = 0.002, 0.02  # no witness is surer than that; an outline may be led astray by what lies along an edge
BESIDE_MM, TIP_MM = 1.5, (-0.5, 0.6)  # of a zone of twist; a broken end
# Of the outline. At 1.2 instead of 1.7 one more of 726 whole twisted blanks has a finding, and of 266 that turn back 256 instead of 251
# (91000 to 93519, with lines that lie well).
TWIST_WEIGHT, TWIST_LEVEL = 1.0, 1.2
# Of the network against an outline that shows no change, as one in shadow does: of 3,108 crops without a change of twist (80000 to 87123)
# it calls one more than both together, of 488 with one 7 more.
FACES_LEVEL = 2.6
TURNED, TURNED_FROM_MM, ELSEWHERE = ("unwound", "reverse-wound", "overwound"), 0.2, 1.0
# Log odds: a curve toward the camera looks overwound too. Of 3,169 whole crops 4 less have a finding by it, of 353 overwound ones 5 less
# (85000 to 93599).
OVERWOUND_DOUBT = 0.4
# Of the outline's own, on 91000 to 91330: at the limit (.8 to 1.25) 41 of 46 unwound were told, at half 43 of 91, at twice 55 of 55.
TWIST_SHOWN = 1.85
# Log odds: our own choice. Edges on the faces are a third witness where they run against the whole blank's, of at most so much: of 1,447
# whole crops none is called more by it, of 173 that turn back one is found more (85000 to 89310).
HAND_DECIDES, HAND_MOST = 2.0, 3.0
LEAST_SEEN = 0.3  # of a stretch that turns back, for the network to place it: both ends within 0.3 mm twice in three, 28 of 42
TIP_LEVEL = 0.4
BEND_WEIGHT, BEND_LEVEL = 1.0, 1.2
LEAST_CHIP, CHIP_BESIDE_MM, CHIP_WEIGHT, CHIP_LEVEL = 0.01, 0.3, 0.8, 1.85
CHIP_MOST = 0.75  # where only the outline has seen it, which glints cut as well: a reason to look with a loupe
CHIP_DOUBT = 1.8  # an outline that leads straight over the deepest cut there is says no more than that against it
# Of the network where an outline shows no cut: on 2,564 crops of whole twisted blanks it calls 6 more, of 75 with a chip from 30 % 5 more,
# each in its place. A Hedstroem's are not told so: 2 more of 1,031, none of 25.
CHIP_FACES_LEVEL = 3.6
CHIP_FROM_MM, CHIP_END_MM = 0.6, 1.6  # from the tip, and before the end of the working part, where crests run out
# Of the spreads by which a Hedstroem's tooth is lower, at most so many. On the half that did not set the weight, 161 whole ones and 51
# with a chip of 30 % and more (30000 to 34000), at a level of 1.6: 2 false, 25 found; by the outline's alert alone 0 and 2.
TOOTH_WEIGHT, TOOTH_MOST, TOOTH_LEVEL = 0.6, 8.0, 2.0
BARBS_LEVEL, BARBS_STEEP = 2.9, 2.0
BARBS_FROM_MM = 0.3
BARB_APART_MM = 0.33  # 30 to 44 barbs on 10 to 12 mm: common practice, no source
BARBS_SHOWN = 3.0  # in the outline, found 47 times in 52 (91000 on)
BEND_SHOWN = 1.8  # of what the outline alone would have told: at the limit 33 of 34 kinks were told, at half 33 of 94 (91000 on)
# Of spots: areas on 138 crops (``vision.tint``); the network's say on 32 dirty ones, 22 of them facing, and 278 whole ones.
SPOT_MM2, SPOT_ALONE, SPOT_BESIDE_MM = 0.004, 2.5, 0.7
SPOT_CONTRADICTED, SPOT_SEEN = 0.02, 0.2
# Of what has no colour of its own, on the working part and behind it (a stop's rim, marks on the shank): 1 of 423 whole ones passes.
CERTAIN, CERTAIN_BEHIND = 0.85, 0.98
DEBRIS = "debris"
ROW = ("barbs-folded", "barbs-missing")


@dataclass(frozen=True)
class Twisted:
    """A loss or gain of turns as both witnesses see it: its kind, place and chance."""

    kind: str
    zone_mm: tuple[float, float]
    probability: float


@dataclass(frozen=True)
class BarbRow:
    """A row of barbs folded down or gone: which of the two, where, how many about, and the chance of it."""

    kind: str
    from_mm: float
    to_mm: float
    count: Quantity
    probability: float


def odds(chance: float, least: float = LEAST) -> float:
    """Log odds, kept within ``least`` of both ends."""
    return float(logit(np.clip(chance, least, 1.0 - least)))


def twist_told(twist: TwistLoss, hurts: HurtSight | None, until_mm: float) -> Twisted:
    """Name a change of twist, and where it is. What turns back is placed by the network, which sees its faces. An outline is surer that
    twist is lost than where: what the network sees elsewhere, up to ``until_mm``, counts a little less. Where the network is certain it
    needs no outline."""
    if hurts is None:
        return Twisted(_sense(twist, dict.fromkeys(TURNED, 0.0)), twist.zone_mm, twist.probability)
    low, high = twist.zone_mm[0] - BESIDE_MM, twist.zone_mm[1] + BESIDE_MM
    there = {kind: hurts.most(kind, low, high) for kind in TURNED}
    against = min(-(twist.same_hand or 0.0), HAND_MOST) if _runs_against(twist) else 0.0
    kind, zone, seen = _sense(twist, there), twist.zone_mm, odds(hurts.most_of(TURNED, low, high)) + against
    loudest = max(TURNED, key=lambda one: hurts.most(one, TURNED_FROM_MM, until_mm))
    elsewhere = odds(hurts.most_of(TURNED, TURNED_FROM_MM, until_mm)) - ELSEWHERE
    if elsewhere > seen:
        kind, zone, seen = loudest, hurts.stretch(loudest, TURNED_FROM_MM, until_mm), elsewhere
    elif kind == "reverse-wound" and there[kind] > LEAST_SEEN:
        zone = hurts.stretch(kind, low, high)
    both = float(expit(TWIST_WEIGHT * odds(twist.probability, LEAST_TWIST) + seen - TWIST_LEVEL))
    faces, told = twist_seen(hurts, until_mm, level=FACES_LEVEL), _weighed(Twisted(kind, zone, both))
    return faces if faces.probability > told.probability else told


def twist_seen(hurts: HurtSight, until_mm: float, level: float = TWIST_LEVEL) -> Twisted:
    """The likeliest change of twist as the network alone sees it, where an outline shows too few crests to be followed; at FACES_LEVEL
    where it shows that there is none."""
    kind = max(TURNED, key=lambda one: hurts.most(one, TURNED_FROM_MM, until_mm))
    seen = odds(hurts.most_of(TURNED, TURNED_FROM_MM, until_mm))
    return _weighed(Twisted(kind, hurts.stretch(kind, TURNED_FROM_MM, until_mm), float(expit(seen - level))))


def _weighed(told: Twisted) -> Twisted:
    """The same, what looks overwound a little less likely."""
    if told.kind != "overwound":
        return told
    return replace(told, probability=float(expit(odds(told.probability) - OVERWOUND_DOUBT)))


def loss_limit(twist: TwistLoss, hurts: HurtSight | None) -> float:
    """Degrees of twist lost that would have been told."""
    return twist.smallest_deg * (1.0 if hurts is None else TWIST_SHOWN)


def _runs_against(twist: TwistLoss) -> bool:
    """Whether the edges on the faces run plainly against the whole blank's where its outline changed."""
    return twist.same_hand is not None and not twist.turned and twist.same_hand < -HAND_DECIDES


def _sense(twist: TwistLoss, there: Mapping[str, float]) -> str:
    """An outline turns alike in either sense: a stretch that turns back fast looks unwound or overwound in it, and only the faces tell
    them apart: their edges, where they run plainly against the whole blank's (along it says little: so does what lies beside the
    stretch); the network, which sees them too; and where outline and network see the opposite sense, it turns back."""
    lost = twist.loss_deg.value >= 0.0
    less, reverse, more = (there[kind] for kind in TURNED)
    if _runs_against(twist) or twist.turned or reverse > max(less, 0.0 if lost else more) or (lost and more > less):
        return "reverse-wound"
    return "unwound" if lost else "overwound"


def tip_told(tip: TipLoss, hurts: HurtSight | None) -> float:
    """Chance that a piece of the tip is missing."""
    if hurts is None:
        return max(tip.probability, tip.least)
    return max(float(expit(odds(tip.probability) + odds(hurts.most("tip-lost", *TIP_MM)) - TIP_LEVEL)), tip.least)


def bend_told(bend: Bend, hurts: HurtSight | None) -> float:
    """Chance that the sharpest bend is a kink."""
    if hurts is None:
        return bend.probability
    seen = hurts.most("kinked", bend.at_mm - 0.7, bend.at_mm + 0.7)
    return float(expit(odds(bend.probability) + BEND_WEIGHT * odds(seen) - BEND_LEVEL))


def bend_limit(bend: Bend, hurts: HurtSight | None) -> float:
    """Degrees, as projected, of a kink that would have been told."""
    return bend.smallest_deg * (1.0 if hurts is None else BEND_SHOWN)


def tooth_told(teeth: Sequence[Chip], hurts: HurtSight | None) -> tuple[Chip, float] | None:
    """Which of a Hedstroem's lower teeth is likeliest chipped, and the chance of that; None without both witnesses."""
    if hurts is None or not teeth:
        return None

    def score(tooth: Chip) -> float:
        seen = hurts.most("crest-chipped", tooth.from_mm - CHIP_BESIDE_MM, tooth.to_mm + CHIP_BESIDE_MM)
        return TOOTH_WEIGHT * min(tooth.spreads, TOOTH_MOST) + odds(seen, LEAST_CHIP)

    likeliest = max(teeth, key=score)
    return likeliest, float(expit(score(likeliest) - TOOTH_LEVEL))


def chip_told(chip: Chip, hurts: HurtSight | None) -> float:
    """Chance that a piece of a crest is missing."""
    if hurts is None:
        return chip.probability
    seen = odds(hurts.most("crest-chipped", chip.from_mm - CHIP_BESIDE_MM, chip.to_mm + CHIP_BESIDE_MM), LEAST_CHIP)
    chance = float(expit(max(CHIP_WEIGHT * chip.odds, -CHIP_DOUBT) + seen - CHIP_LEVEL))
    return chance if seen > 0.0 else min(chance, CHIP_MOST)


def chip_seen(hurts: HurtSight, until_mm: float) -> tuple[tuple[float, float], float]:
    """Where the network by itself sees a chip of a twisted blank likeliest, and the chance of it; how deep it does not tell."""
    place = CHIP_FROM_MM, until_mm - CHIP_END_MM
    seen = odds(hurts.most("crest-chipped", *place))
    return hurts.stretch("crest-chipped", *place), float(expit(seen - CHIP_FACES_LEVEL))


def barbs_told(gap: BarbGap | None, hurts: HurtSight | None, until_mm: float) -> BarbRow | None:
    """The likeliest row of hurt barbs: by the network, which sees the face as well; by gaps in the outline where it was not asked."""
    if hurts is None:
        return None if gap is None else BarbRow(ROW[0], gap.from_mm, gap.to_mm, gap.missing, gap.probability)
    kind = max(ROW, key=lambda one: hurts.most(one, BARBS_FROM_MM, until_mm))
    low, high = hurts.stretch(kind, BARBS_FROM_MM, until_mm)
    count = max((high - low) / BARB_APART_MM, 1.0)
    chance = float(expit(BARBS_STEEP * (odds(hurts.most_of(ROW, BARBS_FROM_MM, until_mm)) - BARBS_LEVEL)))
    return BarbRow(kind, low, high, Quantity(count, max(1.0, 0.4 * count)), chance)


def barbs_limit(gap: BarbGap, hurts: HurtSight | None) -> float:
    """How many hurt barbs in the outline would have been told."""
    return gap.smallest if hurts is None else BARBS_SHOWN


def spot_told(spots: tuple[Spot, ...], hurts: HurtSight | None, until_mm: float) -> Spot | None:
    """The spot that is dirt, a stain or corrosion: the largest by far, unless the network sees nothing at all there; a smaller one that it
    sees; or, without any colour of its own, what it is certain of. None where there is none."""
    areas = [spot.area_mm2 or 0.0 for spot in spots]
    alone = bool(areas) and areas[0] >= max(SPOT_MM2, SPOT_ALONE * max(areas[1:], default=0.0))
    if hurts is None:
        return spots[0] if alone else None
    seen = [hurts.most(DEBRIS, spot.at_mm - SPOT_BESIDE_MM, spot.at_mm + SPOT_BESIDE_MM) for spot in spots]
    if alone and seen[0] >= SPOT_CONTRADICTED:
        return spots[0]
    if spots and max(seen) >= SPOT_SEEN:
        return spots[int(np.argmax(seen))]
    for low, high, certain in ((TURNED_FROM_MM, until_mm, CERTAIN), (until_mm, np.inf, CERTAIN_BEHIND)):
        if hurts.most(DEBRIS, low, high) >= certain:
            return Spot(float(np.mean(hurts.stretch(DEBRIS, low, high))), None)
    return None
