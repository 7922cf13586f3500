"""Brings a file up to date: each named step is applied together with its own record, in one transaction."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Sequence
from pathlib import Path

from vision.records.clock import now
from vision.records.faults import RecordsError, damaged
from vision.records.migrations import MIGRATIONS
from vision.report.document import version

APPLICATION_ID = 0x464C5547  # 'FLUG': tells our file from any other SQLite file
Step = Callable[[sqlite3.Connection], None]
_RECORD = "CREATE TABLE IF NOT EXISTS migration (name TEXT PRIMARY KEY, applied_at TEXT NOT NULL, software TEXT NOT NULL) STRICT"


def applied(db: sqlite3.Connection) -> list[str]:
    """Return the names of the steps this file has seen, in order; reads only."""
    if not db.execute("SELECT 1 FROM sqlite_master WHERE type = 'table' AND name = 'migration'").fetchone():
        return []
    return [str(row[0]) for row in db.execute("SELECT name FROM migration ORDER BY rowid")]


def pending(db: sqlite3.Connection, steps: Sequence[Step] = MIGRATIONS) -> list[Step]:
    """Return the steps still to be applied, in order; reads only."""
    done = set(applied(db))
    return [step for step in steps if step.__name__ not in done]


def refuse_strangers(db: sqlite3.Connection, path: Path) -> None:
    """Refuse a file that is not ours or that a newer version wrote; reads only. Raises RecordsError."""
    tables = db.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
    ours = db.execute("PRAGMA application_id").fetchone()
    if ours is None:  # a damaged header
        raise damaged(path)
    if tables and ours[0] != APPLICATION_ID:
        raise RecordsError("not-ours", f"{path} holds something else than records: name another folder with --data")
    unknown = [name for name in applied(db) if name not in {step.__name__ for step in MIGRATIONS}]
    if unknown:
        by = db.execute("SELECT software FROM migration WHERE name = ?", (unknown[-1],)).fetchone()[0]
        raise RecordsError(
            "newer",
            f"{path} was written by a newer Flutegauge ({by}; it knows '{unknown[-1]}', this is {version()}): install that "
            "version or a later one; nothing was changed",
        )


def bring_up_to_date(db: sqlite3.Connection, steps: Sequence[Step] = MIGRATIONS) -> None:
    """Apply what is pending; a step that fails leaves the file as it was before that step."""
    for step in pending(db, steps):
        db.execute("BEGIN IMMEDIATE")
        try:
            if step.__name__ not in applied(db):  # another process may have been quicker
                db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
                db.execute(_RECORD)
                step(db)
                db.execute("INSERT INTO migration VALUES (?, ?, ?)", (step.__name__, now(), version()))
            db.execute("COMMIT")
        finally:
            if db.in_transaction:
                db.execute("ROLLBACK")
