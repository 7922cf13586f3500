"""What every output says beside its numbers. The tool finds reasons to discard; no word of it clears an instrument."""

from __future__ import annotations

from collections.abc import Mapping

from vision.reading import ConditionReading, InstrumentReading
from vision.report.words import number_text, strength_unit_of

CANNOT_CLEAR = "this photo cannot clear it"
TOGETHER_CANNOT = "these photos cannot clear it"

SHORT = (
    "A photo can give reasons to discard an instrument; it cannot clear one.",
    "Nickel-titanium can part with no visible sign.",
    "Photograph after cleaning and drying and BEFORE sterilising: what has lain on paper is no longer sterile and goes "
    "through the cycle again.",
    "Use forceps and eye protection. The sheet is single-use, or matt-laminated and wiped between batches.",
    "Follow local rules on single use and reprocessing and the instrument's own instructions; "
    "licensed practice decides.",
)
BROACH = "Broach sizes come from a table that nobody here has read."


def limits_line(condition: ConditionReading) -> str:
    """Say what this photo could have shown at best: printed wherever the call is, never smaller than it."""
    alone = condition.photos == 1
    it, them, shows = ("it", "it", "shows") if alone else ("they", "them", "show")
    seen = f"{CANNOT_CLEAR if alone else TOGETHER_CANNOT}: {it} {shows} {100 * condition.seen_share:.0f} % of the way round"
    if not condition.smallest_visible:
        return f"{seen}, and no damage of any kind could have been told in {them}"
    smallest = "; ".join(_smallest(kind, limit) for kind, limit in condition.smallest_visible.items())
    chips = "" if "crest-chipped" in condition.smallest_visible else "; a piece missing from a crest may go unseen at any size"
    return f"{seen}; smallest damage {it} could have shown there: {smallest}{chips}"


def shown_with(instruments: tuple[InstrumentReading, ...]) -> tuple[str, ...]:
    """Return the short cautions, with the one on broach sizes where a broach is in question."""
    broach = any(
        "barbed-broach" in (one.family.value, *(name for name, p in one.family.others.items() if p >= 0.05))
        for one in instruments
    )
    return (*SHORT, BROACH) if broach else SHORT


def _smallest(kind: str, limit: Mapping[str, float]) -> str:
    value = f"{kind} {number_text(limit['value'])} {strength_unit_of(kind)}".rstrip()
    return f"{value} over {number_text(limit['over_mm'])} mm" if "over_mm" in limit else value
