"""What people did and decided: uses and cycles, confirmations and corrections, decisions, the discard log. Only added to."""

from __future__ import annotations

import re
import sqlite3
from dataclasses import dataclass

from vision.reading import FAMILIES
from vision.records.clock import now
from vision.records.database import Records, transaction
from vision.records.faults import RecordsError

EVENTS = ("used", "cleaned", "sterilised")
DECISIONS = ("discard", "look again", "back to the cycle")
_INITIALS = re.compile(r"[A-Z0-9-]{1,8}")
_DISCARDS = "SELECT discard.*, instrument.code FROM discard JOIN instrument ON instrument.id = discard.instrument_id "


@dataclass(frozen=True)
class Judgement:
    """A person's word on a reading, kept beside it."""

    id: int
    examined_id: int
    at: str
    kind: str
    family: str | None
    size: int | None
    initials: str
    note: str | None


@dataclass(frozen=True)
class Discard:
    """An entry of the discard log."""

    instrument_id: int
    code: str
    examined_id: int | None
    at: str
    reason: str
    initials: str


def checked_initials(initials: str) -> str:
    """Return initials or a code in capitals. Raises RecordsError of kind 'invalid': no names of people are kept."""
    wanted = initials.strip().upper()
    if not _INITIALS.fullmatch(wanted):
        raise RecordsError(
            "invalid",
            "initials or a code have 1 to 8 capitals, digits or hyphens, never a name: type yours, for instance 'AB'",
        )
    return wanted


def add_event(
    records: Records, instrument_id: int, kind: str, initials: str, *, cycle: str | None = None, note: str | None = None
) -> int:
    """Keep one use or one step of a cycle. Raises RecordsError."""
    if kind not in EVENTS:
        raise RecordsError("invalid", f"an event is one of {', '.join(EVENTS)}, got '{kind[:24]}'")
    values = (instrument_id, now(), kind, cycle or None, checked_initials(initials), note or None)
    with transaction(records) as db:
        return _number(
            db.execute(
                "INSERT INTO event (instrument_id, at, kind, cycle, initials, note) VALUES (?, ?, ?, ?, ?, ?)", values
            )
        )


def judge(
    records: Records,
    examined_id: int,
    initials: str,
    *,
    family: str | None = None,
    size: int | None = None,
    note: str | None = None,
) -> int:
    """Confirm what was read, or, with a family, a size or a note, correct it; the reading stays as it is."""
    if family is not None and family not in FAMILIES:
        raise RecordsError("invalid", f"family is one of {', '.join(FAMILIES)}, got '{family[:24]}'")
    kind = "confirmed" if family is None and size is None and not note else "corrected"
    values = (examined_id, now(), kind, family, size, checked_initials(initials), note or None)
    with transaction(records) as db:
        return _number(
            db.execute(
                "INSERT INTO judgement (examined_id, at, kind, family, size, initials, note) VALUES (?, ?, ?, ?, ?, ?, ?)",
                values,
            )
        )


def judgements(records: Records, examined_id: int) -> list[Judgement]:
    """Return what people said of a reading, oldest first."""
    found = records.db.execute("SELECT * FROM judgement WHERE examined_id = ? ORDER BY id", (examined_id,))
    return [Judgement(**dict(row)) for row in found]


def decide(
    records: Records,
    instrument_id: int,
    decision: str,
    initials: str,
    *,
    examined_id: int | None = None,
    note: str | None = None,
) -> int:
    """Keep what a person decided about an instrument; 'discard' enters the discard log in the same transaction."""
    if decision not in DECISIONS:
        raise RecordsError("invalid", f"a decision is one of {', '.join(DECISIONS)}, got '{decision[:24]}'")
    who = checked_initials(initials)
    with transaction(records) as db:
        if db.execute("SELECT 1 FROM discard WHERE instrument_id = ?", (instrument_id,)).fetchone():
            raise RecordsError("conflict", "this instrument is in the discard log already; nothing was written")
        number = _number(
            db.execute(
                "INSERT INTO decision (instrument_id, examined_id, at, decision, initials, note) VALUES (?, ?, ?, ?, ?, ?)",
                (instrument_id, examined_id, now(), decision, who, note or None),
            )
        )
        if decision == "discard":
            reason = note or "no reason stated"
            db.execute("INSERT INTO discard VALUES (?, ?, ?, ?, ?)", (instrument_id, examined_id, now(), reason, who))
    return number


def discards(records: Records, *, since: str = "", until: str = "9999", limit: int = -1) -> list[Discard]:
    """Return the discard log, newest first; a negative limit: all of it."""
    wanted = _DISCARDS + "WHERE discard.at >= ? AND discard.at < ? ORDER BY discard.at DESC LIMIT ?"
    found = records.db.execute(wanted, (since, until, limit))
    return [Discard(**dict(row)) for row in found]


def discarded(records: Records, instrument_id: int) -> Discard | None:
    """Return an instrument's entry in the discard log, if it has one."""
    row = records.db.execute(_DISCARDS + "WHERE discard.instrument_id = ?", (instrument_id,)).fetchone()
    return None if row is None else Discard(**dict(row))


def _number(cursor: sqlite3.Cursor) -> int:
    assert cursor.lastrowid is not None  # noqa: S101 - an insert has a row
    return cursor.lastrowid
