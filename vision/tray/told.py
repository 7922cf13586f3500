"""One reading -> what a person sorting a tray is told: its group, or why it stands apart."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from vision.reading import Finding, InstrumentReading
from vision.report.words import FAMILY_WORDS, finding_text
from vision.tray.kinks import SURE_DEG

Kind = Literal["named", "damaged", "undecided"]
ORDER = ("k-file", "reamer", "hedstroem-file", "barbed-broach", "spreader", "plugger", "paste-carrier", "other")
SIZED = ORDER[:6]  # put away by size
GROSS = ("tip-lost", "kinked", "unwound", "reverse-wound", "overwound", "stretched")  # what an overview can show
SURE, DOUBT = 0.9, 0.5  # of a finding: damaged from the first on, undecided from the second
CLOSE_PX_PER_MM = 40.0  # below, outlines are too coarse to call a kink or lost twist by: the mask's own bend counts


@dataclass(frozen=True)
class Told:
    """What one instrument of a tray is told to be.

    ``number`` as in the picture; ``photo`` which picture; ``why``: sentences, damage first; ``length_mm``, ``length_u`` None
    where not measured; ``place_mm`` its middle on the sheet and ``axis_deg`` its direction there, None without a sheet;
    ``lane`` the number of the lane or slot that it lies in.
    """

    number: int
    photo: str
    kind: Kind
    family: str | None
    size: int | None
    why: tuple[str, ...]
    length_mm: float | None
    length_u: float | None
    place_mm: tuple[float, float] | None
    axis_deg: float | None
    lane: int | None
    px_per_mm: float
    colour: str | None

    @property
    def name(self) -> str:
        """Family and size in words, with what is open said."""
        if self.family is None and self.size is None:
            return "not decided"
        family = FAMILY_WORDS.get(self.family, "not decided")
        if self.family is not None and self.family not in SIZED:
            return family
        return f"{family} {self.size}" if self.size is not None else f"{family}, size not decided"


def tell(
    reading: InstrumentReading,
    photo: str,
    *,
    place_mm: tuple[float, float] | None = None,
    axis_deg: float | None = None,
    lane: int | None = None,
    cut: bool = False,
    kink: float | None = None,
) -> Told:
    """Judge one reading for sorting. ``cut``: the frame cuts it, so that it was read as far as it is seen.

    ``kink``: angle of a bend that the overview itself shows, deg.
    """
    family = str(reading.family.value) if reading.family.value is not None else None
    size = int(reading.size.value) if reading.size.value is not None else None
    coarse = reading.local_px_per_mm < CLOSE_PX_PER_MM
    gross = [f for f in reading.condition.findings if f.kind in GROSS and not (coarse and f.kind == "kinked")]
    certain = [f for f in gross if f.probability >= SURE and (not coarse or f.kind == "tip-lost")]
    open_ = _open(reading, family, size, [f for f in gross if f not in certain], cut)
    sure = [finding_text(f) for f in certain]
    if kink is not None:
        (sure if kink >= SURE_DEG else open_).append(f"bent sharply by {kink:.0f} deg as seen from above")
    kind: Kind = "damaged" if sure else "undecided" if open_ else "named"
    length = reading.length_mm
    return Told(
        number=reading.id,
        photo=photo,
        kind=kind,
        family=family,
        size=size,
        why=(*sure, *open_),
        length_mm=length.value if length else None,
        length_u=length.u if length else None,
        place_mm=place_mm,
        axis_deg=axis_deg,
        lane=lane,
        px_per_mm=reading.local_px_per_mm,
        colour=reading.handle.colour,
    )


def _open(reading: InstrumentReading, family: str | None, size: int | None, gross: list[Finding], cut: bool) -> list[str]:
    """What keeps an instrument from being put away unseen, a sentence each."""
    reasons = []
    if cut:
        reasons.append("cut by the frame, read as far as it is seen")
    if family is None:
        reasons.append(f"family not decided ({_runners(reading.family.others)})")
    if size is None and (family is None or family in SIZED):
        reasons.append(f"size not decided ({_runners(reading.size.others)})")
    reasons += [f"perhaps {finding_text(f)}" for f in gross if f.probability >= DOUBT]
    return reasons


def _runners(others: object) -> str:
    shares = dict(others) if isinstance(others, dict) else {}
    best = sorted(shares.items(), key=lambda item: -item[1])[:2]
    return " or ".join(f"{FAMILY_WORDS.get(name, name)} {100 * share:.0f} %" for name, share in best) or "nothing speaks for any"
