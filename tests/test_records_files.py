"""Backup, export and what is taken out of photos."""

from __future__ import annotations

import datetime as dt
import io
import json
import os
import zipfile
from functools import cache
from pathlib import Path

import pillow_heif
import pytest
from command_line import status_of, usage_error
from invented_readings import failed, reading
from invented_records import profile, site_result
from PIL import Image, ImageOps, PngImagePlugin

from calib.print_check import PrintCheck
from vision.errors import PhotoError
from vision.records.backup import backup, restore
from vision.records.combined import keep_combined
from vision.records.database import open_records
from vision.records.equipment import Verification, add_verification, keep_prints, keep_profiles, keep_site_results
from vision.records.export import KINDS, TABLES, export, import_into
from vision.records.faults import RecordsError
from vision.records.history import add_event, decide, judge
from vision.records.instruments import NewInstrument, add_instrument, kit
from vision.records.photos import keep_photo, photo_path
from vision.records.readings import NewReading, examined, save_reading
from vision.records.retention import set_keep_days
from vision.records.strip_photo import stripped
from vision.records.table_bytes import rows_of
from vision.records.tags import give_tag
from vision.records.trace_json import traces
from vision.records.waiting import write_down
from vision.report.document import document

GPS, SUB = 0x8825, 0x8769
SECRETS = (b"Secretville", b"Anna Beispiel", b"SN-12345", b"GPSLatitude")


@pytest.fixture
def filled(tmp_path: Path) -> Path:
    """Records with something in every table."""
    folder = tmp_path / "records"
    with open_records(folder) as records:
        box = kit(records, "BOX-1", make=True)
        one = add_instrument(
            records, NewInstrument("K-7", "k-file", 25, 25.0, "stainless steel", False, box.id, "3", 'a "b", c\nd')
        )
        give_tag(records, instrument_id=one.id)
        photo = keep_photo(records, shot("JPEG"), "macro-01.jpg")
        made = reading()
        new = NewReading(
            document([made], {"outline": "sha256:1"}), traces(made), photo.sha256, {"held": True, "run": "R-1"}, {1: one.id}
        )
        number = save_reading(records, new)
        save_reading(records, NewReading(document([failed()], {})))
        examined_id = examined(records, number)[0].id
        judge(records, examined_id, "AB", size=30, note="handle says 30")
        add_event(records, one.id, "sterilised", "AB", cycle="C-1")
        decide(records, one.id, "discard", "AB", examined_id=examined_id, note="unwound")
        keep_prints(records, [PrintCheck("A4-1", "lab", 139.8, 140.2, 0.05, dt.date(2026, 1, 4), "callipers")])
        keep_profiles(records, [profile()])
        keep_site_results(records, [site_result(tmp_path)])
        set_keep_days(records, 30)
        write_down(records, photo.sha256, "macro-01.jpg", {"held": True})
        keep_combined(records, "R-1", document([made], {"outline": "sha256:1"}) | {"combined": [{"mode": "re-laid"}]})
        add_verification(records, Verification("pin", "d0_mm", 0.5, 0.001, 0.501, 0.002, "AB"))
    return folder


@cache
def shot(kind: str, orientation: int = 6) -> bytes:
    """A picture with place, names and comments in every corner that the format has."""
    image = Image.radial_gradient("L").resize((420, 360)).convert("RGB")
    exif = Image.Exif()
    exif[0x010F], exif[0x0110], exif[0x0112] = "Invented", "Tele 1", orientation
    exif[0x010E], exif[0x013B] = "Secretville", "Anna Beispiel"
    exif.get_ifd(SUB).update(
        {0xA405: 77, 0x9286: b"ASCII\0\0\0Anna Beispiel", 0x927C: b"Secretville" * 9, 0xA431: "SN-12345"}
    )
    exif.get_ifd(GPS).update({1: "N", 2: (48.0, 12.0, 30.5), 3: "E", 4: (11.0, 33.0, 1.25), 0x1D: "2026:01:01"})
    target = io.BytesIO()
    xmp = b"<x:xmpmeta xmlns:x='adobe:ns:meta/'>Secretville GPSLatitude</x:xmpmeta>"
    if kind == "JPEG":
        image.save(target, "JPEG", exif=exif, comment=b"Secretville", xmp=xmp, icc_profile=b"")
    elif kind == "PNG":
        text = PngImagePlugin.PngInfo()
        text.add_text("Comment", "Secretville")
        text.add_itxt("XML:com.adobe.xmp", xmp.decode())
        image.save(target, "PNG", exif=exif, pnginfo=text)
    elif kind == "HEIF":
        pillow_heif.from_pillow(image).save(target, exif=exif.tobytes(), xmp=xmp, quality=90)
    elif kind == "TIFF":
        exif[0x02BC], exif[0x013C] = xmp, "Secretville"
        image.save(target, "TIFF", exif=exif.tobytes())
    else:
        image.save(target, kind, exif=exif.tobytes(), xmp=xmp, quality=90)
    return target.getvalue()


@pytest.mark.parametrize(
    ("kind", "ending"),
    [("JPEG", "jpg"), ("PNG", "png"), ("HEIF", "heic"), ("AVIF", "avif"), ("TIFF", "tif"), ("WEBP", "webp")],
)
def test_place_and_names_go_and_the_picture_stays(kind: str, ending: str) -> None:
    """Checked with Pillow, which shares no code with the stripping."""
    pillow_heif.register_heif_opener()
    data = shot(kind)
    assert any(secret in data for secret in SECRETS)

    clean, named = stripped(data)

    assert named == ending
    assert [secret for secret in SECRETS if secret in clean] == []
    with Image.open(io.BytesIO(data)) as before, Image.open(io.BytesIO(clean)) as after:
        assert after.tobytes() == before.tobytes()
        exif = after.getexif()
        assert not {tag: value for tag, value in exif.get_ifd(GPS).items() if value}
        assert exif[0x0110] == "Tele 1"
        assert exif.get_ifd(SUB)[0xA405] == 77
        assert exif.get(0x0112) == before.getexif().get(0x0112)


def test_a_photo_of_several_pictures_keeps_the_first() -> None:
    target = io.BytesIO()
    first, second = (Image.new("RGB", (400, 330), shade) for shade in ("red", "blue"))
    first.save(target, "MPO", save_all=True, append_images=[second])

    clean, _ = stripped(target.getvalue())

    assert len(clean) < 0.7 * len(target.getvalue())
    with Image.open(io.BytesIO(clean)) as image:
        assert image.format == "JPEG"
        assert ImageOps.exif_transpose(image).getpixel((5, 5))[0] > 240  # type: ignore[index]


@pytest.mark.parametrize(
    "data", [b"", b"hello", b"%PDF-1.4", b"\xff\xd8\xff\xe0\x00", b"\x89PNG\r\n\x1a\n\x00", b"\0\0\0\x18ftypheic"]
)
def test_what_is_no_photo_is_refused_in_words(data: bytes) -> None:
    with pytest.raises(PhotoError) as raised:
        stripped(data)

    assert raised.value.kind in ("not-a-picture", "truncated")


def test_a_backup_brings_everything_back(filled: Path, tmp_path: Path) -> None:
    target, back = tmp_path / "all.zip", tmp_path / "back"
    (filled / "lists").mkdir()
    (filled / "lists" / "Kit A.toml").write_text("# what a tray must hold", encoding="utf-8")
    with open_records(filled) as records:
        listed = backup(records, target)
        before = {table: list(rows_of(records.db, table)) for table in TABLES}
        names = {path.name for path in records.photos.rglob("*.*")}

    restore(target, back)

    with open_records(back) as records:
        assert {table: list(rows_of(records.db, table)) for table in TABLES} == before
        assert {path.name for path in records.photos.rglob("*.*")} == names
        assert photo_path(records, before["photo"][0]["sha256"]) is not None
    assert len(listed["files"]) == 3
    assert (back / "lists" / "Kit A.toml").read_text(encoding="utf-8") == "# what a tray must hold"


def test_a_backup_is_never_written_over_and_restored_only_into_nothing(filled: Path, tmp_path: Path) -> None:
    target = tmp_path / "all.zip"
    with open_records(filled) as records:
        backup(records, target)
        with pytest.raises(RecordsError, match="not replaced"):
            backup(records, target)
    with pytest.raises(RecordsError, match="not empty"):
        restore(target, filled)


def test_a_backup_onto_a_stick_without_links(filled: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def none_here(*_: object) -> None:
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(os, "link", none_here)
    with open_records(filled) as records:
        backup(records, tmp_path / "all.zip")

    assert restore(tmp_path / "all.zip", tmp_path / "back")["format"] == "flutegauge-backup/1"


def test_a_damaged_backup_restores_nothing(filled: Path, tmp_path: Path) -> None:
    target, wrong = tmp_path / "all.zip", tmp_path / "wrong.zip"
    with open_records(filled) as records:
        backup(records, target)
    with zipfile.ZipFile(target) as old, zipfile.ZipFile(wrong, "w") as new:
        for name in old.namelist():
            new.writestr(name, old.read(name) if name.endswith((".json", ".sqlite")) else b"something else")

    with pytest.raises(RecordsError, match="is not what was backed up"):
        restore(wrong, tmp_path / "back")
    wrong.write_bytes(target.read_bytes()[:-300])
    with pytest.raises(RecordsError, match="no whole backup"):
        restore(wrong, tmp_path / "back")

    assert not (tmp_path / "back").exists()
    assert [path for path in tmp_path.iterdir() if path.name.startswith(".")] == []


@pytest.mark.parametrize("kind", KINDS)
def test_an_export_reads_back_the_same(filled: Path, tmp_path: Path, kind: str) -> None:
    out, back = tmp_path / "out", tmp_path / "back"
    with open_records(filled) as records:
        files = export(records, out, kind)
        before = {table: list(rows_of(records.db, table)) for table in TABLES}

    import_into(out, back)

    assert {path.suffix for path in files} == {f".{kind}", ".json"}
    with open_records(back) as records:
        assert {table: list(rows_of(records.db, table)) for table in TABLES} == before
    assert {table for table, rows in before.items() if not rows} == set()


def test_an_older_export_is_read(filled: Path, tmp_path: Path) -> None:
    with open_records(filled) as records:
        export(records, tmp_path / "out", "csv")
    listed = json.loads((tmp_path / "out" / "tables.json").read_text())
    del listed["rows"]["profile"]
    listed["steps"].remove("camera_profiles")
    (tmp_path / "out" / "tables.json").write_text(json.dumps(listed))
    (tmp_path / "out" / "profile.csv").unlink()

    assert import_into(tmp_path / "out", tmp_path / "back")["reading"] == 2


def test_an_export_that_lost_rows_is_refused(filled: Path, tmp_path: Path) -> None:
    with open_records(filled) as records:
        export(records, tmp_path / "out", "json")
    (tmp_path / "out" / "judgement.json").write_text("[]", encoding="utf-8")

    with pytest.raises(RecordsError, match="has 0 rows, needs 1"):
        import_into(tmp_path / "out", tmp_path / "back")
    assert not (tmp_path / "back").exists()


def test_the_command_line_moves_records(filled: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file, back, out = tmp_path / "b.zip", tmp_path / "back", tmp_path / "out"

    assert status_of("records", "backup", file, "--data", filled) == 0
    assert status_of("records", "restore", file, "--data", back) == 0
    assert status_of("records", "export", out, "--as", "json", "--data", back) == 0
    assert status_of("records", "import", out, "--data", tmp_path / "third") == 0
    assert status_of("records", "check", "--data", tmp_path / "third") == 0
    assert status_of("records", "retain", "--photos-days", 30, "--apply", "--data", back) == 0

    assert json.loads((out / "tables.json").read_text())["rows"]["reading"] == 2
    assert "photos are kept for 30 days; 0 were removed" in capsys.readouterr().out
    assert "not empty" in usage_error(capsys, "records", "restore", file, "--data", back)
    assert "there are no records" in usage_error(capsys, "records", "check", "--data", tmp_path / "nowhere")
