"""The desk's pages and programme interface over invented readings; nothing is measured here."""

from __future__ import annotations

import csv
import io
import json
import re
import shutil
import sqlite3
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pypdfium2
import pytest
from invented_readings import reading as reading_made
from invented_records import BASE, client, fill, profile, save, site_result, token
from starlette.testclient import TestClient

from vision.camera_file import profile_text
from vision.records.backup import backup, restore
from vision.records.database import FILE, open_records
from vision.records.export import import_into
from vision.records.instruments import instrument
from vision.records.readings import NewReading, reading, save_reading
from vision.report.document import document

PAGES = (
    "/", "/readings/1", "/readings/1/1", "/readings/3", "/readings/3/1", "/readings/3/2", "/readings/4", "/compare/1/2", "/records",
    "/records?family=k-file&call=discard", "/instruments", "/instruments?text=k", "/instruments/K-7", "/instruments/K-7/change",
    "/instruments/new", "/equipment", "/tags", "/about", "/again",
)  # fmt: skip


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("desk") / "records"
    fill(folder)
    return folder


@pytest.fixture(scope="module")
def desk(filled: Path) -> Iterator[TestClient]:
    """For tests that change nothing."""
    with client(filled) as opened:
        yield opened


@pytest.fixture
def own(filled: Path, tmp_path: Path) -> Iterator[TestClient]:
    """For tests that change something."""
    shutil.copytree(filled, tmp_path / "records")
    with client(tmp_path / "records") as opened:
        yield opened


def sent(desk: TestClient, path: str, **form: str) -> str:
    """Send a form with its token; return where the answer leads."""
    answer = desk.post(path, data={"token": token(desk), **form})
    assert answer.status_code == 303, answer.text
    return str(answer.headers["location"])


@pytest.mark.parametrize("page", PAGES)
def test_every_page_answers_and_says_what_no_photo_can(desk: TestClient, page: str) -> None:
    answer = desk.get(page)

    assert answer.status_code == 200
    assert "it cannot clear one" in answer.text
    assert answer.text.count("<h1") == 1
    assert not re.search(r"\sstyle=|<script(?![^>]*\ssrc=)|\son\w+=|https?://(?!www\.w3\.org)", answer.text)
    assert not re.search(r"\b(safe|approved?|passed|fit for use|✓|✔|☑)\b", answer.text, re.IGNORECASE)


@pytest.mark.parametrize(
    "page", ["/readings/99", "/readings/1/9", "/instruments/none", "/nowhere", "/jobs/none", "/compare/1/99"]
)
def test_what_is_not_there_is_said_in_words(desk: TestClient, page: str) -> None:
    answer = desk.get(page)

    assert answer.status_code == 404
    assert 'role="alert"' in answer.text


@pytest.mark.parametrize(
    "page", ["/records?size=abc", "/records?family=spoon", "/records?since=yesterday", "/reports/month.pdf?month=x"]
)
def test_what_cannot_be_meant_is_said_in_words(desk: TestClient, page: str) -> None:
    assert desk.get(page).status_code == 400


def test_a_reading_shows_numbers_then_how_sure_then_why(desk: TestClient) -> None:
    text = desk.get("/readings/1").text
    order = [
        "K-file, size 25",
        "0.2531",
        "98 % sure",
        "discard",
        "this photo cannot clear it",
        "unwound",
        'id="picture-title"',
    ]
    order += [
        'id="measured"',
        'id="evidence"',
        "handle colour",
        'id="visible"',
        'id="advice"',
        'id="person"',
        'id="cautions"',
    ]

    places = [text.index(words) for words in order]

    assert places == sorted(places)
    assert "tip width not measured: the end is out of focus" in text
    assert "CD corrected it" in text
    assert "ring says 30" in text
    assert "AB confirmed it" in text


def test_the_picture_is_drawn_from_what_was_measured(desk: TestClient) -> None:
    text = desk.get("/readings/1").text
    lines = desk.get("/api/readings/1/1/trace").json()

    assert text.count('class="crest"') == len(lines["crests_px"])
    assert ">D16</text>" in text
    assert 'class="letter"' in text
    box = [float(v) for v in re.search(r'id="picture" class="photo" viewBox="([^"]+)"', text).group(1).split()]  # type: ignore[union-attr]
    assert box[2] / box[3] == pytest.approx(2.4, rel=0.01)
    assert desk.get("/readings/1/1/picture.jpg").content[:3] == b"\xff\xd8\xff"


def test_names_from_outside_are_text_and_nothing_else(own: TestClient, tmp_path: Path) -> None:
    with open_records(tmp_path / "records") as records:
        number = save(records, "<img src=x onerror=alert(1)>.jpg", instruments=1)

    for page in (f"/readings/{number}", "/records", "/"):
        assert "<img src=x" not in own.get(page).text
    assert "&lt;img" in own.get("/records").text


# Who is let in.


@pytest.mark.parametrize("host", ["evil.example:8765", "127.0.0.1:80", "localhost", "[::1]:1", ""])
def test_only_our_own_names_are_answered(desk: TestClient, host: str) -> None:
    assert desk.get("/", headers={"host": host}).status_code == 421


def test_both_names_of_this_computer_are_ours(desk: TestClient) -> None:
    assert desk.get("/about", headers={"host": "localhost:8765"}).status_code == 200


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "https://evil.example"},
        {"origin": "null"},
        {"sec-fetch-site": "cross-site"},
        {"origin": "http://127.0.0.1:9"},
    ],
)
def test_other_origins_change_nothing(own: TestClient, headers: dict[str, str]) -> None:
    answer = own.post("/instruments/new", data={"token": token(own), "code": "X-1"}, headers=headers)

    assert answer.status_code == 403
    assert own.get("/instruments/X-1").status_code == 404


@pytest.mark.parametrize("sent_token", ["", "wrong", None])
def test_without_the_token_nothing_changes(own: TestClient, sent_token: str | None) -> None:
    form = {"code": "X-1"} | ({} if sent_token is None else {"token": sent_token})

    answer = own.post("/instruments/new", data=form)

    assert answer.status_code == 403
    assert "load the page again" in answer.text
    assert own.get("/instruments/X-1").status_code == 404
    assert own.post("/api/instruments", json={"code": "X-1"}).status_code == 403


def test_answers_carry_the_strict_headers(desk: TestClient) -> None:
    for page in ("/", "/static/desk.css", "/api/readings", "/nowhere"):
        headers = desk.get(page).headers
        assert "default-src 'none'" in headers["content-security-policy"]
        assert "unsafe" not in headers["content-security-policy"]
        assert headers["x-content-type-options"] == "nosniff"
        assert "access-control-allow-origin" not in headers


def test_brightness_is_kept_and_leads_nowhere_else(own: TestClient) -> None:
    assert sent(own, "/theme", theme="dark", back="//evil.example/") == "/"
    assert sent(own, "/theme", theme="dark", back="/about") == "/about"
    assert 'data-theme="dark"' in own.get("/about").text


# People's words.


def test_a_correction_is_kept_beside_the_reading(own: TestClient) -> None:
    before = own.get("/api/readings/3").json()

    where = sent(own, "/readings/3/1/judge", kind="corrected", family="reamer", initials="ef", note="loose flutes")

    assert where == "/readings/3/1#person"
    assert own.get("/api/readings/3").json() == before
    assert own.get("/api/readings/3/1/judgements").json()[0] | {"at": ""} == {
        "id": 3, "examined_id": 3, "at": "", "kind": "corrected", "family": "reamer", "size": None, "initials": "EF",
        "note": "loose flutes",
    }  # fmt: skip
    assert "EF corrected it" in own.get(where).text


@pytest.mark.parametrize(
    ("form", "said"),
    [
        ({"kind": "corrected", "initials": "AB"}, "names a family, a size or a note"),
        ({"kind": "corrected", "size": "0", "initials": "AB"}, "from 1 to 200"),
        ({"kind": "corrected", "size": "25.5", "initials": "AB"}, "whole number"),
        ({"kind": "corrected", "family": "spoon", "initials": "AB"}, "is one of"),
        ({"kind": "confirmed", "initials": "Anna Beispiel"}, "never a name"),
    ],
)
def test_words_that_cannot_be_kept_are_refused_with_the_reason(
    own: TestClient, form: dict[str, str], said: str
) -> None:
    answer = own.post("/readings/3/1/judge", data={"token": token(own), **form})

    assert answer.status_code == 400
    assert said in answer.text
    assert own.get("/api/readings/3/1/judgements").json() == []


def test_an_instrument_is_named_and_renamed(own: TestClient) -> None:
    assert sent(own, "/readings/3/1/instrument", code="R-1") == "/readings/3/1#which"
    assert "This is instrument R-1" in own.get("/readings/3/1").text
    sent(own, "/readings/3/1/instrument", code="")
    assert "This is instrument" not in own.get("/readings/3/1").text


def test_an_instrument_added_from_a_reading_belongs_to_it(own: TestClient) -> None:
    where = sent(
        own, "/instruments/new", code="N-9", family="k-file", size="25", examined_id="3", kit="BOX-9", slot="2"
    )

    assert where == "/readings/3/1#which"
    assert own.get("/api/instruments/N-9").json()["timeline"][-1]["kind"] in ("reading", "added")
    assert "BOX-9" in own.get("/instruments/N-9").text


def test_a_decision_to_discard_enters_the_log(own: TestClient) -> None:
    sent(own, "/instruments/K-7/decisions", decision="discard", initials="ab", note="unwound", examined_id="1")

    assert "is in the discard log since" in own.get("/instruments/K-7").text
    assert "unwound" in own.get("/records").text.partition('id="discards"')[2]
    again = own.post(
        "/instruments/K-7/decisions", data={"token": token(own), "decision": "look again", "initials": "AB"}
    )
    assert again.status_code == 409


def test_single_use_stays_single_use(desk: TestClient) -> None:
    assert "stays so whatever a photo shows" in desk.get("/instruments/K-7").text


def test_two_windows_cannot_overwrite_each_other(own: TestClient, tmp_path: Path) -> None:
    form = {"code": "K-7", "edition": "1", "family": "k-file", "size": "25"}
    sent(own, "/instruments/K-7/change", **form, note="first window")

    second = own.post("/instruments/K-7/change", data={"token": token(own), **form, "note": "second window"})

    assert second.status_code == 409
    assert "changed in another window" in second.text
    assert "second window" in second.text  # what was typed is not lost
    assert "first window" in second.text
    assert 'name="edition" value="2"' in second.text
    with open_records(tmp_path / "records") as records:
        assert instrument(records, "K-7").note == "first window"


# The programme interface.


def test_a_reading_is_the_document_that_was_measured(desk: TestClient, filled: Path) -> None:
    with open_records(filled) as records:
        kept = reading(records, 1).document

    assert desk.get("/api/readings/1").json() == kept
    assert kept["format"] == "flutegauge-reading/1"


def test_the_interface_is_described(desk: TestClient) -> None:
    schema = desk.get("/api/openapi.json").json()

    assert schema["openapi"].startswith("3.")
    assert set(schema["paths"]) >= {
        "/api/measure",
        "/api/readings/{number}",
        "/api/instruments/{code}",
        "/api/jobs/{name}",
    }
    assert all(path.startswith("/api/") for path in schema["paths"])
    assert all("summary" in what for methods in schema["paths"].values() for what in methods.values())


def test_instruments_by_programme(own: TestClient) -> None:
    headers = {"x-flutegauge-token": token(own)}
    made = own.post("/api/instruments", json={"code": "P-1", "size": 25}, headers=headers)
    changed = own.put("/api/instruments/P-1", json={"code": "P-1", "size": 30, "edition": 1}, headers=headers)
    late = own.put("/api/instruments/P-1", json={"code": "P-1", "size": 35, "edition": 1}, headers=headers)

    assert (made.status_code, changed.status_code, late.status_code) == (201, 200, 409)
    assert changed.json()["edition"] == 2
    assert late.json()["error"]["kind"] == "conflict"
    assert (
        own.post("/api/instruments/P-1/events", json={"kind": "used", "initials": "ab"}, headers=headers).status_code
        == 201
    )
    assert (
        own.post(
            "/api/instruments/P-1/decisions", json={"decision": "keep", "initials": "ab"}, headers=headers
        ).status_code
        == 400
    )
    assert own.post("/api/instruments", json={"size": 25}, headers=headers).status_code == 422
    assert own.get("/api/instruments/P-1").json()["timeline"][-1]["facts"]["done"] == "used"


def test_search_by_programme(desk: TestClient) -> None:
    answer = desk.get("/api/readings", params={"family": "k-file", "limit": 2}).json()

    assert answer["total"] == 3
    assert len(answer["hits"]) == 2
    assert desk.get("/api/readings", params={"size": "x"}).json()["error"]["kind"] == "invalid"


def test_old_readings_are_offered_to_be_read_again(own: TestClient) -> None:
    page = own.get("/again").text

    assert "1 photos were read by other software or models only" in page  # one picture under all invented readings
    assert "Nothing here yet" in page
    assert own.post("/again").status_code == 403


# Out and back.


def test_a_restored_backup_shows_every_page_alike(desk: TestClient, filled: Path, tmp_path: Path) -> None:
    with open_records(filled) as records:
        backup(records, tmp_path / "all.zip")
    restore(tmp_path / "all.zip", tmp_path / "back")

    with client(tmp_path / "back") as other:
        for page in (*PAGES, "/readings/1/1/picture.jpg", "/api/readings/3", "/records.csv"):
            mine, theirs = desk.get(page), other.get(page)
            clean = [
                re.sub(r'name="token" value="[^"]+"|The records lie in [^<]+', "", answer.text)
                for answer in (mine, theirs)
            ]
            assert clean[0] == clean[1], page


@pytest.mark.parametrize("kind", ["csv", "json", "parquet"])
def test_a_downloaded_export_reads_back(desk: TestClient, tmp_path: Path, kind: str) -> None:
    with zipfile.ZipFile(io.BytesIO(desk.get(f"/export/{kind}.zip").content)) as packed:
        packed.extractall(tmp_path / "out")

    assert import_into(tmp_path / "out", tmp_path / "back")["reading"] == 4
    with open_records(tmp_path / "back") as records:
        assert reading(records, 1).document == desk.get("/api/readings/1").json()


def test_lines_as_csv_carry_value_and_u(desk: TestClient) -> None:
    rows = list(csv.DictReader(io.StringIO(desk.get("/records.csv?family=k-file").text)))
    d0 = desk.get("/api/readings/1").json()["photos"][0]["instruments"][0]["d0_mm"]

    assert len(rows) == 3
    assert (float(rows[-1]["d0_mm"]), float(rows[-1]["d0_mm_u"])) == (d0["value"], d0["u"])


def test_old_pictures_go_by_the_rule_and_pages_say_so(own: TestClient, tmp_path: Path) -> None:
    own.get("/readings/1/1/picture.jpg")
    db = sqlite3.connect(tmp_path / "records" / FILE)
    db.execute("UPDATE photo SET added_at = '2020-01-01T00:00:00Z'")
    db.commit()
    db.close()

    sent(own, "/records/rule", days="30")
    assert "1 photos are older than the rule allows" in own.get("/records").text
    sent(own, "/records/rule", apply="1")

    assert [path.name for path in (tmp_path / "records").rglob("*.jpg")] == []
    page = own.get("/readings/1")
    assert page.status_code == 200
    assert "The picture was removed under the rule" in page.text
    assert own.get("/readings/1/1/picture.jpg").status_code == 404


@pytest.mark.parametrize(
    "name",
    [
        "reading-1-1.pdf",
        "reading-3-2.pdf",
        "instrument-K-7.pdf",
        "instrument-R-1.pdf",
        "month.pdf?month={month}",
        "month.pdf?month=2001-01",
    ],
)
def test_reports_as_pdf_say_the_limits_on_every_page(desk: TestClient, name: str) -> None:
    month = desk.get("/api/readings").json()["hits"][0]["read_at"][:7]
    answer = desk.get("/reports/" + name.format(month=month))

    assert answer.status_code == 200
    document = pypdfium2.PdfDocument(answer.content)
    for page in document:
        assert "it cannot clear one" in page.get_textpage().get_text_range()
    document.close()


def test_the_report_of_a_reading_carries_numbers_and_limits(desk: TestClient) -> None:
    document = pypdfium2.PdfDocument(desk.get("/reports/reading-1-1.pdf").content)
    text = "\n".join(page.get_textpage().get_text_range() for page in document)
    picture = document[0].render(scale=1.0).to_numpy()
    document.close()

    for words in ("K-file, size 25", "0.2531 mm", "this photo cannot clear it", "unwound", "205", "CD corrected it"):
        assert words in text
    assert picture.std() > 10  # something is drawn


@pytest.mark.parametrize("name", ["reading-1-1.html", "instrument-K-7.html", "month.html?month=2026-01"])
def test_reports_as_html_stand_alone(desk: TestClient, name: str) -> None:
    text = desk.get("/reports/" + name).text

    assert "it cannot clear one" in text
    assert not re.search(r"<script|<link|src=\"(?!data:)|href=\"(?!data:)|url\(", text)


# What goes wrong.


def test_a_locked_file_is_said_and_nothing_is_lost(filled: Path, tmp_path: Path) -> None:
    shutil.copytree(filled, tmp_path / "records")
    with client(tmp_path / "records", busy_s=0.05) as desk, open_records(tmp_path / "records") as holder:
        form = {"token": token(desk), "code": "X-1"}
        holder.db.execute("BEGIN IMMEDIATE")
        answer = desk.post("/instruments/new", data=form)
        holder.db.execute("ROLLBACK")

        assert answer.status_code == 503
        assert "in use by another programme" in answer.text
        assert desk.post("/instruments/new", data=form).status_code == 303


def test_a_newer_file_is_refused_on_every_page(filled: Path, tmp_path: Path) -> None:
    shutil.copytree(filled, tmp_path / "records")
    with open_records(tmp_path / "records") as records:
        records.db.execute("INSERT INTO migration VALUES ('holograms', '2031-01-01T00:00:00Z', '9.1.0')")

    with client(tmp_path / "records") as desk:
        answer = desk.get("/records")

    assert answer.status_code == 500
    assert "newer Flutegauge (9.1.0" in answer.text


@pytest.mark.parametrize(
    ("name", "data"),
    [
        ("a.pdf", b"%PDF-1.4 hello"),
        ("a.jpg", b""),
        ("a.jpg", b"\xff\xd8\xff\xe0 cut"),
        ("a.exe", b"MZ" + bytes(2000)),
        ("x.svg", b"<svg/>"),
    ],
)
def test_files_that_are_no_photos_are_refused_and_not_kept(
    own: TestClient, tmp_path: Path, name: str, data: bytes
) -> None:
    before = sorted((tmp_path / "records" / "photos").rglob("*"))

    answer = own.post("/photos", data={"token": token(own)}, files={"photos": (name, data)})

    assert answer.status_code == 400
    assert name in answer.text
    assert sorted((tmp_path / "records" / "photos").rglob("*")) == before


def test_no_photo_and_odd_settings_are_refused(own: TestClient) -> None:
    assert own.post("/photos", data={"token": token(own)}).status_code == 400
    odd = {"token": token(own), "px_per_mm": "-3"}
    assert own.post("/photos", data=odd, files={"photos": ("a.jpg", b"\xff\xd8\xff")}).status_code == 400
    lonely = own.post(
        "/photos", data={"token": token(own), "px_per_mm_u": "3"}, files={"photos": ("a.jpg", b"\xff\xd8\xff")}
    )
    assert "state both" in lonely.text
    unknown = own.post(
        "/photos", data={"token": token(own), "instrument": "nobody"}, files={"photos": ("a.jpg", b"\xff\xd8\xff")}
    )
    assert unknown.status_code == 404


def test_the_log_names_nobody(own: TestClient, caplog: pytest.LogCaptureFixture) -> None:
    with caplog.at_level("INFO", logger="flutegauge.desk"):
        own.get("/instruments/K-7")
        own.get("/Anna-Beispiel")

    assert [record.getMessage().rpartition(" 200")[0] or record.getMessage()[:9] for record in caplog.records] == [
        "GET /instruments",
        "GET other",
    ]


def test_what_the_command_line_keeps_of_a_set_up_is_shown(own: TestClient, tmp_path: Path) -> None:
    cameras = tmp_path / "records" / "no-cameras"
    site_result(cameras)
    (cameras / "desk.camera.toml").write_text(profile_text(profile()), encoding="utf-8")

    text = own.get("/equipment").text
    again = own.get("/equipment").text

    assert "decides diameters from 0.02 mm on" in text
    assert ">desk</th>" in text
    assert (again.count("decides diameters"), again.count(">desk</th>")) == (1, 1)
    (cameras / "desk.camera.toml").write_text("broken", encoding="utf-8")
    assert "cannot be read" in own.get("/equipment").text


def test_what_checks_a_reading_stands_beside_it(own: TestClient, tmp_path: Path) -> None:
    made = document([reading_made(instruments=1)], {})
    quantity = {"value": 0.5, "u": 0.001}
    made["photos"][0]["check_piece"] = {
        "known_mm": quantity, "measured_mm": {"value": 0.512, "u": 0.002}, "bias_mm": {"value": 0.012, "u": 0.002},
        "e_n": 2.7, "corrected": True, "box_px": [1, 2, 3, 4],
    }  # fmt: skip
    made["photos"][0]["site_check"] = {"made_on": "2026-01-06", "statement": "decides from 0.02 mm on", "warnings": ["old"]}
    with open_records(tmp_path / "records") as records:
        number = save_reading(records, NewReading(made))

    text = own.get(f"/readings/{number}").text

    assert "known 0.5 mm (u 0.001), read as 0.512 mm (u 0.002); its bias was taken off the widths" in text
    assert "2026-01-06: decides from 0.02 mm on; old" in text


def test_checks_against_known_things_are_kept(own: TestClient) -> None:
    form = {
        "reference": "gauge pin",
        "name": "d0_mm",
        "known": "0.500",
        "known_u": "0,001",
        "value": "0.512",
        "u": "0.003",
        "initials": "ab",
    }
    sent(own, "/equipment/checks", **form)

    assert "1.90: do not agree" in own.get("/equipment").text
    missing = own.post("/equipment/checks", data={"token": token(own), **form, "known": ""})
    assert missing.status_code == 400
    assert "Known value is empty" in missing.text
    assert json.loads(own.get("/api/token").text)["token"] == token(own)
    assert str(own.base_url) == BASE
