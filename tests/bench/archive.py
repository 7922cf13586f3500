"""Fills a folder with records that are all invented: ``fill(folder, 1_000_000)``. No pictures and no traces; a document each."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import random
import sqlite3
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from tests.invented_readings import failed, reading
from vision.records.clock import stamp
from vision.records.database import FILE, PHOTOS, connect
from vision.records.migrate import bring_up_to_date
from vision.records.migrations import MIGRATIONS
from vision.report.document import document, version

FAMILIES = (("k-file", 45), ("reamer", 20), ("hedstroem-file", 20), ("barbed-broach", 8), (None, 7))
SIZES = (8, 10, 15, 20, 25, 30, 35, 40, 45, 50, 55, 60, 70, 80, 90, 100, 110, 120, 130, 140)
CALLS = (("nothing seen", 70), ("look again", 20), ("discard", 10))
FINDINGS = {"nothing seen": ("[]",), "look again": ('["dirt"]', '["bend"]'), "discard": ('["unwound"]', '["tip"]', '["bend", "unwound"]')}
QUANTITIES = ("d0_mm", "d16_mm", "length_mm", "pitch_mm", "shank_width_mm", "helix_angle_deg")
FIRST, YEARS = dt.datetime(2020, 1, 1, tzinfo=dt.UTC), 5
PER_INSTRUMENT, PER_KIT, BATCH = 20, 20, 10_000
OLD_STEPS = tuple(step.__name__ for step in MIGRATIONS).index("lines_of_the_records")
Row = tuple[Any, ...]


def fill(folder: Path, readings: int, seed: int = 1) -> bool:
    """Make the records as an older version would have left them, so that opening them brings them up to date; False: they are there."""
    if (folder / FILE).exists():
        return False
    (folder / PHOTOS).mkdir(parents=True)
    db = connect(folder / FILE)
    db.execute("PRAGMA journal_mode=WAL")
    db.execute("PRAGMA synchronous=OFF")  # a scratch folder: a crash may take it
    bring_up_to_date(db, MIGRATIONS[:OLD_STEPS])
    chance = random.Random(seed)  # noqa: S311 - invented readings, no secrets
    _instruments(db, readings, chance)
    for first in range(1, readings + 1, BATCH):
        _readings(db, range(first, min(first + BATCH, readings + 1)), readings, chance)
    _people(db, readings // PER_INSTRUMENT, chance)
    db.close()
    return True


def code(number: int) -> str:
    """An instrument's code."""
    return f"K{number:06d}"


def _instruments(db: sqlite3.Connection, readings: int, chance: random.Random) -> None:
    many, at = readings // PER_INSTRUMENT, stamp(FIRST)
    rows = [
        (n, code(n), n // PER_KIT + 1, str(n % PER_KIT + 1), "k-file", chance.choice(SIZES), 25.0, "stainless steel", 0, at)
        for n in range(1, many + 1)
    ]
    columns = "id, code, kit_id, slot, family, size, length_mm, material, single_use, added_at"
    with _together(db):
        kits = [(n, f"BOX-{n}", at) for n in range(1, many // PER_KIT + 2)]
        db.executemany("INSERT INTO kit (id, code, added_at) VALUES (?, ?, ?)", kits)
        db.executemany(f"INSERT INTO instrument ({columns}) VALUES ({', '.join('?' * 10)})", rows)  # noqa: S608 - our own words


def _readings(db: sqlite3.Connection, numbers: range, readings: int, chance: random.Random) -> None:
    photos, rows, lines = [], [], []
    for number in numbers:
        at = stamp(FIRST + dt.timedelta(days=365 * YEARS) * (number / readings))
        digest = hashlib.sha256(str(number).encode()).hexdigest()
        file = f"{'old' if number < readings // 50 else 'IMG'}_{number:07d}.jpg"
        count = chance.choices((0, 1, 3), (5, 85, 10))[0]
        made_by = version() if number > readings * 0.8 else f"0.0.{1 + number * 2 // readings}"
        photos.append((digest, file, "jpg", 4_000_000, 4000, 3000, "Invented", "Tele 1", 77.0, at, None))
        error = None if count else "no-sheet"
        said = (made_by, '{"outline": "sha256:1"}', "{}", _document(file, count), error, None)
        rows.append((number, digest, file, at, *said, "A4-1", 1, 80.0, None))
        lines += list(_examined(number, count, readings, chance))
    with _together(db):
        db.executemany(f"INSERT INTO photo VALUES ({', '.join('?' * 11)})", photos)  # noqa: S608 - marks only
        db.executemany(f"INSERT INTO reading VALUES ({', '.join('?' * 14)})", rows)  # noqa: S608 - marks only
        db.executemany(f"INSERT INTO examined VALUES ({', '.join('?' * 11)})", lines)  # noqa: S608 - marks only
        db.executemany(
            "INSERT INTO measured VALUES (?, ?, ?, ?)",
            [(line[0], name, round(chance.uniform(0.2, 1.0), 4), 0.004) for line in lines for name in QUANTITIES],
        )


def _examined(number: int, count: int, readings: int, chance: random.Random) -> Iterator[Row]:
    for which in range(1, count + 1):
        call = chance.choices([name for name, _ in CALLS], [share for _, share in CALLS])[0]
        family = chance.choices([name for name, _ in FAMILIES], [share for _, share in FAMILIES])[0]
        meant = chance.randrange(1, readings // PER_INSTRUMENT + 1) if chance.random() < 0.8 else None
        finding = "broken" if chance.random() < 2e-5 else None
        findings = f'["{finding}"]' if finding else chance.choice(FINDINGS[call])
        yield (number * 4 + which, number, which, meant, family, 0.9, chance.choice(SIZES), 0.8, call, findings, None)


_DOCUMENTS: dict[int, str] = {}


def _document(file: str, count: int) -> str:
    """The document of one invented reading, under another file's name."""
    if count not in _DOCUMENTS:
        made = failed() if count == 0 else reading(instruments=min(count, 2))
        _DOCUMENTS[count] = json.dumps(document([made], {"outline": "sha256:1"}))
    text = _DOCUMENTS[count]
    return text.replace("macro-01.jpg", file)


def _people(db: sqlite3.Connection, instruments: int, chance: random.Random) -> None:
    at = [stamp(FIRST + dt.timedelta(days=365 * YEARS * chance.random())) for _ in range(instruments)]
    gone = [(n, None, at[n - 1], "unwound", "AB") for n in range(1, instruments + 1) if chance.random() < 0.3]
    with _together(db):
        db.executemany(
            "INSERT INTO event (instrument_id, at, kind, initials) VALUES (?, ?, ?, 'AB')",
            [(n, at[n - 1], kind) for n in range(1, instruments + 1) for kind in ("used", "cleaned", "sterilised") * 2],
        )
        db.executemany("INSERT INTO discard VALUES (?, ?, ?, ?, ?)", gone)
        db.executemany(
            "INSERT INTO decision (instrument_id, at, decision, initials) VALUES (?, ?, 'discard', ?)",
            [(n, when, initials) for n, _, when, _, initials in gone],
        )


class _together:  # noqa: N801 - reads as a word
    """One transaction."""

    def __init__(self, db: sqlite3.Connection) -> None:
        self._db = db

    def __enter__(self) -> None:
        self._db.execute("BEGIN")

    def __exit__(self, kind: object, *_: object) -> None:
        self._db.execute("COMMIT" if kind is None else "ROLLBACK")
