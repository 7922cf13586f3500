"""Damage as an overview shows it: what is sure, and what is worth a close-up, in sentences.

At a tray's scale most findings of the condition are outlines gone astray; these three are checked against the picture.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from vision.find import Candidate
from vision.flutes import seen_flutes
from vision.instrument import Measured
from vision.reading import Finding, InstrumentReading
from vision.report.words import finding_text
from vision.together import Looked
from vision.tray.agreed import agreed_length, agreed_part
from vision.tray.kinks import bent_beyond_doubt, seen_bend
from vision.tray.short import ends_early, gone_beyond_doubt, looked_for
from vision.tray.straightened import CERTAIN as BARE_CERTAIN
from vision.tray.straightened import DOUBT as BARE_DOUBT
from vision.tray.straightened import LEAST_REPEATS, straightened
from vision.tray.straightened import SURE as BARE_SURE

CLOSE_PX_PER_MM = 40.0  # below, outlines are too coarse to call a kink or lost twist by themselves
SURE, DOUBT = 0.9, 0.5  # of a finding: damaged from the first on, undecided from the second
TWISTED = ("k-file", "reamer")
GROSS = ("tip-lost", "kinked", "unwound", "reverse-wound", "overwound", "stretched")  # what a close-up on a tray may discard for
LOST_TWIST = ("unwound", "reverse-wound")


@dataclass(frozen=True)
class Shown:
    """Sentences on damage: sure, and in doubt. ``certain``: one is so sure that a check may call it a fault.

    ``length_seen``: a lost tip was looked for, by a length that was measured or agreed on.
    """

    sure: tuple[str, ...] = ()
    open: tuple[str, ...] = ()
    certain: bool = False
    length_seen: bool = False


def damage_shown(reading: InstrumentReading, candidate: Candidate, seen: Measured, looked: Looked) -> Shown:
    """What is told of one instrument's damage, by its own findings in a close-up, with the checks of this package in an overview."""
    found = [finding for finding in reading.condition.findings if finding.kind in GROSS]
    if reading.local_px_per_mm >= CLOSE_PX_PER_MM:
        return replace(by_findings(found), length_seen=reading.length_mm is not None)
    bent, bare = _bent(reading, candidate, looked), _bare(reading, seen, found)
    length = agreed_length(reading, candidate, seen, looked.plane.px_per_mm)
    said = [one for one in (ends_early(reading, looked, length, agreed_part(reading, seen)), bent, bare) if one is not None]
    certain = (gone_beyond_doubt(reading, looked) or bent_beyond_doubt(candidate, looked.plane.px_per_mm, reading)
               or _bare_beyond_doubt(reading, seen, found))  # fmt: skip
    sure, doubts = (tuple(words for words, plain in said if plain == which) for which in (True, False))
    return Shown(sure, doubts, bool(sure) and certain, looked_for(reading, length))


def _bent(reading: InstrumentReading, candidate: Candidate, looked: Looked) -> tuple[str, bool] | None:
    bend = seen_bend(candidate, looked.plane.px_per_mm, reading)
    return None if bend is None else (f"bent by {bend[0]:.0f} deg within a short stretch, as seen from above", bend[1])


def _bare(reading: InstrumentReading, seen: Measured, found: list[Finding]) -> tuple[str, bool] | None:
    """A stretch without flutes on what is, or may be, twisted all along."""
    if not _twisted(reading):
        return None
    flutes = seen_flutes(seen.edges, seen.profile, seen.scale_at.value)
    if flutes is None or flutes.repeats < LEAST_REPEATS:  # then lost crests are all there is: a reason to look closer
        lost = [one for one in found if one.kind in LOST_TWIST and one.probability >= SURE]
        return (f"perhaps {finding_text(lost[0])}", False) if lost else None
    bare, at_mm = straightened(flutes, found)
    told = f"straightened: no flutes about {at_mm:.0f} mm from the tip, though they show elsewhere"
    return (told if bare >= BARE_SURE else f"perhaps {told}", bare >= BARE_SURE) if bare >= BARE_DOUBT else None


def _bare_beyond_doubt(reading: InstrumentReading, seen: Measured, found: list[Finding]) -> bool:
    flutes = seen_flutes(seen.edges, seen.profile, seen.scale_at.value) if _twisted(reading) else None
    return flutes is not None and straightened(flutes, found)[0] >= BARE_CERTAIN


def _twisted(reading: InstrumentReading) -> bool:
    """Whether it is, or likelier is than not, one whose whole working part is twisted."""
    if reading.family.value is None:
        return sum(reading.family.others.get(name, 0.0) for name in TWISTED) >= 0.5
    return reading.family.value in TWISTED


def by_findings(found: list[Finding]) -> Shown:
    """Findings by their probabilities alone."""
    sure = [finding for finding in found if finding.probability >= SURE]
    doubted = [finding for finding in found if DOUBT <= finding.probability < SURE]
    return Shown(tuple(map(finding_text, sure)), tuple(f"perhaps {finding_text(one)}" for one in doubted), bool(sure))
