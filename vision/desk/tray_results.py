"""Kept readings of tray photos -> the sorted tray, and the tray against a list. Nothing is measured again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from vision.desk.settings import Desk
from vision.records.database import Records
from vision.records.faults import RecordsError
from vision.records.readings import KeptReading, reading
from vision.tray.check import Checked, check_tray
from vision.tray.groups import Sorted, sort_tray
from vision.tray.kit import Kit
from vision.tray.looked import TrayPhoto
from vision.tray.merged import Seen, filled_in, merge
from vision.tray.told_json import tray_from

MOST = 60


@dataclass(frozen=True)
class Tray:
    """Photos of a tray as they were read."""

    numbers: tuple[int, ...]
    kept: tuple[KeptReading, ...]
    photos: tuple[TrayPhoto, ...]

    @property
    def partial(self) -> str | None:
        """Why what was read is not everything, None when it is."""
        failed = [one for one in self.photos if one.reading.error is not None]
        return "; ".join(f"{one.file} could not be examined: {one.retake}" for one in failed) or None

    @property
    def name(self) -> str:
        """The numbers as they stand in an address."""
        return "-".join(str(number) for number in self.numbers)

    @property
    def retakes(self) -> list[TrayPhoto]:
        """Photos that were read but should be taken again."""
        return [one for one in self.photos if one.retake is not None and one.reading.error is None]


def tray_of(desk: Desk, records: Records, numbers: str) -> Tray:
    """Return the tray of readings given as '12-13'. Raises RecordsError."""
    parts = numbers.split("-")
    if len(parts) > MOST or not all(part.isascii() and part.isdigit() and 0 < len(part) < 16 for part in parts):
        raise RecordsError("unknown", desk.say("problem.not_found"))
    wanted = tuple(dict.fromkeys(int(part) for part in parts))
    kept = tuple(reading(records, number) for number in wanted)
    without = [str(one.id) for one in kept if not isinstance(one.settings.get("tray"), dict)]
    if without:
        raise RecordsError("unknown", desk.say("trays.not_a_tray", number=", ".join(without)))
    names = _names(kept)
    photos = tuple(
        tray_from(one.settings["tray"], name, None if one.error_kind is None else (one.error_kind, one.error_message or ""))
        for one, name in zip(kept, names, strict=True)
    )
    return Tray(wanted, kept, photos)


def merged(tray: Tray, *, relaid: bool) -> list[Seen]:
    """What lies on the tray, each instrument once."""
    return merge(tray.photos, relaid=relaid)


def sorted_tray(tray: Tray, *, relaid: bool) -> Sorted:
    """The tray in put-away order."""
    return sort_tray(merged(tray, relaid=relaid))


def checked_tray(tray: Tray, kit: Kit, *, relaid: bool) -> Checked:
    """The tray against a list."""
    return check_tray(kit, merged(tray, relaid=relaid), tray.partial, frozenset() if relaid else filled_in(tray.photos))


def each_checked(tray: Tray, kit: Kit) -> list[tuple[TrayPhoto, Checked | None]]:
    """Every photo as a tray of its own; None for one that could not be examined."""
    return [(one, None if one.reading.error is not None else check_tray(kit, merge([one]), filled=one.filled)) for one in tray.photos]


def _names(kept: Sequence[KeptReading]) -> list[str]:
    """Names of the photos; of two with the same name each gets its reading's number."""
    names = [one.file for one in kept]
    return [name if names.count(name) == 1 else f"{name} ({one.id})" for name, one in zip(names, kept, strict=True)]
