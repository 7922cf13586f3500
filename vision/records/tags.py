"""Which instrument or kit a code tag stands for."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from vision.records.clock import now
from vision.records.database import Records, transaction
from vision.records.faults import RecordsError
from vision.records.instruments import Instrument, instrument_by_id, instruments_of_kit

TAGS = 1000


@dataclass(frozen=True)
class Named:
    """What the tags in one photo say: the instruments meant and the kit, if one was named.

    ``by_tag``: tag number -> instrument's id, for the tags that name one instrument.
    """

    instruments: tuple[Instrument, ...] = ()
    kit_code: str | None = None
    unknown: tuple[int, ...] = ()
    by_tag: Mapping[int, int] = field(default_factory=dict)


def give_tag(records: Records, *, instrument_id: int | None = None, kit_id: int | None = None) -> int:
    """Return the tag number of an instrument or a kit; the next free one is taken if it has none. Raises RecordsError."""
    with transaction(records) as db:
        old = db.execute(
            "SELECT number FROM tag WHERE instrument_id IS ? AND kit_id IS ?", (instrument_id, kit_id)
        ).fetchone()
        if old is not None:
            return int(old["number"])
        number = int(db.execute("SELECT coalesce(max(number) + 1, 0) FROM tag").fetchone()[0])
        if number >= TAGS:
            raise RecordsError(
                "invalid", f"all {TAGS} tag numbers are given out: take a free folder for further records"
            )
        db.execute("INSERT INTO tag VALUES (?, ?, ?, ?)", (number, instrument_id, kit_id, now()))
    return number


def tag_of(records: Records, instrument_id: int) -> int | None:
    """Return an instrument's tag number, if it has one."""
    row = records.db.execute("SELECT number FROM tag WHERE instrument_id = ?", (instrument_id,)).fetchone()
    return None if row is None else int(row["number"])


def named_by(records: Records, numbers: Iterable[int]) -> Named:
    """Say what the tags seen in a photo stand for. Tags nobody gave out come back as unknown."""
    found: list[Instrument] = []
    kit_code, unknown = None, []
    by_tag: dict[int, int] = {}
    for number in sorted(set(numbers)):
        row = records.db.execute(
            "SELECT tag.instrument_id, tag.kit_id, kit.code FROM tag LEFT JOIN kit ON kit.id = tag.kit_id WHERE number = ?",
            (number,),
        ).fetchone()
        if row is None:
            unknown.append(number)
        elif row["instrument_id"] is not None:
            by_tag[number] = int(row["instrument_id"])
            found.append(instrument_by_id(records, by_tag[number]))
        else:
            kit_code = row["code"]
            found += instruments_of_kit(records, row["kit_id"])
    unique = {one.id: one for one in found}
    return Named(tuple(unique.values()), kit_code, tuple(unknown), by_tag)
