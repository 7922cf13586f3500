"""Finds readings and instruments by what they are, when, and what was called."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from vision.records.database import Records


@dataclass(frozen=True)
class Filter:
    """What to look for; None asks for nothing. ``text`` is looked for in codes, file names and findings."""

    text: str | None = None
    family: str | None = None
    size: int | None = None
    call: str | None = None
    since: str | None = None  # a day, '2026-03-01'
    until: str | None = None  # the last day, included
    instrument: str | None = None


@dataclass(frozen=True)
class Hit:
    """One line of the records: an instrument in a reading, or a photo that could not be examined (number None)."""

    reading_id: int
    number: int | None
    examined_id: int | None
    read_at: str
    file: str
    family: str | None
    size: int | None
    call: str | None
    findings: str | None
    instrument: str | None
    error_kind: str | None


_FROM = (
    "FROM reading LEFT JOIN examined ON examined.reading_id = reading.id "
    "LEFT JOIN instrument ON instrument.id = examined.instrument_id WHERE "
)
_SHOWN = (
    "SELECT reading.id AS reading_id, examined.number, examined.id AS examined_id, reading.read_at, reading.file, examined.family, "
    "examined.size, examined.call, examined.findings, instrument.code AS instrument, reading.error_kind "
)
_ORDER = " ORDER BY reading.read_at DESC, reading.id DESC, examined.number LIMIT ? OFFSET ?"


def find(records: Records, wanted: Filter, *, limit: int = 50, offset: int = 0) -> tuple[list[Hit], int]:
    """Return the hits of one page, newest first, and how many there are in all."""
    where, values = _where(wanted)
    total = records.db.execute(f"SELECT count(*) {_FROM}{where}", values).fetchone()[0]
    rows = records.db.execute(_SHOWN + _FROM + where + _ORDER, (*values, limit, offset))
    return [Hit(**dict(row)) for row in rows], int(total)


@dataclass(frozen=True)
class Listed:
    """One line of the list of instruments, with its first and last reading and what became of it."""

    code: str
    family: str | None
    size: int | None
    material: str | None
    single_use: int
    kit: str | None
    slot: str | None
    readings: int
    first_at: str | None
    last_at: str | None
    last_call: str | None
    uses: int
    discarded_at: str | None


def list_instruments(records: Records, text: str = "") -> list[Listed]:
    """Return every instrument whose code, kit or slot holds ``text``, by code."""
    rows = records.db.execute(
        """SELECT instrument.code, instrument.family, instrument.size, instrument.material, instrument.single_use,
            kit.code AS kit, instrument.slot, count(reading.id) AS readings,
            min(reading.read_at) AS first_at, max(reading.read_at) AS last_at,
            (SELECT call FROM examined AS last JOIN reading AS of ON of.id = last.reading_id
                WHERE last.instrument_id = instrument.id ORDER BY of.id DESC LIMIT 1) AS last_call, -- clocks jump, ids do not
            (SELECT count(*) FROM event WHERE event.instrument_id = instrument.id AND event.kind = 'used') AS uses,
            discard.at AS discarded_at
        FROM instrument LEFT JOIN kit ON kit.id = instrument.kit_id
            LEFT JOIN examined ON examined.instrument_id = instrument.id LEFT JOIN reading ON reading.id = examined.reading_id
            LEFT JOIN discard ON discard.instrument_id = instrument.id
        WHERE instr(lower(instrument.code || ' ' || coalesce(kit.code, '') || ' ' || coalesce(instrument.slot, '')), lower(?)) > 0
        GROUP BY instrument.id ORDER BY instrument.code""",
        (text,),
    )
    return [Listed(**dict(row)) for row in rows]


def _where(wanted: Filter) -> tuple[str, list[Any]]:
    parts: list[str] = ["1"]
    values: list[Any] = []
    for part, value in (
        ("examined.family = ?", wanted.family),
        ("examined.size = ?", wanted.size),
        ("examined.call = ?", wanted.call),
        ("instrument.code = ?", wanted.instrument),
        ("reading.read_at >= ?", wanted.since),
        ("reading.read_at < date(?, '+1 day')", wanted.until),
    ):
        if value is not None:
            parts.append(part)
            values.append(value)
    if wanted.text:
        spots = ("instrument.code", "reading.file", "examined.findings", "reading.error_kind")
        joined = " || ' ' || ".join(f"coalesce({spot}, '')" for spot in spots)
        parts.append(f"instr(lower({joined}), lower(?)) > 0")
        values.append(wanted.text)
    return " AND ".join(parts), values
