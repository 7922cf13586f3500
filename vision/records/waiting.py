"""Photos that were taken in and wait to be read: written down at once, struck out with the reading, so that lost power loses none."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from vision.records.clock import now
from vision.records.database import Records, transaction
from vision.records.photos import drop_unread


@dataclass(frozen=True)
class Waiting:
    """A photo to be read, and what was said about it."""

    id: int
    photo_sha256: str
    name: str
    settings: dict[str, Any]
    instrument_id: int | None
    read_again_of: int | None
    added_at: str


def write_down(
    records: Records,
    photo_sha256: str,
    name: str,
    settings: Mapping[str, Any],
    instrument_id: int | None = None,
    read_again_of: int | None = None,
) -> int:
    """Write down that a photo is to be read; return the entry's number. Raises RecordsError."""
    values = (photo_sha256, name, json.dumps(dict(settings)), instrument_id, read_again_of, now())
    statement = "INSERT INTO waiting (photo_sha256, name, settings, instrument_id, read_again_of, added_at) VALUES (?, ?, ?, ?, ?, ?)"
    with transaction(records) as db:
        return int(db.execute(statement, values).lastrowid or 0)


def strike_out(db: sqlite3.Connection, number: int | None) -> None:
    """Strike an entry out within the caller's transaction, together with what was made of it."""
    if number is not None:
        db.execute("DELETE FROM waiting WHERE id = ?", (number,))


def forget(records: Records, numbers: Iterable[int]) -> None:
    """Strike entries out that will not be read, and drop their photos unless a reading speaks of them. Raises RecordsError."""
    for number in numbers:
        row = records.db.execute("SELECT photo_sha256 FROM waiting WHERE id = ?", (number,)).fetchone()
        if row is None:
            continue
        with transaction(records) as db:
            strike_out(db, number)
        drop_unread(records, sha256=row["photo_sha256"])


def waiting(records: Records) -> list[Waiting]:
    """Return what waits, the oldest first."""
    rows = records.db.execute("SELECT * FROM waiting ORDER BY id").fetchall()
    return [Waiting(**dict(row) | {"settings": json.loads(row["settings"])}) for row in rows]
