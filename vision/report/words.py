"""How the fixed words and the numbers of a reading are shown to people (English)."""

from __future__ import annotations

from vision.quantity import Quantity, decimals, rounded
from vision.reading import Choice, Finding, InstrumentReading

FAMILY_WORDS = {
    "k-file": "K-file",
    "reamer": "reamer",
    "hedstroem-file": "Hedstroem file",
    "barbed-broach": "barbed broach",
    "spreader": "spreader",
    "plugger": "plugger",
    "paste-carrier": "paste carrier",
    "other": "other",
    None: "not decided",
}
STRENGTH_UNITS = {
    "unwound": "deg of twist lost",
    "overwound": "deg of twist gained",
    "reverse-wound": "deg of twist reversed",
    "stretched": "% of pitch",
    "kinked": "deg as projected",
    "tip-lost": "mm",
    "crest-chipped": "% of crest height",
    "barbs-folded": "barbs",
    "barbs-missing": "barbs",
    "worn": "µm of crest radius",
    "stained": "mm²",
    "corroded": "mm²",
}
# What is measured, in the order in which it is shown: field, name, unit.
MEASURED = (
    ("d0_mm", "D0", "mm"),
    ("d16_mm", "D16", "mm"),
    ("taper_mm_per_mm", "taper", "mm/mm"),
    ("length_mm", "length", "mm"),
    ("working_part_mm", "working part", "mm"),
    ("shank_width_mm", "shank", "mm"),
    ("tip_width_mm", "tip width", "mm"),
    ("stop_from_tip_mm", "stop from tip", "mm"),
    ("pitch_mm", "pitch", "mm"),
    ("flutes_per_mm", "flutes", "per mm"),
    ("helix_angle_deg", "helix angle", "deg"),
    ("height_mm", "height", "mm"),
)
CONFORMITY_OF = {"d0_mm": "d0", "d16_mm": "d16", "length_mm": "length"}


def quantity_texts(quantity: Quantity) -> tuple[str, str]:
    """Return value and u as text, rounded by the one rule and with the same number of decimals."""
    value, u = rounded(quantity)
    if u == 0.0:
        return f"{value:.6g}", "0"
    places = max(decimals(quantity.u), 0)
    return f"{value:.{places}f}", f"{u:.{places}f}"


def number_text(number: float) -> str:
    """Return a plain number with at most three significant digits."""
    return f"{number:.3g}"


def percent(probability: float) -> str:
    """Return a probability in whole percent; never '100 %' and never '0 %' unless it is exactly that."""
    whole = round(100 * probability)
    if whole == 100 and probability < 1.0:
        return "> 99 %"
    return "< 1 %" if whole == 0 and probability > 0.0 else f"{whole} %"


def strength_unit_of(kind: str) -> str:
    """Return the unit that belongs to a kind of finding; empty for a kind this version does not know."""
    return STRENGTH_UNITS.get(kind, "")


def family_text(value: str | int | None) -> str:
    """Return the family in words."""
    return FAMILY_WORDS.get(value if isinstance(value, str) else None, str(value))


def size_text(value: str | int | None) -> str:
    """Return the ISO size with its two digits, as it stands on the handle ('06')."""
    return "not decided" if value is None else f"{int(value):02d}"


def name_text(instrument: InstrumentReading) -> str:
    """Return what the instrument is, in a few words: 'K-file, size 25'."""
    family = family_text(instrument.family.value) if instrument.family.value else "family not decided"
    return f"{family}, size {size_text(instrument.size.value)}"


def others_text(choice: Choice, *, families: bool) -> str:
    """Return the runners-up with their probabilities, the likeliest first."""
    ranked = sorted(choice.others.items(), key=lambda item: -item[1])
    return ", ".join(f"{family_text(name) if families else name}: {percent(p)}" for name, p in ranked)


def finding_text(finding: Finding) -> str:
    """Return a finding in one line: 'unwound: 205 (u 15) deg of twist lost, 2.1 to 4.6 mm from the tip'."""
    value, u = quantity_texts(finding.strength)
    return f"{finding.kind}: {value} (u {u}) {finding.strength_unit}, {place_text(finding)}"


def place_text(finding: Finding) -> str:
    """Return where a finding lies: 'at 2.1 mm' or '2.1 to 4.6 mm', counted from the tip."""
    if finding.to_mm - finding.from_mm < 0.05:
        return f"at {finding.from_mm:.1f} mm from the tip"
    return f"{finding.from_mm:.1f} to {finding.to_mm:.1f} mm from the tip"


def plain(text: str) -> str:
    """Return text with control characters made visible, so that a file's name cannot write over the report."""
    return "".join(c if c.isprintable() else f"\\x{ord(c):02x}" for c in text)
