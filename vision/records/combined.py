"""Combined readings in the records: the whole document of several photos of one instrument, and the single readings it rests on."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

from vision.records.clock import now
from vision.records.database import Records, transaction
from vision.records.faults import RecordsError
from vision.records.migration_lines import RUN

Json = dict[str, Any]


@dataclass(frozen=True)
class KeptCombined:
    """A combined reading as it was kept; ``readings``: numbers of the single ones."""

    id: int
    read_at: str
    software: str
    models: Json
    mode: str
    document: Json
    readings: tuple[int, ...]

    @property
    def one(self) -> Json:
        """What the document says of the one instrument."""
        made: Json = self.document["combined"][0]
        return made


def keep_combined(records: Records, run: str, document: Json) -> int:
    """Keep a combined reading of the photos that were read in ``run``; return its number. Raises RecordsError."""
    made_by, one = document["made_by"], document["combined"][0]
    values = (now(), made_by["flutegauge"], json.dumps(made_by["models"]), one["mode"], json.dumps(document, allow_nan=False))
    with transaction(records) as db:
        insert = "INSERT INTO combined (read_at, software, models, mode, document) VALUES (?, ?, ?, ?, ?)"
        number = int(db.execute(insert, values).lastrowid or 0)
        db.execute(
            f"INSERT INTO combined_of SELECT ?, id FROM reading WHERE {RUN} = ?",  # noqa: S608 - our own words
            (number, run),
        )
    return number


def combined(records: Records, number: int) -> KeptCombined:
    """Return a kept combined reading. Raises RecordsError of kind 'unknown'."""
    row = records.db.execute("SELECT * FROM combined WHERE id = ?", (number,)).fetchone()
    if row is None:
        raise RecordsError("unknown", f"no combined reading {number} is kept: choose one from the camera page")
    of = records.db.execute("SELECT reading_id FROM combined_of WHERE combined_id = ? ORDER BY reading_id", (number,)).fetchall()
    kept = {name: row[name] for name in row.keys()}  # noqa: SIM118 - a Row iterates over its values
    loaded = {name: json.loads(row[name]) for name in ("models", "document")}
    return KeptCombined(**kept | loaded, readings=tuple(one["reading_id"] for one in of))
