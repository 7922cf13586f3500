"""Steps of the schema that make search quick: what is found is written down in narrow tables of its own.

They hold nothing that is not in the other tables too; triggers keep them, an export leaves them out. ``line.id`` carries the order
in which readings were kept: reading * 4096 + 4095 - number in the photo (number 0: nothing was examined), so that the newest
reading comes first downwards, its instruments in their order.
"""

# ruff: noqa: S608 - statements are put together from our own words, values are always parameters
from __future__ import annotations

import sqlite3

NUMBERS = 4096  # lines of one reading, at most
_AT_S = "coalesce(CAST(strftime('%s', {of}.read_at) AS INTEGER), 0)"


def lines_of_the_records(db: sqlite3.Connection) -> None:
    """One row for each line of the records' list, with the indices that each search walks along; file names by their letters."""
    db.execute(
        """CREATE TABLE line (
            id INTEGER PRIMARY KEY, at_s INTEGER NOT NULL, family TEXT, size INTEGER, call TEXT, said TEXT,
            instrument_id INTEGER REFERENCES instrument (id)) STRICT"""
    )
    db.execute("CREATE VIRTUAL TABLE file_text USING fts5 (file, content='', tokenize='trigram')")
    _fill(db)
    for name, columns in (
        ("time", "at_s"), ("family", "family, at_s"), ("size", "size, at_s, family, call"), ("call", "call, at_s"),
        ("family_and_call", "family, call, at_s"), ("instrument", "instrument_id, at_s"), ("said", "said"),
    ):  # fmt: skip
        db.execute(f"CREATE INDEX line_by_{name} ON line ({columns})")
    db.execute(f"""CREATE TRIGGER reading_makes_line AFTER INSERT ON reading BEGIN
        INSERT INTO line VALUES (NEW.id * {NUMBERS} + {NUMBERS - 1}, {_AT_S.format(of="NEW")}, NULL, NULL, NULL, NEW.error_kind, NULL);
        INSERT INTO file_text (rowid, file) VALUES (NEW.id, NEW.file);
    END""")
    db.execute(f"""CREATE TRIGGER examined_makes_line AFTER INSERT ON examined BEGIN
        DELETE FROM line WHERE id = NEW.reading_id * {NUMBERS} + {NUMBERS - 1};
        INSERT OR IGNORE INTO line SELECT {_id_of("NEW")}, {_AT_S.format(of="reading")}, NEW.family, NEW.size, NEW.call,
            NEW.findings, NEW.instrument_id FROM reading WHERE id = NEW.reading_id;
    END""")
    db.execute(f"""CREATE TRIGGER examined_moves_line AFTER UPDATE OF instrument_id ON examined BEGIN
        UPDATE line SET instrument_id = NEW.instrument_id WHERE id = {_id_of("NEW")};
    END""")


def readings_that_may_be_made_again(db: sqlite3.Connection) -> None:
    """The latest reading of each photo that is still there, by the software and models that made it; and other ways to rows."""
    db.execute(
        "CREATE TABLE maker (id INTEGER PRIMARY KEY, software TEXT NOT NULL, models TEXT NOT NULL, UNIQUE (software, models)) STRICT"
    )
    db.execute("CREATE TABLE latest (reading_id INTEGER PRIMARY KEY REFERENCES reading (id), maker_id INTEGER NOT NULL) STRICT")
    db.execute("INSERT INTO maker (software, models) SELECT DISTINCT software, models FROM reading")
    db.execute(f"INSERT INTO latest {_latest('photo.removed_at IS NULL')}")
    db.execute("CREATE INDEX latest_by_maker ON latest (maker_id)")
    gone = "DELETE FROM latest WHERE reading_id IN (SELECT id FROM reading WHERE photo_sha256 = NEW.{photo})"
    db.execute(f"""CREATE TRIGGER reading_is_latest AFTER INSERT ON reading WHEN NEW.photo_sha256 IS NOT NULL BEGIN
        {gone.format(photo="photo_sha256")};
        INSERT INTO maker (software, models) VALUES (NEW.software, NEW.models) ON CONFLICT DO NOTHING;
        INSERT INTO latest SELECT NEW.id, maker.id FROM maker JOIN photo ON photo.sha256 = NEW.photo_sha256
            WHERE maker.software = NEW.software AND maker.models = NEW.models AND photo.removed_at IS NULL;
    END""")
    db.execute(f"""CREATE TRIGGER photo_comes_or_goes AFTER UPDATE OF removed_at ON photo BEGIN
        {gone.format(photo="sha256")};
        INSERT INTO latest {_latest("photo.removed_at IS NULL AND photo.sha256 = NEW.sha256")};
    END""")
    db.execute("CREATE INDEX reading_made_again ON reading (id) WHERE read_again_of IS NOT NULL")
    db.execute(f"CREATE INDEX reading_by_run ON reading ({RUN}) WHERE {RUN} IS NOT NULL")
    db.execute("CREATE INDEX photo_by_time ON photo (added_at) WHERE removed_at IS NULL")
    db.execute("CREATE INDEX decision_by_instrument ON decision (instrument_id)")


def instruments_by_their_letters(db: sqlite3.Connection) -> None:
    """Codes, kits and slots by their letters, codes by how they begin; and what a month's report counts along."""
    db.execute("CREATE VIRTUAL TABLE instrument_text USING fts5 (code, place, content='', tokenize='trigram')")
    db.execute(f"INSERT INTO instrument_text (rowid, code, place) SELECT id, code, {_PLACE.format(of='instrument')} FROM instrument")
    added, gone = (f"{{}}.id, {{}}.code, {_PLACE.format(of=of)}".replace("{}", of) for of in ("NEW", "OLD"))
    db.execute(f"""CREATE TRIGGER instrument_gets_text AFTER INSERT ON instrument BEGIN
        INSERT INTO instrument_text (rowid, code, place) VALUES ({added});
    END""")
    db.execute(f"""CREATE TRIGGER instrument_changes_text AFTER UPDATE OF code, kit_id, slot ON instrument BEGIN
        INSERT INTO instrument_text (instrument_text, rowid, code, place) VALUES ('delete', {gone});
        INSERT INTO instrument_text (rowid, code, place) VALUES ({added});
    END""")
    db.execute("CREATE INDEX instrument_by_beginning ON instrument (code COLLATE NOCASE)")
    db.execute("CREATE INDEX instrument_by_slot ON instrument (slot)")
    db.execute("CREATE INDEX line_by_month ON line (at_s, call)")


_PLACE = "coalesce((SELECT kit.code FROM kit WHERE kit.id = {of}.kit_id), '') || ' ' || coalesce({of}.slot, '')"
RUN = "CASE WHEN json_valid(settings) THEN json_extract(settings, '$.run') END"


def _id_of(row: str) -> str:
    return f"{row}.reading_id * {NUMBERS} + {NUMBERS - 1} - {row}.number"


def _fill(db: sqlite3.Connection) -> None:
    """Write the lines of what is there already."""
    at_s = _AT_S.format(of="reading")
    db.execute(
        f"INSERT OR IGNORE INTO line SELECT {_id_of('examined')}, {at_s}, examined.family, examined.size, examined.call, "
        "examined.findings, examined.instrument_id FROM reading CROSS JOIN examined ON examined.reading_id = reading.id "
        "ORDER BY reading.id, examined.number DESC"
    )
    db.execute(
        f"INSERT INTO line SELECT id * {NUMBERS} + {NUMBERS - 1}, {at_s}, NULL, NULL, NULL, error_kind, NULL FROM reading "
        "WHERE NOT EXISTS (SELECT 1 FROM examined WHERE examined.reading_id = reading.id)"
    )
    db.execute("INSERT INTO file_text (rowid, file) SELECT id, file FROM reading ORDER BY id")


def _latest(which: str) -> str:
    return (
        "SELECT max(reading.id), maker.id FROM photo JOIN reading ON reading.photo_sha256 = photo.sha256 "
        "JOIN maker ON maker.software = reading.software AND maker.models = reading.models "
        f"WHERE {which} GROUP BY photo.sha256"
    )
