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


def due(records: Records, software: str, models: Mapping[str, str]) -> list[int]:
    """Return the readings by other software or models whose photo is still there and was not yet read by these.

    Oldest first; of several readings of one photo the latest stands for all.
    """
    rows = records.db.execute(
        "SELECT max(reading.id) AS id FROM reading JOIN photo ON photo.sha256 = reading.photo_sha256 "
        "WHERE photo.removed_at IS NULL GROUP BY reading.photo_sha256 "
        "HAVING sum(reading.software = ? AND reading.models = ?) = 0 ORDER BY id",
        (software, json.dumps(dict(models))),
    )
    return [int(row["id"]) for row in rows]


def pairs(records: Records, *, limit: int = 200) -> list[Pair]:
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
