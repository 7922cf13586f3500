"""What the desk hands out and takes in: exports, reports, faults of files and uploads, the log, checks shown beside readings."""

from __future__ import annotations

import csv
import io
import json
import re
import shutil
import sqlite3
import zipfile
from pathlib import Path

import pypdfium2
import pytest
from invented_readings import reading as reading_made
from invented_records import BASE, client, profile, sent, site_result, token
from starlette.testclient import TestClient

from vision.call import LOOK, NO_MATERIAL
from vision.camera_file import profile_text
from vision.records.database import FILE, open_records
from vision.records.export import import_into
from vision.records.readings import NewReading, reading, save_reading
from vision.report.document import document


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


@pytest.mark.parametrize("name", ["/readings/{number}/1", "/reports/reading-{number}-1.html", "/reports/reading-{number}-1.pdf"])
def test_single_use_and_material_come_before_the_call_as_the_records_know_them(desk: TestClient, name: str) -> None:
    known, unknown = (_words(desk.get(name.format(number=number)).content) for number in (1, 3))

    assert "marked for single use and has been used 1 times" in known
    assert "material by the records: stainless steel" in known
    assert LOOK in unknown
    assert NO_MATERIAL in unknown
    assert LOOK not in known
    assert NO_MATERIAL not in known
    assert known.index("single use") < known.index("Limits:")


def _words(data: bytes) -> str:
    """Text of a page or a PDF, its white space made one."""
    if not data.startswith(b"%PDF"):
        return " ".join(data.decode("utf-8").split())
    document = pypdfium2.PdfDocument(data)
    said = " ".join(page.get_textpage().get_text_range() for page in document)
    document.close()
    return " ".join(said.split())
