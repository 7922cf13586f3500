"""One instrument's life in order, and how its numbers moved."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from vision.records.database import Records

TRENDS = ("d0_mm", "d16_mm", "length_mm", "pitch_mm")


@dataclass(frozen=True)
class Entry:
    """Something that happened: ``kind`` is 'added', 'reading', 'judgement', 'event', 'decision' or 'discard'."""

    at: str
    kind: str
    facts: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Point:
    """One measured value with its u at the time it was read."""

    at: str
    value: float
    u: float
    reading_id: int
    number: int


_QUERIES = {
    "added": "SELECT added_at AS at, code FROM instrument WHERE id = ?",
    "reading": "SELECT reading.read_at AS at, reading.id AS reading_id, examined.number, examined.family, examined.size, "
    "examined.call, examined.findings FROM examined JOIN reading ON reading.id = examined.reading_id "
    "WHERE examined.instrument_id = ?",
    "judgement": "SELECT judgement.at, judgement.kind AS said, judgement.family, judgement.size, judgement.initials, "
    "judgement.note, examined.reading_id, examined.number FROM judgement JOIN examined ON examined.id = judgement.examined_id "
    "WHERE examined.instrument_id = ?",
    "event": "SELECT at, kind AS done, cycle, initials, note FROM event WHERE instrument_id = ?",
    "decision": "SELECT at, decision, initials, note FROM decision WHERE instrument_id = ?",
    "discard": "SELECT at, reason, initials FROM discard WHERE instrument_id = ?",
}


def timeline(records: Records, instrument_id: int) -> list[Entry]:
    """Return everything that is kept of an instrument, oldest first."""
    entries = []
    for kind, query in _QUERIES.items():
        for row in records.db.execute(query, (instrument_id,)):
            facts = dict(row)
            entries.append(Entry(facts.pop("at"), kind, facts))
    order = list(_QUERIES)
    return sorted(entries, key=lambda entry: (entry.at, order.index(entry.kind)))


def trend(records: Records, instrument_id: int, name: str) -> list[Point]:
    """Return the values of one quantity over an instrument's readings, oldest first."""
    found = records.db.execute(
        "SELECT reading.read_at AS at, measured.value, measured.u, reading.id AS reading_id, examined.number FROM measured "
        "JOIN examined ON examined.id = measured.examined_id JOIN reading ON reading.id = examined.reading_id "
        "WHERE examined.instrument_id = ? AND measured.name = ? ORDER BY reading.read_at, reading.id",
        (instrument_id, name),
    )
    return [Point(**dict(row)) for row in found]


def counts(records: Records, instrument_id: int) -> dict[str, int]:
    """Return how often an instrument was used, cleaned and sterilised."""
    found = records.db.execute(
        "SELECT kind, count(*) AS times FROM event WHERE instrument_id = ? GROUP BY kind", (instrument_id,)
    )
    return {row["kind"]: row["times"] for row in found}
