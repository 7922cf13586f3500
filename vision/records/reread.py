"""Old readings read again by newer software or models: which are due, and what moved."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass

from vision.records.compare import Moved, compared, partner
from vision.records.database import Records
from vision.records.readings import KeptReading, reading


@dataclass(frozen=True)
class Pair:
    """An old reading and the newest one made of it again; ``moved``: what differs by more than 2 u, by instrument."""

    old: KeptReading
    new: KeptReading
    moved: tuple[tuple[int, Moved], ...]
    changed: tuple[int, ...]  # instruments whose family, size or call is another now, or that were not found again


MOST_DUE = 200  # counted
_BY = (
    "SELECT latest.reading_id FROM latest CROSS JOIN reading ON reading.id = latest.reading_id WHERE latest.maker_id = ? "
    "AND NOT EXISTS (SELECT 1 FROM reading AS other WHERE other.photo_sha256 = reading.photo_sha256 "
    "AND other.software = ? AND other.models = ?) ORDER BY latest.reading_id LIMIT ?"
)


def due(records: Records, software: str, models: Mapping[str, str], *, limit: int = MOST_DUE + 1) -> list[int]:
    """Return the first readings by other software or models whose photo is still there and was not yet read by these.

    Oldest first; of several readings of one photo the latest stands for all.
    """
    these = (software, json.dumps(dict(models)))
    makers = records.db.execute("SELECT id FROM maker WHERE NOT (software = ? AND models = ?)", these).fetchall()
    found = [int(row[0]) for maker in makers for row in records.db.execute(_BY, (maker["id"], *these, limit))]
    return sorted(found)[:limit]


def pairs(records: Records, *, limit: int = 50) -> list[Pair]:
    """Return what was read again beside what it was read again of, the newest first."""
    rows = records.db.execute(
        "SELECT id, read_again_of FROM reading WHERE read_again_of IS NOT NULL ORDER BY id DESC LIMIT ?", (limit,)
    ).fetchall()
    return [_pair(reading(records, row["read_again_of"]), reading(records, row["id"])) for row in rows]


def _pair(old: KeptReading, new: KeptReading) -> Pair:
    moved: list[tuple[int, Moved]] = []
    changed: list[int] = []
    for one in old.photo["instruments"]:
        other = partner(one, new.photo["instruments"])
        if other is None or _words(one) != _words(other):
            changed.append(one["id"])
        if other is not None:
            moved += [(one["id"], entry) for entry in compared(one, other) if (entry.apart or 0.0) > 1.0]
    return Pair(old, new, tuple(moved), tuple(changed))


def _words(one: dict[str, dict[str, object]]) -> tuple[object, ...]:
    return one["family"]["value"], one["size"]["value"], one["condition"]["call"]
