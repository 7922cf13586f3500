"""One table of the records as the bytes of a file, a batch of rows at a time, so that a million rows need no more memory than a few."""

from __future__ import annotations

import csv
import io
import json
import sqlite3
import tempfile
from collections.abc import Iterator
from itertools import islice
from pathlib import Path
from typing import Any

from vision.records.faults import RecordsError

ROWS, CHUNK = 2000, 2**18


def pieces(db: sqlite3.Connection, table: str, kind: str) -> Iterator[bytes]:
    """Give a table's file in pieces, as csv, json or parquet; the rows in the order in which they came."""
    rows, columns = rows_of(db, table), columns_of(db, table)
    if kind == "csv":
        return _csv(rows, columns)
    return _json(rows) if kind == "json" else _parquet_file(rows, columns)


def rows_of(db: sqlite3.Connection, table: str) -> Iterator[dict[str, Any]]:
    """Go through a table's rows in the order in which they came."""
    yield from map(dict, db.execute(f"SELECT * FROM {table} ORDER BY 1, 2"))  # noqa: S608 - a name of TABLES


def columns_of(db: sqlite3.Connection, table: str) -> dict[str, str]:
    """Return a table's columns with their types: INTEGER, REAL or TEXT."""
    return {row["name"]: row["type"] for row in db.execute(f"PRAGMA table_info({table})")}


def parquet() -> Any:
    """Return the module that knows Parquet. Raises RecordsError of kind 'invalid' where its library is not installed."""
    try:
        from vision.records import parquet as module  # noqa: PLC0415 - an extra
    except ImportError as error:
        raise RecordsError(
            "invalid", "Parquet needs pyarrow: pip install 'flutegauge[parquet]', or export as csv or json"
        ) from error
    return module


def _csv(rows: Iterator[dict[str, Any]], columns: dict[str, str]) -> Iterator[bytes]:
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(columns)
    for batch in _batches(rows):
        writer.writerows(row.values() for row in batch)
        yield out.getvalue().encode("utf-8")
        out.seek(0)
        out.truncate()
    yield out.getvalue().encode("utf-8")


def _json(rows: Iterator[dict[str, Any]]) -> Iterator[bytes]:
    begun = "["
    for batch in _batches(rows):
        lines = ",\n".join(json.dumps(row, indent=1) for row in batch)
        yield f"{begun}\n{lines}".encode()
        begun = ","
    yield b"[]\n" if begun == "[" else b"\n]\n"


def _batches(rows: Iterator[dict[str, Any]]) -> Iterator[list[dict[str, Any]]]:
    while batch := list(islice(rows, ROWS)):
        yield batch


def _parquet_file(rows: Iterator[dict[str, Any]], columns: dict[str, str]) -> Iterator[bytes]:
    with tempfile.TemporaryDirectory(prefix="flutegauge-") as place:
        path = Path(place) / "table.parquet"
        parquet().write_rows(_batches(rows), columns, path)
        with path.open("rb") as file:
            while piece := file.read(CHUNK):
                yield piece
