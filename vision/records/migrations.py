"""The schema, step by step. A step that was released is never edited: a change is a new step at the end.

No table has a place for patient data: people are known by initials or a code (1 to 8 capitals, digits, hyphens), notes
speak of instruments. What was read and who decided what is only ever added to; triggers refuse to change it.
"""

from __future__ import annotations

import sqlite3

from vision.records.migration_lines import (
    instruments_by_their_letters,
    lines_of_the_records,
    readings_that_may_be_made_again,
)

INITIALS = "TEXT NOT NULL CHECK (length(initials) BETWEEN 1 AND 8 AND initials NOT GLOB '*[^A-Z0-9-]*')"
NOTE = "TEXT CHECK (length(note) BETWEEN 1 AND 300)"
NAMED = "TEXT NOT NULL UNIQUE CHECK (length(code) BETWEEN 1 AND 24 AND code NOT GLOB '*[^A-Za-z0-9._-]*')"


def kits_and_instruments(db: sqlite3.Connection) -> None:
    """Kits, instruments with their own code, and the code tags that name either."""
    db.execute(f"CREATE TABLE kit (id INTEGER PRIMARY KEY, code {NAMED}, added_at TEXT NOT NULL, note {NOTE}) STRICT")
    db.execute(
        f"""CREATE TABLE instrument (
            id INTEGER PRIMARY KEY,
            code {NAMED},
            kit_id INTEGER REFERENCES kit (id),
            slot TEXT CHECK (length(slot) BETWEEN 1 AND 12),
            family TEXT, size INTEGER, length_mm REAL,
            material TEXT CHECK (material IN ('stainless steel', 'nickel-titanium', 'carbon steel', 'other')),
            single_use INTEGER NOT NULL CHECK (single_use IN (0, 1)),
            note {NOTE},
            added_at TEXT NOT NULL,
            edition INTEGER NOT NULL DEFAULT 1) STRICT"""
    )
    db.execute(
        """CREATE TABLE tag (
            number INTEGER PRIMARY KEY CHECK (number BETWEEN 0 AND 999),
            instrument_id INTEGER REFERENCES instrument (id),
            kit_id INTEGER REFERENCES kit (id),
            added_at TEXT NOT NULL,
            CHECK ((instrument_id IS NULL) <> (kit_id IS NULL))) STRICT"""
    )
    db.execute("CREATE INDEX instrument_by_kit ON instrument (kit_id)")


def photos_and_readings(db: sqlite3.Connection) -> None:
    """Photos by content, readings in full, and one row for each instrument a reading examined."""
    db.execute(
        """CREATE TABLE photo (
            sha256 TEXT PRIMARY KEY CHECK (length(sha256) = 64),
            name TEXT NOT NULL, ending TEXT NOT NULL, bytes INTEGER NOT NULL,
            width_px INTEGER, height_px INTEGER, camera_make TEXT, camera_model TEXT, f35_mm REAL,
            added_at TEXT NOT NULL, removed_at TEXT) STRICT"""
    )
    db.execute(
        """CREATE TABLE reading (
            id INTEGER PRIMARY KEY,
            photo_sha256 TEXT REFERENCES photo (sha256),
            file TEXT NOT NULL, read_at TEXT NOT NULL,
            software TEXT NOT NULL, models TEXT NOT NULL,
            settings TEXT NOT NULL,
            document TEXT NOT NULL,
            error_kind TEXT, error_message TEXT,
            sheet TEXT, print_checked INTEGER, px_per_mm REAL,
            read_again_of INTEGER REFERENCES reading (id)) STRICT"""
    )
    db.execute(
        """CREATE TABLE examined (
            id INTEGER PRIMARY KEY,
            reading_id INTEGER NOT NULL REFERENCES reading (id),
            number INTEGER NOT NULL,
            instrument_id INTEGER REFERENCES instrument (id),
            family TEXT, family_probability REAL, size INTEGER, size_probability REAL,
            call TEXT NOT NULL, findings TEXT NOT NULL, trace TEXT,
            UNIQUE (reading_id, number)) STRICT"""
    )
    db.execute(
        """CREATE TABLE measured (
            examined_id INTEGER NOT NULL REFERENCES examined (id),
            name TEXT NOT NULL, value REAL NOT NULL, u REAL NOT NULL,
            PRIMARY KEY (examined_id, name)) STRICT, WITHOUT ROWID"""
    )
    db.execute("CREATE INDEX examined_by_instrument ON examined (instrument_id)")
    db.execute("CREATE INDEX reading_by_time ON reading (read_at)")
    db.execute("CREATE INDEX reading_by_photo ON reading (photo_sha256)")
    _kept(db, "reading", "id, read_at, software, models, settings, document, error_kind, error_message")
    _kept(db, "examined", "id, reading_id, number, family, size, call, findings, trace")
    _kept(db, "measured", "examined_id, name, value, u")


def people_and_their_decisions(db: sqlite3.Connection) -> None:
    """Uses and cycles, confirmations and corrections beside a reading, decisions, and the discard log."""
    db.execute(
        f"""CREATE TABLE event (
            id INTEGER PRIMARY KEY,
            instrument_id INTEGER NOT NULL REFERENCES instrument (id),
            at TEXT NOT NULL, kind TEXT NOT NULL CHECK (kind IN ('used', 'cleaned', 'sterilised')),
            cycle TEXT CHECK (length(cycle) BETWEEN 1 AND 24), initials {INITIALS}, note {NOTE}) STRICT"""
    )
    db.execute(
        f"""CREATE TABLE judgement (
            id INTEGER PRIMARY KEY,
            examined_id INTEGER NOT NULL REFERENCES examined (id),
            at TEXT NOT NULL, kind TEXT NOT NULL CHECK (kind IN ('confirmed', 'corrected')),
            family TEXT, size INTEGER, initials {INITIALS}, note {NOTE},
            CHECK (kind = 'confirmed' OR family IS NOT NULL OR size IS NOT NULL OR note IS NOT NULL)) STRICT"""
    )
    db.execute(
        f"""CREATE TABLE decision (
            id INTEGER PRIMARY KEY,
            instrument_id INTEGER NOT NULL REFERENCES instrument (id),
            examined_id INTEGER REFERENCES examined (id),
            at TEXT NOT NULL,
            decision TEXT NOT NULL CHECK (decision IN ('discard', 'look again', 'back to the cycle')),
            initials {INITIALS}, note {NOTE}) STRICT"""
    )
    db.execute(
        f"""CREATE TABLE discard (
            instrument_id INTEGER PRIMARY KEY REFERENCES instrument (id),
            examined_id INTEGER REFERENCES examined (id),
            at TEXT NOT NULL, reason TEXT NOT NULL CHECK (length(reason) BETWEEN 1 AND 300), initials {INITIALS}) STRICT"""
    )
    for table in ("event", "judgement", "decision", "discard"):
        db.execute(f"CREATE INDEX {table}_by_time ON {table} (at)")
        _kept(db, table)
    db.execute("CREATE INDEX event_by_instrument ON event (instrument_id)")
    db.execute("CREATE INDEX judgement_by_examined ON judgement (examined_id)")


def sheets_cameras_and_verifications(db: sqlite3.Connection) -> None:
    """Prints of sheets with their checks, cameras met, and checks of the whole set-up against something known."""
    db.execute(
        f"""CREATE TABLE print (
            id INTEGER PRIMARY KEY, sheet TEXT NOT NULL, name TEXT NOT NULL DEFAULT '',
            along_mm REAL NOT NULL, across_mm REAL NOT NULL, u_mm REAL NOT NULL, tool TEXT NOT NULL,
            checked_on TEXT NOT NULL, note {NOTE}) STRICT"""
    )
    db.execute(
        """CREATE TABLE camera (
            id INTEGER PRIMARY KEY, make TEXT NOT NULL DEFAULT '', model TEXT NOT NULL DEFAULT '', f35_mm REAL NOT NULL DEFAULT 0,
            first_at TEXT NOT NULL, last_at TEXT NOT NULL, photos INTEGER NOT NULL DEFAULT 0,
            UNIQUE (make, model, f35_mm)) STRICT"""
    )
    db.execute(
        f"""CREATE TABLE verification (
            id INTEGER PRIMARY KEY, at TEXT NOT NULL, initials {INITIALS},
            reference TEXT NOT NULL CHECK (length(reference) BETWEEN 1 AND 120),
            name TEXT NOT NULL, known REAL NOT NULL, known_u REAL NOT NULL CHECK (known_u >= 0),
            value REAL NOT NULL, u REAL NOT NULL CHECK (u >= 0),
            examined_id INTEGER REFERENCES examined (id), note {NOTE}) STRICT"""
    )
    _kept(db, "print")
    _kept(db, "verification")


def rules(db: sqlite3.Connection) -> None:
    """Rules a practice sets, for instance how long photos are kept."""
    db.execute("CREATE TABLE rule (name TEXT PRIMARY KEY, value TEXT NOT NULL, set_at TEXT NOT NULL) STRICT")


def camera_profiles(db: sqlite3.Connection) -> None:
    """Camera profiles as their files had them, so that an old reading's profile is never lost."""
    db.execute(
        """CREATE TABLE profile (
            id INTEGER PRIMARY KEY, name TEXT NOT NULL, made_on TEXT NOT NULL, made_by TEXT NOT NULL,
            content TEXT NOT NULL UNIQUE, kept_at TEXT NOT NULL) STRICT"""
    )
    _kept(db, "profile")


def photos_that_wait(db: sqlite3.Connection) -> None:
    """Photos that were taken in and are still to be read, with what was said about them."""
    db.execute(
        """CREATE TABLE waiting (
            id INTEGER PRIMARY KEY, photo_sha256 TEXT NOT NULL REFERENCES photo (sha256), name TEXT NOT NULL,
            settings TEXT NOT NULL, instrument_id INTEGER REFERENCES instrument (id),
            read_again_of INTEGER REFERENCES reading (id), added_at TEXT NOT NULL) STRICT"""
    )


def verifications_on_site(db: sqlite3.Connection) -> None:
    """Results of verifications of whole set-ups, as their files had them."""
    db.execute(
        """CREATE TABLE site_check (
            id INTEGER PRIMARY KEY, name TEXT NOT NULL, made_on TEXT NOT NULL, statement TEXT NOT NULL,
            content TEXT NOT NULL UNIQUE, kept_at TEXT NOT NULL) STRICT"""
    )
    _kept(db, "site_check")


def combined_readings(db: sqlite3.Connection) -> None:
    """Readings made of several photos of one instrument, and which single readings they rest on."""
    db.execute(
        """CREATE TABLE combined (
            id INTEGER PRIMARY KEY, read_at TEXT NOT NULL, software TEXT NOT NULL, models TEXT NOT NULL, mode TEXT NOT NULL,
            document TEXT NOT NULL) STRICT"""
    )
    db.execute(
        """CREATE TABLE combined_of (
            combined_id INTEGER NOT NULL REFERENCES combined (id), reading_id INTEGER NOT NULL REFERENCES reading (id),
            PRIMARY KEY (combined_id, reading_id)) STRICT"""
    )
    _kept(db, "combined")
    _kept(db, "combined_of")


MIGRATIONS = (
    kits_and_instruments,
    photos_and_readings,
    people_and_their_decisions,
    sheets_cameras_and_verifications,
    rules,
    camera_profiles,
    photos_that_wait,
    verifications_on_site,
    combined_readings,
    lines_of_the_records,
    readings_that_may_be_made_again,
    instruments_by_their_letters,
)


def _kept(db: sqlite3.Connection, table: str, columns: str = "") -> None:
    """Refuse to change (these columns of) a row, or to delete it."""
    of = f"OF {columns} " if columns else ""
    why = f"SELECT RAISE(ABORT, 'what stands in {table} is never changed, only added to')"
    db.execute(f"CREATE TRIGGER {table}_not_changed BEFORE UPDATE {of}ON {table} BEGIN {why}; END")
    db.execute(f"CREATE TRIGGER {table}_not_deleted BEFORE DELETE ON {table} BEGIN {why}; END")
