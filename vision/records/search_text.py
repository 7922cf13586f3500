"""Finds lines whose instrument's code, finding, kind of error or file name holds a text, the latest kept first.

Each of the three places is asked for as many lines as a page needs, along an index of its own; what they give is put in order.
Texts of one or two letters are not looked for in file names, and in codes only where they begin.
"""

# ruff: noqa: S608 - statements are put together from our own words, values are always parameters
from __future__ import annotations

import heapq
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from vision.records.database import Records
from vision.records.letters import code_holds, phrase
from vision.records.migration_lines import NUMBERS

MANY = 5000  # instruments, from which walking down the lines is quicker than asking each instrument
_KINDS = (  # each different finding once: a jump along the index for each
    "WITH RECURSIVE kind (said) AS (SELECT min(said) FROM line UNION ALL "
    "SELECT (SELECT min(said) FROM line WHERE said > kind.said) FROM kind WHERE kind.said IS NOT NULL) "
    "SELECT said FROM kind WHERE instr(lower(said), lower(?)) > 0"
)


Asked = tuple[str, list[Any]]
_OF_READING = f"line.id BETWEEN file_text.rowid * {NUMBERS} AND file_text.rowid * {NUMBERS} + {NUMBERS - 1}"


@dataclass(frozen=True)
class Text:
    """A text to look for, and what is known of it: ``kinds`` of findings that hold it, how many ``instruments`` do."""

    text: str
    kinds: tuple[str, ...]
    instruments: int

    @property
    def codes(self) -> tuple[str, list[str]]:
        """The condition for an instrument's code."""
        return code_holds(self.text)


def text_of(records: Records, text: str | None) -> Text | None:
    """Say where a text is to be looked for; None for none."""
    if not text:
        return None
    kinds = tuple(str(row["said"]) for row in records.db.execute(_KINDS, (text,)))
    where, values = code_holds(text)
    count = f"SELECT count(*) FROM (SELECT 1 FROM instrument WHERE {where} LIMIT ?)"
    return Text(text, kinds, int(records.db.execute(count, (*values, MANY)).fetchone()[0]))


def lines_with(
    records: Records, text: Text, where: str, values: Sequence[Any], *, at: int | None, up: bool, limit: int
) -> list[int]:
    """Return the next lines (their ids) from ``at`` on, up or down, that hold the text and fulfil ``where``."""
    way, edge = ("ASC", ">") if up else ("DESC", "<")
    start = at if at is not None else (-1 if up else 2**62)
    asked = _by_file(records, text, where, values, way, edge, start, limit)
    of_kind = f"SELECT id FROM line INDEXED BY line_by_said WHERE said = ? AND id {edge} ? AND {where} ORDER BY id {way}"
    asked += [(of_kind, [kind, start, *values]) for kind in text.kinds]
    asked += _by_code(records, text, where, values, way, edge, start, limit)
    found = {int(row[0]) for sql, named in asked for row in records.db.execute(f"{sql} LIMIT ?", (*named, limit))}
    return heapq.nsmallest(limit, found) if up else heapq.nlargest(limit, found)


def counted(records: Records, text: Text, where: str, values: Sequence[Any], most: int) -> int:
    """Count the lines that hold the text and fulfil ``where``, up to ``most`` + 1."""
    asked = [(f"SELECT id FROM line INDEXED BY line_by_said WHERE said = ? AND {where}", [kind, *values]) for kind in text.kinds]
    codes, named = text.codes
    by_code = "SELECT line.id FROM instrument CROSS JOIN line INDEXED BY line_by_instrument ON line.instrument_id = instrument.id"
    asked.append((f"{by_code} WHERE {codes} AND {where}", [*named, *values]))
    by_file = f"SELECT line.id FROM file_text CROSS JOIN line NOT INDEXED ON {_OF_READING} WHERE file_text MATCH ? AND {where}"
    asked += [(by_file, [long, *values]) for long in (phrase(text.text),) if long]
    for sql, named in asked:
        counting = f"SELECT count(*) FROM ({sql} LIMIT ?)"
        if records.db.execute(counting, (*named, most + 1)).fetchone()[0] > most:
            return most + 1
    union = " UNION ".join(f"SELECT * FROM ({sql})" for sql, _ in asked)
    values = [value for _, named in asked for value in named]
    return min(int(records.db.execute(f"SELECT count(*) FROM ({union})", values).fetchone()[0]), most + 1)


def _by_file(
    records: Records, text: Text, where: str, values: Sequence[Any], way: str, edge: str, start: int, limit: int
) -> list[Asked]:
    """The lines of the next readings whose file name holds the text; FTS5 gives rows in order only where nothing else is sorted."""
    long = phrase(text.text)
    if long is None:
        return []
    fits = f"EXISTS (SELECT 1 FROM line NOT INDEXED WHERE {_OF_READING} AND line.id {edge} ? AND {where})"
    readings = (
        f"SELECT rowid FROM file_text WHERE file_text MATCH ? AND rowid {edge}= ? AND {fits} ORDER BY rowid {way} LIMIT ?"
    )
    found = [int(row[0]) for row in records.db.execute(readings, (long, start // NUMBERS, start, *values, limit))]
    lines = f"SELECT id FROM line NOT INDEXED WHERE id BETWEEN ? AND ? AND id {edge} ? AND {where} ORDER BY id {way}"
    return [(lines, [one * NUMBERS, one * NUMBERS + NUMBERS - 1, start, *values]) for one in found]


def _by_code(
    records: Records, text: Text, where: str, values: Sequence[Any], way: str, edge: str, start: int, limit: int
) -> list[Asked]:
    """The lines of the few instruments whose next line comes first; where nearly all are meant, every line is looked at in order."""
    codes, named = text.codes
    if text.instruments >= MANY:
        walked = "SELECT line.id FROM line NOT INDEXED CROSS JOIN instrument ON instrument.id = line.instrument_id"
        return [(f"{walked} WHERE line.id {edge} ? AND {codes} AND {where} ORDER BY line.id {way}", [start, *named, *values])]
    lines_of = f"FROM line INDEXED BY line_by_instrument WHERE line.instrument_id = instrument.id AND line.id {edge} ? AND {where}"
    nearest = f"SELECT {'min' if way == 'ASC' else 'max'}(line.id) {lines_of}"
    first = f"SELECT id, ({nearest}) AS nearest FROM instrument WHERE {codes} AND nearest IS NOT NULL ORDER BY nearest {way} LIMIT ?"
    chosen = [int(row["id"]) for row in records.db.execute(first, (start, *values, *named, limit))]
    marks = ", ".join("?" * len(chosen))
    lines = f"SELECT id FROM line INDEXED BY line_by_instrument WHERE instrument_id IN ({marks})"
    return [(f"{lines} AND id {edge} ? AND {where} ORDER BY id {way}", [*chosen, start, *values])]
