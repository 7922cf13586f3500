"""Damage as an overview shows it: what is sure, and what is worth a close-up, in sentences.

At a tray's scale most findings of the condition are outlines gone astray; these three are checked against the picture.
"""

from __future__ import annotations

from dataclasses import dataclass

from vision.find import Candidate
from vision.instrument import Measured
from vision.reading import Finding, InstrumentReading
from vision.report.words import finding_text
from vision.together import Looked
from vision.tray.kinks import seen_bend
from vision.tray.short import ends_early
from vision.tray.straightened import surely_straightened, told_apart

CLOSE_PX_PER_MM = 40.0  # below, outlines are too coarse to call a kink or lost twist by themselves
SURE, DOUBT = 0.9, 0.5  # of a finding: damaged from the first on, undecided from the second
TWIST = ("unwound", "reverse-wound", "overwound", "stretched")
TWIST_ENDS_MM = 13.0  # a stretch that begins later lies in the runout, or on something else that was followed
GROSS = ("tip-lost", "kinked", "unwound", "reverse-wound", "overwound", "stretched")  # what an overview can show


@dataclass(frozen=True)
class Shown:
    """Sentences on damage: sure, and in doubt."""

    sure: tuple[str, ...] = ()
    open: tuple[str, ...] = ()


def damage_shown(reading: InstrumentReading, candidate: Candidate, seen: Measured, looked: Looked) -> Shown:
    """What is told of one instrument's damage, by its own findings in a close-up, with the checks of this package in an overview."""
    found = [finding for finding in reading.condition.findings if finding.kind in GROSS]
    if reading.local_px_per_mm >= CLOSE_PX_PER_MM:
        return by_findings(found)
    found = [finding for finding in found if finding.kind in TWIST and not _unseen(finding, seen, reading.local_px_per_mm)]
    sure = [f for f in found if f.probability >= SURE and _checked(f, seen, reading.local_px_per_mm)]
    shown = by_findings([finding for finding in found if finding not in sure], may_be_sure=False)
    told, doubts = list(map(finding_text, sure)), list(shown.open)
    bend, early = seen_bend(candidate, looked.plane.px_per_mm, reading), ends_early(reading, looked)
    if early is not None:
        (told if early[1] else doubts).append(early[0])
    if bend is not None:
        (told if bend[1] else doubts).append(f"bent sharply by {bend[0]:.0f} deg as seen from above")
    return Shown(tuple(told), tuple(doubts))


def by_findings(found: list[Finding], *, may_be_sure: bool = True) -> Shown:
    """Findings by their probabilities alone."""
    sure = [finding for finding in found if may_be_sure and finding.probability >= SURE]
    doubted = [finding for finding in found if finding not in sure and finding.probability >= DOUBT]
    return Shown(tuple(map(finding_text, sure)), tuple(f"perhaps {finding_text(one)}" for one in doubted))


def _unseen(finding: Finding, seen: Measured, px_per_mm: float) -> bool:
    """Whether lost or gained twist was told from crests that lie too close together to be seen one by one."""
    return finding.from_mm > TWIST_ENDS_MM or not told_apart((seen.outline.upper.x_mm, seen.outline.lower.x_mm), px_per_mm)


def _checked(finding: Finding, seen: Measured, px_per_mm: float) -> bool:
    return surely_straightened(finding, (seen.outline.upper.x_mm, seen.outline.lower.x_mm), px_per_mm)
