"""One reading -> what a person sorting a tray is told: its group, or why it stands apart."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from vision.reading import Choice, InstrumentReading
from vision.report.words import FAMILY_WORDS
from vision.tray.from_above import Shown

Kind = Literal["named", "damaged", "undecided"]
ORDER = ("k-file", "reamer", "hedstroem-file", "barbed-broach", "spreader", "plugger", "paste-carrier", "other")
SIZED = ORDER[:6]  # put away by size
NONE_SHOWN = Shown()


@dataclass(frozen=True)
class Told:
    """What one instrument of a tray is told to be.

    ``number`` as in the picture; ``photo`` which picture; ``why``: sentences, damage first; ``length_mm``, ``length_u`` None
    where not measured; ``place_mm`` its middle on the sheet and ``axis_deg`` its direction there, None without a sheet;
    ``lane`` the number of the lane or slot that it lies in. ``family_shares``, ``size_shares``: how likely each name is by itself;
    ``in_doubt``: more is open than the name. ``certain``: its damage, if any, is so sure that a check may call it a fault.
    ``unexamined``: why damage could not be looked for, where that is out of the ordinary; what no overview shows stands in the printed
    limits.
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
    family_shares: Mapping[str, float] = field(default_factory=dict)
    size_shares: Mapping[str, float] = field(default_factory=dict)
    in_doubt: bool = False
    certain: bool = True
    unexamined: str | None = None

    @property
    def name(self) -> str:
        """Family and size in words, with what is open said."""
        if self.family is None and self.size is None:
            return "not decided"
        family = FAMILY_WORDS.get(self.family, "not decided")
        if self.family is not None and self.family not in SIZED:
            return family
        if self.family is None:
            return f"family not decided, size {self.size}"
        return f"{family} {self.size}" if self.size is not None else f"{family}, size not decided"


def tell(
    reading: InstrumentReading,
    photo: str,
    *,
    place_mm: tuple[float, float] | None = None,
    axis_deg: float | None = None,
    lane: int | None = None,
    cut: bool = False,
    unread: bool = False,
    damage: Shown = NONE_SHOWN,
) -> Told:
    """Judge one reading for sorting. ``cut``: the frame cuts it, so that it was read as far as it is seen.

    ``unread``: it is there, but its outlines could not be followed.
    """
    family = str(reading.family.value) if reading.family.value is not None else None
    size = int(reading.size.value) if reading.size.value is not None else None
    doubts = [*(reading.notes if unread else ["cut by the frame, read as far as it is seen"] if cut else []), *damage.open]
    open_ = [*doubts, *([] if unread else _open(reading, family, size))]
    kind: Kind = "damaged" if damage.sure else "undecided" if open_ else "named"
    length = reading.length_mm
    return Told(
        number=reading.id,
        photo=photo,
        kind=kind,
        family=family,
        size=size,
        why=(*damage.sure, *open_),
        length_mm=length.value if length else None,
        length_u=length.u if length else None,
        place_mm=place_mm,
        axis_deg=axis_deg,
        lane=lane,
        px_per_mm=reading.local_px_per_mm,
        colour=reading.handle.colour,
        family_shares=_shares(reading.family),
        size_shares=_shares(reading.size),
        in_doubt=bool(doubts),
        certain=damage.certain or not damage.sure,
        unexamined=_unexamined(reading, damage.length_seen),
    )


def _unexamined(reading: InstrumentReading, length_seen: bool) -> str | None:
    """Why nothing can be said of a lost tip; None where both ends were seen."""
    if reading.tip_px is None:
        return "its tip was not seen, so nothing is known of what lies beyond"
    return None if length_seen else "its length was not measured, so a lost tip would not show"


def _shares(choice: Choice) -> dict[str, float]:
    """Every name with its share, the one that was decided on too."""
    named = {} if choice.value is None else {str(choice.value): choice.probability}
    return dict(choice.others) | named


def _open(reading: InstrumentReading, family: str | None, size: int | None) -> list[str]:
    """What is open about its name, a sentence each."""
    reasons = []
    if family is None:
        reasons.append(f"family not decided ({_runners(reading.family.others)})")
    if size is None and (family is None or family in SIZED):
        reasons.append(f"size not decided ({_runners(reading.size.others)})")
    return reasons


def _runners(others: object) -> str:
    shares = dict(others) if isinstance(others, dict) else {}
    best = sorted(shares.items(), key=lambda item: -item[1])[:2]
    named = [FAMILY_WORDS.get(name, f"size {name}," if name.isdigit() else name) for name, _ in best]
    return " or ".join(f"{name} {100 * share:.0f} %" for name, (_, share) in zip(named, best, strict=True)) or "nothing speaks for any"
