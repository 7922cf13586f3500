"""The records as files for other programs, one a table, as CSV, JSON or Parquet; and back into an empty folder.

CSV: UTF-8 with a header; nothing between commas is NULL. JSON: a list of objects. Parquet needs pyarrow (the extra
'parquet'). ``tables.json`` beside them names the format, the schema's steps and the number of rows.
"""

from __future__ import annotations

import csv
import io
import json
import sqlite3
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from vision.records.database import Records, check, open_records, transaction
from vision.records.empty_folder import into_empty
from vision.records.faults import RecordsError, explained
from vision.records.migrate import applied
from vision.records.table_bytes import columns_of, parquet, pieces
from vision.report.document import version

FORMAT = "flutegauge-records/1"
KINDS = ("csv", "json", "parquet")
# In an order in which nothing points at what is not there yet.
TABLES = (
    "kit", "instrument", "tag", "photo", "reading", "examined", "measured", "event", "judgement", "decision", "discard",
    "print", "camera", "verification", "rule", "profile", "waiting", "site_check", "combined",
    "combined_of",
)  # fmt: skip
Rows = list[dict[str, Any]]


def export(records: Records, folder: Path, kind: str) -> list[Path]:
    """Write every table into a new folder; return the files. Raises RecordsError: 'not-empty', 'invalid', 'disk-full'."""
    _refuse_strange(kind)
    with into_empty(folder) as draft, explained(folder):
        records.db.execute("BEGIN")  # one moment for all tables
        try:
            rows = {table: _write(records.db, table, draft / f"{table}.{kind}") for table in TABLES}
        finally:
            records.db.execute("ROLLBACK")
        (draft / "tables.json").write_text(_listed(records.db, rows), encoding="utf-8")
    return sorted(folder.iterdir())


def import_into(folder: Path, data: Path) -> dict[str, int]:
    """Read an export into a new set of records in an empty folder; return the rows of each table. Raises RecordsError.

    Pictures are not part of an export: 'backup' keeps them.
    """
    contents = _contents(folder)
    with into_empty(data) as draft, open_records(draft) as records:
        unknown = set(contents["steps"]) - set(applied(records.db))
        if unknown:
            raise RecordsError(
                "newer", f"{folder} was exported by a newer Flutegauge ({contents['software']}): install that version"
            )
        with transaction(records) as db:
            for table in (name for name in TABLES if name in contents["rows"]):  # an older export has fewer
                rows = _read(db, table, folder)
                if len(rows) != contents["rows"][table]:
                    raise RecordsError(
                        "damaged",
                        f"{folder}: {table} has {len(rows)} rows, needs {contents['rows'][table]}: export again",
                    )
                _insert(db, table, rows)
        check(records)
    return dict(contents["rows"])


def streamed(records: Records, kind: str) -> Iterator[bytes]:
    """Give the same tables as one ZIP file, piece by piece as they are read. Raises RecordsError before the first piece."""
    _refuse_strange(kind)
    return _zipped(records, kind)


def _zipped(records: Records, kind: str) -> Iterator[bytes]:
    out = _Outgoing()
    records.db.execute("BEGIN")  # one moment for all tables
    try:
        with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
            for table in TABLES:
                with archive.open(f"{table}.{kind}", "w", force_zip64=True) as entry:
                    for piece in pieces(records.db, table, kind):
                        entry.write(piece)
                        yield out.taken()
            archive.writestr("tables.json", _listed(records.db, {table: _rows(records.db, table) for table in TABLES}))
    finally:
        records.db.execute("ROLLBACK")
    yield out.taken()


class _Outgoing(io.RawIOBase):
    """Keeps what an archive writes until it is taken away."""

    def __init__(self) -> None:
        self._waiting = bytearray()

    def writable(self) -> bool:
        return True

    def write(self, data: Any) -> int:
        self._waiting += data
        return len(data)

    def taken(self) -> bytes:
        taken, self._waiting = bytes(self._waiting), bytearray()
        return taken


def _refuse_strange(kind: str) -> None:
    if kind not in KINDS:
        raise RecordsError("invalid", f"records are exported as {', '.join(KINDS)}, got '{kind[:24]}'")
    if kind == "parquet":
        parquet()


def _listed(db: sqlite3.Connection, rows: dict[str, int]) -> str:
    return json.dumps({"format": FORMAT, "software": version(), "steps": applied(db), "rows": rows}, indent=2) + "\n"


def _rows(db: sqlite3.Connection, table: str) -> int:
    return int(db.execute(f"SELECT count(*) FROM {table}").fetchone()[0])  # noqa: S608 - a name of TABLES


def _write(db: sqlite3.Connection, table: str, path: Path) -> int:
    with path.open("wb") as file:
        for piece in pieces(db, table, path.suffix[1:]):
            file.write(piece)
    return _rows(db, table)


def _read(db: sqlite3.Connection, table: str, folder: Path) -> Rows:
    path = next((folder / f"{table}.{kind}" for kind in KINDS if (folder / f"{table}.{kind}").is_file()), None)
    if path is None:
        raise RecordsError("damaged", f"{folder} lacks the table {table}: export again")
    with explained(path):
        if path.suffix == ".csv":
            columns = columns_of(db, table)
            with path.open(encoding="utf-8", newline="") as file:
                return [
                    {name: _typed(text, columns[name]) for name, text in row.items()} for row in csv.DictReader(file)
                ]
        if path.suffix == ".json":
            return _rows_of_json(path, table)
        from_parquet: Rows = parquet().read_rows(path)
        return from_parquet


def _typed(text: str, kind: str) -> str | int | float | None:
    if text == "":
        return None
    if kind == "INTEGER":
        return int(text)
    return float(text) if kind == "REAL" else text


def _rows_of_json(path: Path, table: str) -> Rows:
    try:
        made = json.loads(path.read_text(encoding="utf-8"))
    except (ValueError, RecursionError):
        made = None
    if not isinstance(made, list) or not all(isinstance(row, dict) for row in made):
        raise RecordsError("damaged", f"{path} holds no rows of the table {table}: export again; nothing was written")
    return made


def _insert(db: sqlite3.Connection, table: str, rows: Rows) -> None:
    columns = columns_of(db, table)
    blank = {name for name, kind in columns.items() if kind == "TEXT" and _never_null(db, table, name)}
    marks = ", ".join("?" * len(columns))
    try:
        values = [[("" if row[name] is None and name in blank else row[name]) for name in columns] for row in rows]
        db.executemany(f"INSERT INTO {table} ({', '.join(columns)}) VALUES ({marks})", values)  # noqa: S608 - a name of TABLES
    except (KeyError, TypeError, OverflowError, UnicodeEncodeError, sqlite3.ProgrammingError, sqlite3.InterfaceError) as error:
        raise RecordsError("damaged", f"a row of the table {table} is none of ours: export again; nothing was written") from error


def _never_null(db: sqlite3.Connection, table: str, column: str) -> bool:
    return any(row["name"] == column and row["notnull"] for row in db.execute(f"PRAGMA table_info({table})"))


def _contents(folder: Path) -> dict[str, Any]:
    try:
        contents: dict[str, Any] = json.loads((folder / "tables.json").read_text(encoding="utf-8"))
        whole = isinstance(contents["rows"], dict) and isinstance(contents["steps"], list) and "software" in contents
        if not whole or not all(isinstance(step, str) for step in contents["steps"]):
            raise ValueError("no list of tables")
    except (OSError, ValueError, KeyError, TypeError, RecursionError) as error:
        raise RecordsError(
            "not-ours", f"{folder} is no export of records (tables.json cannot be read): name its folder"
        ) from error
    if contents.get("format") != FORMAT:
        raise RecordsError("not-ours", f"{folder} is of the format {contents.get('format')!r}, needs {FORMAT!r}")
    return contents
