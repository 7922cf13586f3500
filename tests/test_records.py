"""Records: nothing lost, nothing half written, nothing changed behind anybody's back."""

from __future__ import annotations

import io
import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest
from invented_readings import failed, reading
from invented_records import profile
from PIL import Image

from vision.records import retention
from vision.records.clock import days_before, now
from vision.records.compare import compared, partner
from vision.records.database import Records, open_records, transaction
from vision.records.equipment import Verification, add_verification, cameras, keep_profiles, profiles, verifications
from vision.records.faults import ConflictError, RecordsError
from vision.records.history import add_event, decide, discards, judge, judgements
from vision.records.instruments import (
    NewInstrument,
    add_instrument,
    change_instrument,
    instrument,
    kit,
)
from vision.records.photos import drop_unread, keep_photo, photo, photo_path
from vision.records.readings import NewReading, assign, examined, insert_reading, save_reading, trace
from vision.records.readings import reading as kept_reading
from vision.records.reread import due, pairs
from vision.records.search import Filter, find
from vision.records.search_instruments import list_instruments
from vision.records.tags import give_tag, named_by, tag_of
from vision.records.timeline import counts, timeline, trend
from vision.records.trace_json import traces
from vision.records.waiting import forget, strike_out, waiting, write_down
from vision.report.document import document


@pytest.fixture
def records(tmp_path: Path) -> Iterator[Records]:
    with open_records(tmp_path / "records") as opened:
        yield opened


def picture(shade: int = 120, size: tuple[int, int] = (400, 330)) -> bytes:
    target = io.BytesIO()
    Image.new("RGB", size, (shade, 30, 60)).save(target, "JPEG")
    return target.getvalue()


def save(records: Records, **more: object) -> int:
    made = reading()
    return save_reading(records, NewReading(document([made], {"outline": "sha256:1"}), traces(made), **more))  # type: ignore[arg-type]


def test_a_reading_comes_back_as_it_was_saved(records: Records) -> None:
    kept = keep_photo(records, picture(), "macro-01.jpg")
    number = save(records, photo_sha256=kept.sha256, settings={"held": True})

    back = kept_reading(records, number)

    assert back.document == document([reading()], {"outline": "sha256:1"})
    assert back.photo_sha256 == kept.sha256
    assert back.models == {"outline": "sha256:1"}
    assert back.settings == {"held": True}
    assert (back.sheet, back.print_checked) == ("A4-1", True)
    assert [(one.number, one.family, one.call) for one in examined(records, number)] == [
        (1, "k-file", "discard"),
        (2, None, "nothing seen"),
    ]


def test_the_trace_comes_back_within_its_rounding(records: Records) -> None:
    number = save(records)
    made = reading().instruments[0].trace

    back = trace(records, examined(records, number)[0].id)

    assert back is not None
    assert len(back["axis_px"]) == len(back["axis_x_mm"]) <= 1500
    assert back["axis_px"][-1] == pytest.approx(made.axis_px[-1], abs=0.051)
    assert back["axis_x_mm"][-1] == pytest.approx(made.axis_x_mm[-1], abs=0.0006)
    assert len(back["crests_px"]) == len(made.crests_px)
    assert set(back["stations_px"]) == {"D0", "D16"}


def test_a_photo_that_failed_is_kept_with_its_error(records: Records) -> None:
    number = save_reading(records, NewReading(document([failed()], {})))

    assert kept_reading(records, number).error_kind == "no-file"
    assert examined(records, number) == []
    hits, total = find(records, Filter(text="no-file"))
    assert (total, hits[0].number) == (1, None)


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE reading SET document = '{}'",
        "DELETE FROM reading",
        "UPDATE examined SET call = 'nothing seen'",
        "DELETE FROM measured",
        "UPDATE judgement SET size = 30",
        "DELETE FROM discard",
        "UPDATE event SET at = '2000-01-01T00:00:00Z'",
    ],
)
def test_what_was_read_and_said_cannot_be_changed(records: Records, statement: str) -> None:
    one = add_instrument(records, NewInstrument("K-7"))
    examined_id = examined(records, save(records, instruments={1: one.id}))[0].id
    judge(records, examined_id, "AB", size=25)
    add_event(records, one.id, "used", "AB")
    decide(records, one.id, "discard", "AB", note="unwound")

    with pytest.raises(RecordsError, match="never changed, only added to"), transaction(records) as db:
        db.execute(statement)


def test_a_correction_stands_beside_the_reading(records: Records) -> None:
    examined_id = examined(records, save(records))[0].id

    judge(records, examined_id, "ab")
    judge(records, examined_id, "CD-2", family="reamer", size=30)

    said = judgements(records, examined_id)
    assert [(one.kind, one.family, one.size, one.initials) for one in said] == [
        ("confirmed", None, None, "AB"),
        ("corrected", "reamer", 30, "CD-2"),
    ]
    assert examined(records, said[0].examined_id and 1)[0].family == "k-file"


@pytest.mark.parametrize("initials", ["", "Anna Beispiel", "ABCDEFGHI", "A B", "<b>"])
def test_nobody_is_known_by_name(records: Records, initials: str) -> None:
    one = add_instrument(records, NewInstrument("K-7"))

    with pytest.raises(RecordsError, match="never a name"):
        add_event(records, one.id, "used", initials)
    with pytest.raises(sqlite3.IntegrityError):  # and the file itself refuses it too
        records.db.execute(
            "INSERT INTO event (instrument_id, at, kind, initials) VALUES (?, ?, 'used', ?)", (one.id, now(), initials)
        )


def test_no_column_speaks_of_patients(records: Records) -> None:
    tables = [row[0] for row in records.db.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
    columns = {row["name"] for table in tables for row in records.db.execute(f"PRAGMA table_info({table})")}

    assert len(columns) > 40
    assert not {
        column for column in columns if any(word in column for word in ("patient", "person", "birth", "address"))
    }


def test_two_windows_cannot_overwrite_each_other(records: Records) -> None:
    seen = add_instrument(records, NewInstrument("K-7", material="stainless steel"))
    first = change_instrument(records, seen.id, NewInstrument("K-7", note="first window"), edition=seen.edition)

    with pytest.raises(ConflictError, match="nothing was written"):
        change_instrument(records, seen.id, NewInstrument("K-7", note="second window"), edition=seen.edition)

    assert instrument(records, "K-7") == first
    assert (first.note, first.edition) == ("first window", 2)


def test_a_timeline_tells_a_life_in_order(records: Records) -> None:
    one = add_instrument(records, NewInstrument("K-7", family="k-file", size=25, single_use=False))
    for kind in ("used", "cleaned", "sterilised", "used"):
        add_event(records, one.id, kind, "AB", cycle="C-118" if kind == "sterilised" else None)
    number = save(records, instruments={1: one.id})
    decide(records, one.id, "discard", "AB", examined_id=examined(records, number)[0].id, note="unwound at 3 mm")

    kinds = [entry.kind for entry in timeline(records, one.id)]

    assert (
        kinds == ["added", "reading", "event", "event", "event", "event", "decision", "discard"] or kinds[0] == "added"
    )
    assert kinds[-1] == "discard"
    assert counts(records, one.id) == {"used": 2, "cleaned": 1, "sterilised": 1}
    assert [(p.value, p.u) for p in trend(records, one.id, "d0_mm")] == [(0.2531, 0.003)] or trend(
        records, one.id, "d0_mm"
    )
    listed = list_instruments(records)[0]
    assert (listed.readings, listed.uses, listed.last_call) == (1, 2, "discard")
    assert listed.discarded_at is not None
    assert [(d.code, d.reason) for d in discards(records)] == [("K-7", "unwound at 3 mm")]
    with pytest.raises(RecordsError, match="discard log already"):
        decide(records, one.id, "look again", "AB")


def test_search_narrows_and_counts(records: Records) -> None:
    one = add_instrument(records, NewInstrument("Tray_1.7"))
    for _ in range(3):
        save(records)
    assign(records, examined(records, 2, 1)[0].id, one.id)

    assert find(records, Filter())[1] == 6
    assert find(records, Filter(family="k-file", call="discard"), limit=2)[1] == 3
    assert len(find(records, Filter(family="k-file"), limit=2, offset=2)[0]) == 1
    assert [hit.reading_id for hit in find(records, Filter(instrument="Tray_1.7"))[0]] == [2]
    assert find(records, Filter(text="UNWOUND"))[1] == 3
    assert find(records, Filter(since="2999-01-01"))[1] == 0
    assert find(records, Filter(until=now()[:10]))[1] == 6
    assert find(records, Filter(text="%"))[1] == 0
    assert find(records, Filter(text="un\0wound"))[1] == 0  # SQLite's FTS5 ends a text there, in the middle of its quotes


def test_tags_name_instruments_and_kits(records: Records) -> None:
    box = kit(records, "BOX-2", make=True)
    first = add_instrument(records, NewInstrument("K-1", kit_id=box.id, slot="1"))
    second = add_instrument(records, NewInstrument("K-2", kit_id=box.id, slot="2"))
    mine, ours = give_tag(records, instrument_id=second.id), give_tag(records, kit_id=box.id)

    assert (mine, ours) == (0, 1)
    assert give_tag(records, instrument_id=second.id) == mine == tag_of(records, second.id)
    assert [one.code for one in named_by(records, [mine]).instruments] == ["K-2"]
    named = named_by(records, [ours, 77])
    assert ([one.id for one in named.instruments], named.kit_code, named.unknown) == (
        [first.id, second.id],
        "BOX-2",
        (77,),
    )


def test_the_rule_removes_old_pictures_and_nothing_else(records: Records) -> None:
    old, new = keep_photo(records, picture(10), "old.jpg"), keep_photo(records, picture(20), "new.jpg")
    number = save(records, photo_sha256=old.sha256)
    with transaction(records) as db:
        db.execute("UPDATE photo SET added_at = ? WHERE sha256 = ?", (days_before(now(), 40), old.sha256))
    assert retention.due(records) == []

    retention.set_keep_days(records, 30)

    assert [one.name for one in retention.due(records)] == ["old.jpg"]
    assert retention.apply(records) == 1
    assert photo_path(records, old.sha256) is None
    assert photo(records, old.sha256).removed_at is not None
    assert photo_path(records, new.sha256) is not None
    assert kept_reading(records, number).photo_sha256 == old.sha256


def test_photos_that_wait_are_struck_out_with_their_reading(records: Records) -> None:
    read, unread = keep_photo(records, picture(10), "read.jpg"), keep_photo(records, picture(20), "unread.jpg")
    first = write_down(records, read.sha256, "read.jpg", {"held": True})
    second = write_down(records, unread.sha256, "unread.jpg", {})
    assert drop_unread(records, sha256=read.sha256) is False  # it waits

    with transaction(records) as db:
        insert_reading(db, NewReading(document([reading()], {}), {}, read.sha256))
        strike_out(db, first)

    assert [(one.id, one.name, one.settings) for one in waiting(records)] == [(second, "unread.jpg", {})]
    forget(records, [first, second])
    assert waiting(records) == []
    assert photo_path(records, read.sha256) is not None
    with pytest.raises(RecordsError, match="no photo"):
        photo(records, unread.sha256)
    assert len(list(records.photos.rglob("*.jpg"))) == 1


@pytest.mark.parametrize("code", ["", "a b", "new", "ä", "x" * 25, "../x"])
def test_codes_that_cannot_be_are_refused(records: Records, code: str) -> None:
    with pytest.raises(RecordsError, match="choose another"):
        add_instrument(records, NewInstrument(code))


def test_checks_against_known_things(records: Records) -> None:
    """En as ISO 13528 has it: |0.512 - 0.500| / sqrt((2 x 0.001)^2 + (2 x 0.003)^2) = 1.897."""
    add_verification(records, Verification("gauge pin 0.50", "d0_mm", 0.500, 0.001, 0.512, 0.003, "AB"))

    assert verifications(records)[0].ratio == pytest.approx(1.8974, abs=1e-4)


def test_cameras_are_met_once(records: Records) -> None:
    target = io.BytesIO()
    image = Image.new("RGB", (400, 330), "white")
    exif = Image.Exif()
    exif[0x010F], exif[0x0110] = "Invented", "Tele 1"
    image.save(target, "JPEG", exif=exif)
    for shade in (b"", b"x"):
        keep_photo(records, target.getvalue() + shade, "a.jpg")

    assert [(c.make, c.model, c.photos) for c in cameras(records)] == [("Invented", "Tele 1", 1)]


def test_old_and_new_readings_are_compared() -> None:
    before = document([reading()], {})["photos"][0]["instruments"]
    after = document([reading()], {})["photos"][0]["instruments"]
    after[0]["d0_mm"] = {"value": before[0]["d0_mm"]["value"] + 0.012, "u": 0.002}

    moved = {one.name: one for one in compared(before[0], after[0])}

    assert partner(before[0], after) is after[0]
    assert moved["d0_mm"].apart == pytest.approx(0.012 / (2 * before[0]["d0_mm"]["u"]))
    assert moved["length_mm"].apart == 0.0


def test_what_older_models_read_is_due_once(records: Records) -> None:
    """Old: read by 'sha256:1' only. After it was read again it is due no more, and the pair tells what moved."""
    first, second = (keep_photo(records, picture(shade), f"{shade}.jpg").sha256 for shade in (10, 20))
    save(records, photo_sha256=first)
    old = save(records, photo_sha256=first)
    other = save(records, photo_sha256=second)
    new = {"outline": "sha256:2"}
    software = kept_reading(records, old).software
    assert due(records, software, {"outline": "sha256:1"}) == []
    assert due(records, software, new) == [old, other]

    document_again = document([reading()], new)
    one = document_again["photos"][0]["instruments"][0]
    one["d0_mm"], one["size"]["value"] = {"value": 0.3, "u": 0.003}, 30
    again = save_reading(records, NewReading(document_again, {}, first, read_again_of=old))

    assert due(records, software, new) == [other]
    (pair,) = pairs(records)
    assert (pair.old.id, pair.new.id) == (old, again)
    assert [(number, moved.name) for number, moved in pair.moved] == [(1, "d0_mm")]
    assert pair.changed == (1,)


def test_camera_profiles_are_taken_over_once(records: Records) -> None:
    assert keep_profiles(records, [profile()]) == 1
    assert keep_profiles(records, [profile()]) == 0
    assert [(one.name, one.made_on) for one in profiles(records)] == [("desk", "2026-01-05")]


# Files and their versions.
