"""The records file itself: steps of its schema, newer and damaged files, locks, a full disk, a kill in the middle of a save."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest
from invented_readings import reading
from kill_saves import kill_at_random

from vision.records.database import FILE, Records, check, open_records
from vision.records.equipment import profiles
from vision.records.faults import RecordsError
from vision.records.instruments import (
    instrument,
)
from vision.records.migrate import applied, bring_up_to_date
from vision.records.migrations import MIGRATIONS
from vision.records.readings import NewReading, save_reading
from vision.records.search import Filter, find
from vision.records.trace_json import traces
from vision.report.document import document


@pytest.fixture
def records(tmp_path: Path) -> Iterator[Records]:
    with open_records(tmp_path / "records") as opened:
        yield opened


def save(records: Records, **more: object) -> int:
    made = reading()
    return save_reading(records, NewReading(document([made], {"outline": "sha256:1"}), traces(made), **more))  # type: ignore[arg-type]


def test_every_step_stands_beside_its_record(tmp_path: Path) -> None:
    with open_records(tmp_path) as records:
        assert applied(records.db) == [step.__name__ for step in MIGRATIONS]
        assert records.db.execute("PRAGMA journal_mode").fetchone()[0] == "wal"
        assert records.db.execute("PRAGMA foreign_keys").fetchone()[0] == 1
        assert records.db.execute("PRAGMA synchronous").fetchone()[0] == 2


def test_an_older_file_is_brought_up_to_date(tmp_path: Path) -> None:
    db = sqlite3.connect(tmp_path / FILE, isolation_level=None)
    bring_up_to_date(db, MIGRATIONS[:3])
    db.execute("INSERT INTO instrument (code, single_use, added_at) VALUES ('K-7', 0, '2026-01-01T00:00:00Z')")
    db.close()

    with open_records(tmp_path) as records:
        assert applied(records.db) == [step.__name__ for step in MIGRATIONS]
        assert instrument(records, "K-7").added_at == "2026-01-01T00:00:00Z"
        assert profiles(records) == []


def test_a_step_that_fails_leaves_nothing_behind(tmp_path: Path) -> None:
    def broken(db: sqlite3.Connection) -> None:
        db.execute("CREATE TABLE half (a INTEGER)")
        db.execute("CREATE TABLE half (a INTEGER)")

    with open_records(tmp_path) as records:
        with pytest.raises(sqlite3.OperationalError):
            bring_up_to_date(records.db, (*MIGRATIONS, broken))

        assert "broken" not in applied(records.db)
        assert records.db.execute("SELECT count(*) FROM sqlite_master WHERE name = 'half'").fetchone()[0] == 0


def test_a_newer_file_is_refused_and_left_alone(tmp_path: Path) -> None:
    with open_records(tmp_path) as records:
        records.db.execute("INSERT INTO migration VALUES ('holograms', '2031-01-01T00:00:00Z', '9.1.0')")
        records.db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    before = (tmp_path / FILE).read_bytes()

    with (
        pytest.raises(RecordsError, match=r"newer Flutegauge \(9\.1\.0; it knows 'holograms'") as raised,
        open_records(tmp_path),
    ):
        pass

    assert raised.value.kind == "newer"
    assert (tmp_path / FILE).read_bytes() == before


def test_somebody_elses_file_is_refused(tmp_path: Path) -> None:
    other = sqlite3.connect(tmp_path / FILE)
    other.execute("CREATE TABLE recipe (name TEXT)")
    other.close()

    with pytest.raises(RecordsError, match="something else than records"), open_records(tmp_path):
        pass


def test_a_damaged_file_is_said_to_be(tmp_path: Path) -> None:
    with open_records(tmp_path) as records:
        save(records)
        records.db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    data = bytearray((tmp_path / FILE).read_bytes())
    data[4096:20000] = b"\x55" * (20000 - 4096)
    (tmp_path / FILE).write_bytes(bytes(data))

    with pytest.raises(RecordsError) as raised, open_records(tmp_path) as records:
        check(records)

    assert raised.value.kind == "damaged"
    assert "restore a backup" in raised.value.message


def test_a_locked_file_is_waited_for_and_then_said(tmp_path: Path) -> None:
    with open_records(tmp_path) as holder, open_records(tmp_path, busy_s=0.05) as waiting:
        holder.db.execute("BEGIN IMMEDIATE")

        with pytest.raises(RecordsError, match="in use by another programme") as raised:
            save(waiting)

        holder.db.execute("ROLLBACK")
        assert raised.value.kind == "locked"
        assert save(waiting) == 1


def _save_many(records: Records) -> None:
    for _ in range(50):
        save(records)


def test_a_full_disk_loses_nothing_kept_before(tmp_path: Path) -> None:
    with open_records(tmp_path) as records:
        save(records)
        pages = records.db.execute("PRAGMA page_count").fetchone()[0]
        records.db.execute(f"PRAGMA max_page_count = {pages}")

        with pytest.raises(RecordsError, match="no room is left") as raised:
            _save_many(records)

        kept = find(records, Filter())[1]
        assert raised.value.kind == "disk-full"
        assert kept % 2 == 0  # two instruments a reading: none is half there
        assert kept >= 2
        check(records)


def test_nothing_acknowledged_is_lost_to_a_kill(tmp_path: Path) -> None:
    outcome = kill_at_random(tmp_path / "records", times=4, seed=11)

    assert outcome.acknowledged >= 4
    assert outcome.fine, outcome
