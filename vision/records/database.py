"""Opens the records' folder: one SQLite file in WAL mode, foreign keys on, photos beside it.

``synchronous=FULL``: what was acknowledged has reached the disk, so that lost power takes none of it (SQLite's own
documentation of WAL, from memory; held by the tests that kill the process while it saves).
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import platformdirs

from vision.records.faults import RecordsError, explained
from vision.records.migrate import bring_up_to_date, refuse_strangers

FILE = "records.sqlite"
PHOTOS = "photos"
LISTS = "lists"  # of what trays must hold, one TOML file each
BUSY_S = 5.0


@dataclass(frozen=True)
class Records:
    """An open set of records. ``folder`` holds the SQLite file and the photos."""

    folder: Path
    db: sqlite3.Connection

    @property
    def photos(self) -> Path:
        """Folder of the photos, named by their content's hash."""
        return self.folder / PHOTOS


def default_folder() -> Path:
    """Return the user's own data folder for records."""
    return platformdirs.user_data_path("flutegauge", appauthor=False)


@contextmanager
def open_records(folder: Path, *, busy_s: float = BUSY_S) -> Iterator[Records]:
    """Open (and make, if missing) the records in ``folder``; brings an older file up to date.

    Raises RecordsError: 'newer' for a file that a later version wrote, 'not-ours', 'damaged', 'locked', 'disk-full',
    'refused'. A file that is refused is left untouched.
    """
    path = folder / FILE
    with explained(path):
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        db = connect(path, busy_s)
    try:
        with explained(path):
            refuse_strangers(db, path)
            db.execute("PRAGMA journal_mode=WAL")
            bring_up_to_date(db)
        yield Records(folder, db)
    finally:
        db.close()


def connect(path: Path, busy_s: float = BUSY_S) -> sqlite3.Connection:
    """Connect without changing anything: explicit transactions, rows by name, foreign keys enforced."""
    db = sqlite3.connect(path, timeout=busy_s, isolation_level=None, check_same_thread=False)
    db.row_factory = sqlite3.Row
    db.execute("PRAGMA foreign_keys=ON")
    db.execute("PRAGMA synchronous=FULL")
    return db


@contextmanager
def transaction(records: Records) -> Iterator[sqlite3.Connection]:
    """One transaction: all of the block is kept, or none of it. Raises RecordsError."""
    db = records.db
    with explained(records.folder / FILE):
        db.execute("BEGIN IMMEDIATE")
        try:
            yield db
            db.execute("COMMIT")
        finally:
            if db.in_transaction:
                db.execute("ROLLBACK")


def check(records: Records) -> None:
    """Ask SQLite whether every page and every reference is whole. Raises RecordsError of kind 'damaged'."""
    with explained(records.folder / FILE):
        said = [str(row[0]) for row in records.db.execute("PRAGMA integrity_check")]
        loose = records.db.execute("PRAGMA foreign_key_check").fetchall()
    if said != ["ok"] or loose:
        found = "; ".join(said[:3]) if said != ["ok"] else f"{len(loose)} rows point at nothing"
        raise RecordsError("damaged", f"{records.folder / FILE} is damaged ({found}): restore a backup")
