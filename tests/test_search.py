"""Search over indices of its own finds what a plain join of the tables finds, page by page, also in records of an older version."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from pathlib import Path

import pytest
from bench.archive import PER_INSTRUMENT, code, fill
from invented_records import client

from vision.records.database import Records, open_records
from vision.records.faults import RecordsError
from vision.records.instruments import NewInstrument, add_instrument, change_instrument, instrument, kit
from vision.records.migrate import applied
from vision.records.migrations import MIGRATIONS
from vision.records.readings import assign, examined
from vision.records.reread import due
from vision.records.search import MOST_COUNTED, Filter, Hit, find, find_all
from vision.records.search_instruments import codes_in_use, count_instruments, list_instruments
from vision.report.document import version

READINGS = 600


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Records of 600 invented readings as a version without the tables of the search left them, then opened."""
    made = tmp_path_factory.mktemp("search") / "records"
    fill(made, READINGS)
    with open_records(made) as records:
        assert applied(records.db) == [step.__name__ for step in MIGRATIONS]
    return made


@pytest.fixture
def records(folder: Path) -> Iterator[Records]:
    with open_records(folder) as opened:
        yield opened


JOINED = (
    "FROM reading LEFT JOIN examined ON examined.reading_id = reading.id LEFT JOIN instrument ON instrument.id = examined.instrument_id"
)


def by_join(records: Records, wanted: Filter) -> list[tuple[int, int | None]]:
    """What the tables themselves say: every line, then a plain comparison of each."""
    rows = records.db.execute(f"SELECT *, reading.id AS of {JOINED} ORDER BY read_at DESC, reading.id DESC, number").fetchall()
    return [(row["of"], row["number"]) for row in rows if _fits(dict(row), wanted)]


def _fits(row: dict[str, object], wanted: Filter) -> bool:
    day = str(row["read_at"])[:10]
    exact = (("family", wanted.family), ("size", wanted.size), ("call", wanted.call), ("code", wanted.instrument))
    text = (wanted.text or "").lower()
    spots = ("code", "file", "findings", "error_kind") if len(text) > 2 else ("findings", "error_kind")
    begins = 0 < len(text) < 3 and str(row["code"] or "").lower().startswith(text)
    return (
        all(value is None or row[name] == value for name, value in exact)
        and (wanted.since or "") <= day <= (wanted.until or "9999")
        and (not text or begins or any(text in str(row[spot] or "").lower() for spot in spots))
    )


FILTERS = [
    Filter(),
    Filter(family="k-file"),
    Filter(size=25),
    Filter(call="discard"),
    Filter(family="k-file", call="look again"),
    Filter(family="reamer", size=10, call="nothing seen"),
    Filter(since="2021-03-01", until="2022-02-28"),
    Filter(since="2021-03-01", call="discard"),
    Filter(instrument=code(7)),
    Filter(instrument="nobody"),
    Filter(text="OLD_"),
    Filter(text="img_00003"),
    Filter(text=code(1)[:-1]),
    Filter(text="k0"),
    Filter(text="Unwound"),
    Filter(text="no-sheet"),
    Filter(text="jpg", call="discard", size=30),
    Filter(text="K00002", until="2023-01-01"),
    Filter(text='"'),
    Filter(text='x" OR "y'),
    Filter(text="nothing of the kind"),
]


@pytest.mark.parametrize("wanted", FILTERS, ids=str)
def test_every_search_finds_what_a_join_finds_page_by_page(records: Records, wanted: Filter) -> None:
    lines = by_join(records, wanted)
    assert find(records, wanted, limit=0)[1] == len(lines)

    forth: list[Hit] = []
    while page := find(records, wanted, limit=7, before=forth[-1].place if forth else None)[0]:
        forth += page
    assert [(hit.reading_id, hit.number) for hit in forth] == lines

    for end in range(len(forth) - 1, 0, -97):
        back = find(records, wanted, limit=7, after=forth[end].place)[0]
        assert back == forth[max(end - 7, 0) : end]
    assert list(find_all(records, wanted)) == forth


def test_instruments_are_found_by_kit_and_slot_wherever_they_move(tmp_path: Path) -> None:
    with open_records(tmp_path / "records") as records:
        first, second = (kit(records, name, make=True).id for name in ("Box-One", "Box-Two"))
        one = add_instrument(records, NewInstrument("File-7", kit_id=first, slot="12"))
        add_instrument(records, NewInstrument("fIne-8", kit_id=second, slot="13"))

        def found(text: str) -> list[str]:
            listed = [one.code for one in list_instruments(records, text)]
            assert count_instruments(records, text) == len(listed)
            return listed

        assert [found(text) for text in ("ox-ONE", "ox-", "12", "fi", "ile", "le", '"', "e-7 ")] == [
            ["File-7"], ["File-7", "fIne-8"], ["File-7"], ["File-7", "fIne-8"], ["File-7"], [], [], [],
        ]  # fmt: skip
        change_instrument(records, one.id, NewInstrument("Moved-7", kit_id=second, slot="1"), edition=1)
        assert [found(text) for text in ("ox-one", "ox-two", "File", "Moved")] == [[], ["Moved-7", "fIne-8"], [], ["Moved-7"]]


def test_counting_stops_and_says_so(tmp_path: Path) -> None:
    fill(tmp_path / "many", MOST_COUNTED + 100)
    with open_records(tmp_path / "many") as records:
        assert find(records, Filter(), limit=1)[1] == MOST_COUNTED + 1
        assert find(records, Filter(text="jpg"), limit=1)[1] == MOST_COUNTED + 1
    assert f"more than {MOST_COUNTED:,} lines, 1 to 30 shown" in client(tmp_path / "many").get("/records").text


def test_no_page_reads_a_whole_table(records: Records) -> None:
    """SQLite's own plan of each statement that search makes: the tables with documents are only entered by a key."""
    asked: list[str] = []
    records.db.set_trace_callback(asked.append)
    for wanted in FILTERS:
        find(records, wanted)
    due(records, "another", {})
    list_instruments(records)
    records.db.set_trace_callback(None)
    plans = [row["detail"] for sql in asked if sql.startswith("SELECT") for row in records.db.execute(f"EXPLAIN QUERY PLAN {sql}")]
    assert len(plans) > len(FILTERS)
    assert [plan for plan in plans if plan.startswith(("SCAN reading", "SCAN examined", "SCAN measured"))] == []
    assert [plan for plan in plans if "SCAN line" in plan and "INDEX" not in plan] == []


def test_a_line_moves_with_its_instrument(folder: Path) -> None:
    with open_records(folder) as records:
        line = examined(records, next(hit.reading_id for hit in find_all(records, Filter()) if hit.number))[0]
        new = add_instrument(records, NewInstrument("Moved-1"))
        assign(records, line.id, new.id)
        assert [hit.examined_id for hit in find(records, Filter(instrument="Moved-1"))[0]] == [line.id]
        change_instrument(records, new.id, NewInstrument("Moved-2"), edition=instrument(records, "Moved-1").edition)
        assert [hit.examined_id for hit in find(records, Filter(text="moved-2"))[0]] == [line.id]
        assign(records, line.id, None)
        assert find(records, Filter(instrument="Moved-2"))[0] == []


def test_what_is_due_to_be_read_again_is_what_a_join_says(records: Records) -> None:
    models = {"outline": "sha256:1"}
    by_others = records.db.execute(
        "SELECT max(reading.id) AS id FROM reading JOIN photo ON photo.sha256 = photo_sha256 WHERE removed_at IS NULL "
        "GROUP BY photo_sha256 HAVING sum(software = ? AND models = ?) = 0 ORDER BY id",
        (version(), '{"outline": "sha256:1"}'),
    )
    expected = [row["id"] for row in by_others]
    assert 0 < len(expected) < READINGS
    assert due(records, version(), models, limit=READINGS) == expected
    gone = records.db.execute("SELECT photo_sha256 FROM reading WHERE id = ?", (expected[0],)).fetchone()[0]
    records.db.execute("UPDATE photo SET removed_at = '2026-01-01T00:00:00Z' WHERE sha256 = ?", (gone,))
    assert due(records, version(), models, limit=READINGS) == expected[1:]
    records.db.execute("UPDATE photo SET removed_at = NULL WHERE sha256 = ?", (gone,))
    assert due(records, version(), models, limit=READINGS) == expected


def test_instruments_come_by_pages_of_codes(records: Records) -> None:
    every = [one.code for one in list_instruments(records, limit=10_000)]
    forth: list[str] = []
    while page := [one.code for one in list_instruments(records, limit=7, after=forth[-1] if forth else None)]:
        forth += page
    assert forth == every == sorted(every)
    assert [one.code for one in list_instruments(records, limit=7, before=every[12])] == every[5:12]
    assert [one.code for one in list_instruments(records, "box-2", limit=3, after=every[20])] == every[21:24]
    assert count_instruments(records) == len(every)
    assert len(codes_in_use(records)) == len([one for one in list_instruments(records, limit=999) if one.discarded_at is None])
    last = list_instruments(records, code(5))[0]
    mine = list(find_all(records, Filter(instrument=code(5))))
    assert (last.readings, last.last_at, last.first_at, last.last_call) == (len(mine), mine[0].read_at, mine[-1].read_at, mine[0].call)


@pytest.mark.parametrize("said", ["", "x", "1", "1.", "-1.2", "1.2.3", "9" * 40])
def test_a_place_that_is_none_is_refused_in_words(records: Records, said: str) -> None:
    with pytest.raises(RecordsError, match="no place in the records"):
        find(records, Filter(), before=said)


def test_pages_lead_to_older_and_newer_lines(folder: Path) -> None:
    desk = client(folder)
    seen = [desk.get("/records?call=discard").text]
    older = _link(seen[0], "next")
    seen.append(desk.get(older).text)
    assert ", 31 to 60 shown" in seen[1]
    assert "Newer" not in seen[0]
    back = desk.get(_link(seen[1], "prev")).text
    assert _rows(back) == _rows(seen[0]) != _rows(seen[1])



def test_instruments_are_paged_by_links_that_a_keyboard_reaches(tmp_path: Path) -> None:
    fill(tmp_path / "more", 60 * PER_INSTRUMENT)
    desk = client(tmp_path / "more")
    first = desk.get("/instruments?text=K0").text
    later = desk.get(_link(first, "next")).text

    assert f"60 instruments, {code(1)} to {code(50)} shown" in first
    assert f"60 instruments, {code(51)} to {code(60)} shown" in later
    assert 'rel="prev"' not in first
    assert 'rel="next"' not in later
    assert f"{code(1)} to {code(50)} shown" in desk.get(_link(later, "prev")).text


def test_a_long_csv_comes_in_pieces_and_whole(folder: Path) -> None:
    desk = client(folder)
    with desk.stream("GET", "/records.csv") as answer:
        pieces = list(answer.iter_raw())
    rows = list(csv.reader(io.StringIO(b"".join(pieces).decode())))
    with open_records(folder) as records:
        assert len(rows) - 1 == len(by_join(records, Filter()))
    assert len(pieces) > 1
    assert {len(row) for row in rows} == {len(rows[0])}
    assert len(desk.get("/discards.csv").text.splitlines()) > 1


def _link(page: str, rel: str) -> str:
    return page.split(f'rel="{rel}" href="')[1].split('"', maxsplit=1)[0].replace("&amp;", "&")


def _rows(page: str) -> list[str]:
    return [part.split('"')[0] for part in page.split('<a href="/readings/')[1:]]
