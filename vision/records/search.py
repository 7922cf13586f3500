"""Finds readings by what they are, when, and what was called.

Every search walks down an index of the table ``line`` from where the last page ended, and counting stops at ``MOST_COUNTED``: a
page takes as long at a million readings as at a hundred (``python -m tests.bench.records`` measures it).
"""

# ruff: noqa: S608 - statements are put together from our own words, values are always parameters
from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from vision.records.database import FILE, Records
from vision.records.faults import RecordsError, explained
from vision.records.migration_lines import NUMBERS
from vision.records.search_text import Text, counted, lines_with, text_of

MOST_COUNTED = 2_000
BATCH = 500


@dataclass(frozen=True)
class Filter:
    """What to look for; None asks for nothing. ``text`` is looked for in codes and findings and, from three letters on, in file names."""

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
    place: str  # where the next page begins: ``before`` or ``after`` it


_SHOWN = (
    "SELECT reading.id AS reading_id, examined.number, examined.id AS examined_id, reading.read_at, reading.file, examined.family, "
    "examined.size, examined.call, examined.findings, instrument.code AS instrument, reading.error_kind, "
    f"found.at_s || '.' || found.id AS place FROM ({{}}) AS found CROSS JOIN reading ON reading.id = found.id / {NUMBERS} "
    f"LEFT JOIN examined ON examined.reading_id = reading.id AND examined.number = {NUMBERS - 1} - found.id % {NUMBERS} "
    "LEFT JOIN instrument ON instrument.id = found.instrument_id ORDER BY {} DESC, found.id DESC"
)


def find(
    records: Records, wanted: Filter, *, limit: int = 50, offset: int = 0, before: str | None = None, after: str | None = None
) -> tuple[list[Hit], int]:
    """Return the hits of one page, newest first, and how many there are in all, at most MOST_COUNTED + 1.

    ``before``: the place of the last hit of the page before; ``after``: that of the first of the page that follows. With a text
    the order is that in which readings were kept, otherwise that of their times. Raises RecordsError of kind 'invalid'.
    """
    with explained(records.folder / FILE):
        asked = _asked(records, wanted)
        hits = _page(records, asked, limit, offset, place(before if after is None else after), up=after is not None)
        return hits, _count(records, asked)


def find_all(records: Records, wanted: Filter) -> Iterator[Hit]:
    """Go through every hit, newest first, a batch at a time; what is kept meanwhile does not come twice. Raises RecordsError."""
    asked, at = _asked(records, wanted), None
    while True:
        hits = _page(records, asked, BATCH, 0, at, up=False)
        yield from hits
        if len(hits) < BATCH:
            return
        at = place(hits[-1].place)


@dataclass(frozen=True)
class _Asked:
    """A search as SQL: condition, values, the text if there is one, and the index to walk along."""

    where: str
    values: list[Any]
    text: Text | None
    index: str


def _asked(records: Records, wanted: Filter) -> _Asked:
    return _Asked(*_where(records, wanted), text_of(records, wanted.text), _index(wanted))


def _page(records: Records, asked: _Asked, limit: int, offset: int, at: tuple[int, int] | None, *, up: bool) -> list[Hit]:
    if asked.text is not None:
        start = at[1] if at else None
        numbers = lines_with(records, asked.text, asked.where, asked.values, at=start, up=up, limit=limit + offset)[offset:]
        if not numbers:
            return []
        source, order = f"SELECT * FROM line WHERE id IN ({', '.join('?' * len(numbers))})", "found.id"
        return [Hit(**dict(row)) for row in records.db.execute(_SHOWN.format(source, order), numbers)]
    edge = "" if at is None else f" AND (at_s, id) {'>' if up else '<'} (?, ?)"
    way = "ASC" if up else "DESC"
    source = (
        f"SELECT id, at_s, instrument_id FROM line INDEXED BY {asked.index} WHERE {asked.where}{edge} "
        f"ORDER BY at_s {way}, id {way} LIMIT ? OFFSET ?"
    )
    named = [*asked.values, *(at or ()), limit, offset]
    return [Hit(**dict(row)) for row in records.db.execute(_SHOWN.format(source, "found.at_s"), named)]


def place(said: str | None) -> tuple[int, int] | None:
    """Return a place among the lines as numbers. Raises RecordsError of kind 'invalid'."""
    if said is None:
        return None
    at_s, _, number = said.partition(".")
    if not (at_s.isascii() and number.isascii() and at_s.isdecimal() and number.isdecimal() and len(said) <= 36):
        raise RecordsError("invalid", f"'{said[:24]}' is no place in the records: begin at the first page")
    return min(int(at_s), 2**62), min(int(number), 2**62)


def _count(records: Records, asked: _Asked) -> int:
    if asked.text is not None:
        return counted(records, asked.text, asked.where, asked.values, MOST_COUNTED)
    counting = f"SELECT count(*) FROM (SELECT 1 FROM line INDEXED BY {asked.index} WHERE {asked.where} LIMIT ?)"
    return int(records.db.execute(counting, (*asked.values, MOST_COUNTED + 1)).fetchone()[0])


def _index(wanted: Filter) -> str:
    """Return the index that leaves the fewest lines to walk over."""
    if wanted.instrument is not None:
        return "line_by_instrument"
    if wanted.size is not None:
        return "line_by_size"
    if wanted.family is not None:
        return "line_by_family" if wanted.call is None else "line_by_family_and_call"
    return "line_by_time" if wanted.call is None else "line_by_call"


def _where(records: Records, wanted: Filter) -> tuple[str, list[Any]]:
    parts: list[str] = ["1"]
    values: list[Any] = []
    for part, value in (
        ("line.family = ?", wanted.family),
        ("line.size = ?", wanted.size),
        ("line.call = ?", wanted.call),
        ("line.instrument_id = ?", _instrument(records, wanted.instrument)),
        ("line.at_s >= CAST(strftime('%s', ?) AS INTEGER)", wanted.since),
        ("line.at_s < CAST(strftime('%s', ?, '+1 day') AS INTEGER)", wanted.until),
    ):
        if value is not None:
            parts.append(part)
            values.append(value)
    return " AND ".join(parts), values


def _instrument(records: Records, code: str | None) -> int | None:
    if code is None:
        return None
    row = records.db.execute("SELECT id FROM instrument WHERE code = ?", (code,)).fetchone()
    return -1 if row is None else int(row["id"])
