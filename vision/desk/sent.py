"""Long answers, sent piece by piece while they are read from the records: lines of a search as CSV, all tables as one file."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from dataclasses import asdict, fields
from typing import Any

from starlette.responses import StreamingResponse

from vision.desk.settings import Desk
from vision.records.database import Records
from vision.records.export import streamed
from vision.records.history import discards
from vision.records.search import Filter, Hit, find_all
from vision.report.words import MEASURED

LINES = 100
COLUMNS = tuple(field.name for field in fields(Hit) if field.name != "place")
NAMES = tuple(name for name, _, _ in MEASURED)


def lines_csv(desk: Desk, wanted: Filter) -> StreamingResponse:
    """Send every line of a search with every measured number and its u."""

    def rows() -> Iterator[list[Any]]:
        yield [*COLUMNS, *(f"{name}{end}" for name in NAMES for end in ("", "_u"))]
        with desk.records() as records:
            yield from (_line(records, hit) for hit in find_all(records, wanted))

    return _csv(rows(), "readings.csv")


def discards_csv(desk: Desk) -> StreamingResponse:
    """Send the whole discard log."""

    def rows() -> Iterator[list[Any]]:
        yield ["at", "instrument", "reason", "initials"]
        with desk.records() as records:
            yield from ([_cell(value) for value in (one.at, one.code, one.reason, one.initials)] for one in discards(records))

    return _csv(rows(), "discards.csv")


def tables_zip(desk: Desk, kind: str, name: str) -> StreamingResponse:
    """Send every table of the records. Raises RecordsError for a kind that cannot be."""
    opened = desk.records()
    records = opened.__enter__()
    try:
        pieces = streamed(records, kind)
    except BaseException:
        opened.__exit__(None, None, None)
        raise

    def body() -> Iterator[bytes]:
        try:
            yield from pieces
        finally:
            opened.__exit__(None, None, None)

    return StreamingResponse(body(), media_type="application/zip", headers=named(name))


def named(name: str) -> dict[str, str]:
    """Return the header that names a file to be kept."""
    return {"Content-Disposition": f'attachment; filename="{name}"'}


def _csv(rows: Iterator[list[Any]], name: str) -> StreamingResponse:
    def body() -> Iterator[str]:
        out = io.StringIO()
        writer = csv.writer(out)
        for number, row in enumerate(rows, 1):
            writer.writerow(row)
            if number % LINES == 0:
                yield out.getvalue()
                out.seek(0)
                out.truncate()
        yield out.getvalue()

    return StreamingResponse(body(), media_type="text/csv; charset=utf-8", headers=named(name))


def _line(records: Records, hit: Hit) -> list[Any]:
    found = records.db.execute("SELECT name, value, u FROM measured WHERE examined_id = ?", (hit.examined_id,))
    numbers = {row["name"]: (row["value"], row["u"]) for row in found}
    told = asdict(hit)
    return [*(_cell(told[name]) for name in COLUMNS), *(part for name in NAMES for part in numbers.get(name, ("", "")))]


def _cell(value: Any) -> Any:
    """Keep a spreadsheet from taking a name that begins with a sign for a formula."""
    return f"'{value}" if isinstance(value, str) and value[:1] in "=+-@\t" else value
