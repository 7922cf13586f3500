"""Readings in the records: the whole document, never changed, with its numbers beside it for search and trends."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from vision.records.clock import now
from vision.records.database import FILE, Records, transaction
from vision.records.faults import RecordsError, explained
from vision.report.words import MEASURED

Json = dict[str, Any]


@dataclass(frozen=True)
class NewReading:
    """What a run made of one photo: a document with that one photo, and the traces by the instruments' numbers."""

    document: Json
    traces: Mapping[int, Json] = field(default_factory=dict)
    photo_sha256: str | None = None
    settings: Mapping[str, Any] = field(default_factory=dict)
    instruments: Mapping[int, int] = field(default_factory=dict)  # number in the photo -> instrument's id
    read_again_of: int | None = None


@dataclass(frozen=True)
class KeptReading:
    """A reading as it was kept."""

    id: int
    photo_sha256: str | None
    file: str
    read_at: str
    software: str
    models: Json
    settings: Json
    document: Json
    error_kind: str | None
    error_message: str | None
    sheet: str | None
    print_checked: bool | None
    px_per_mm: float | None
    read_again_of: int | None

    @property
    def photo(self) -> Json:
        """The one photo of the document."""
        made: Json = self.document["photos"][0]
        return made

    def instrument(self, number: int) -> Json:
        """Return what the document says of one instrument. Raises RecordsError of kind 'unknown'."""
        for one in self.photo["instruments"]:
            if one["id"] == number:
                made: Json = one
                return made
        raise RecordsError("unknown", f"reading {self.id} has no instrument {number}: choose one from its list")


@dataclass(frozen=True)
class Examined:
    """One instrument in one reading."""

    id: int
    reading_id: int
    number: int
    instrument_id: int | None
    family: str | None
    size: int | None
    call: str


def save_reading(records: Records, new: NewReading) -> int:
    """Keep a reading with all of its parts in one transaction and return its number. Raises RecordsError."""
    with transaction(records) as db:
        return insert_reading(db, new)


def insert_reading(db: sqlite3.Connection, new: NewReading) -> int:
    """Insert a reading within the caller's transaction."""
    photo, made_by = new.document["photos"][0], new.document["made_by"]
    error, scale = photo["error"] or {}, photo["scale"] or {}
    sheet = scale.get("sheet") or {}
    values = {
        "photo_sha256": new.photo_sha256,
        "file": photo["file"],
        "read_at": now(),
        "software": made_by["flutegauge"],
        "models": json.dumps(made_by["models"]),
        "settings": json.dumps(dict(new.settings)),
        "document": json.dumps(new.document, allow_nan=False),
        "error_kind": error.get("kind"),
        "error_message": error.get("message"),
        "sheet": sheet.get("id"),
        "print_checked": sheet.get("print_checked"),
        "px_per_mm": (scale.get("px_per_mm") or {}).get("value"),
        "read_again_of": new.read_again_of,
    }
    number = int(_insert(db, "reading", values))
    for one in photo["instruments"]:
        _insert_examined(db, number, one, new)
    return number


def reading(records: Records, number: int) -> KeptReading:
    """Return a kept reading. Raises RecordsError of kind 'unknown'."""
    with explained(records.folder / FILE):
        row = records.db.execute("SELECT * FROM reading WHERE id = ?", (number,)).fetchone()
        if row is None:
            raise RecordsError("unknown", f"no reading {number} is kept: choose one from the records")
        kept = {name: row[name] for name in row.keys()}  # noqa: SIM118 - a Row iterates over its values
        kept["print_checked"] = None if row["print_checked"] is None else bool(row["print_checked"])
        return KeptReading(**kept | {name: json.loads(row[name]) for name in ("models", "settings", "document")})


def examined(records: Records, reading_id: int, number: int | None = None) -> list[Examined]:
    """Return the instruments of a reading, or the one of that number. Raises RecordsError of kind 'unknown'."""
    found = records.db.execute(
        "SELECT id, reading_id, number, instrument_id, family, size, call FROM examined "
        "WHERE reading_id = ? AND (? IS NULL OR number = ?) ORDER BY number",
        (reading_id, number, number),
    ).fetchall()
    if number is not None and not found:
        raise RecordsError("unknown", f"reading {reading_id} has no instrument {number}: choose one from its list")
    return [Examined(**dict(row)) for row in found]


def examined_by_id(records: Records, number: int) -> Examined:
    """Return one examined instrument by its own number. Raises RecordsError of kind 'unknown'."""
    row = records.db.execute("SELECT reading_id, number FROM examined WHERE id = ?", (number,)).fetchone()
    if row is None:
        raise RecordsError("unknown", f"nothing examined under {number} is kept: choose one from the records")
    return examined(records, row["reading_id"], row["number"])[0]


def trace(records: Records, examined_id: int) -> Json | None:
    """Return the trace kept beside an examined instrument; None when there is none."""
    row = records.db.execute("SELECT trace FROM examined WHERE id = ?", (examined_id,)).fetchone()
    made: Json | None = json.loads(row["trace"]) if row and row["trace"] else None
    return made


def assign(records: Records, examined_id: int, instrument_id: int | None) -> None:
    """Say which instrument it is that was examined; the reading itself stays as it is."""
    with transaction(records) as db:
        db.execute("UPDATE examined SET instrument_id = ? WHERE id = ?", (instrument_id, examined_id))


def _insert_examined(db: sqlite3.Connection, reading_id: int, one: Json, new: NewReading) -> None:
    made = new.traces.get(int(one["id"]))
    values = {
        "reading_id": reading_id,
        "number": one["id"],
        "instrument_id": new.instruments.get(int(one["id"])),
        "family": one["family"]["value"],
        "family_probability": one["family"]["probability"],
        "size": one["size"]["value"],
        "size_probability": one["size"]["probability"],
        "call": one["condition"]["call"],
        "findings": json.dumps([finding["kind"] for finding in one["condition"]["findings"]]),
        "trace": None if made is None else json.dumps(made, allow_nan=False, separators=(",", ":")),
    }
    number = _insert(db, "examined", values)
    db.executemany(
        "INSERT INTO measured VALUES (?, ?, ?, ?)", [(number, name, value, u) for name, value, u in _numbers(one)]
    )


def _numbers(one: Json) -> Iterator[tuple[str, float, float]]:
    for name, _, _ in MEASURED:
        if one.get(name) is not None:
            yield name, one[name]["value"], one[name]["u"]


def _insert(db: sqlite3.Connection, table: str, values: Mapping[str, Any]) -> int:
    names, marks = ", ".join(values), ", ".join("?" * len(values))
    # Names come from the literals above, never from a user.
    cursor = db.execute(f"INSERT INTO {table} ({names}) VALUES ({marks})", tuple(values.values()))  # noqa: S608
    assert cursor.lastrowid is not None  # noqa: S101 - an insert has a row
    return cursor.lastrowid
