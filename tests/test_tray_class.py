"""`tray class`, and photos of a tray that have one name or are one photo; what is told of each is made by hand, nothing is measured."""

from __future__ import annotations

import argparse
from pathlib import Path

import pytest
from command_line import status_of, usage_error
from test_tray import told

from vision.commands.given_photos import same_photos, shown_names
from vision.commands.tray_photos import read_trays
from vision.errors import UsageError
from vision.reading import PhotoReading
from vision.tray.class_table import codes_in
from vision.tray.looked import TrayPhoto

LIST = 'name = "box"\n[[item]]\nfamily = "barbed-broach"\nsize = 40\n'


@pytest.fixture
def group(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Three students' photos, the second as WebP, and a list; every photo shows one broach that matches it."""

    def read(photos: list[Path], _: argparse.Namespace) -> list[TrayPhoto]:
        return [TrayPhoto(PhotoReading(p.name, None, None), (told(1, "barbed-broach", 40),), "A4-1", None) for p in photos]

    monkeypatch.setattr("vision.commands.tray.read_trays", read)
    folder = tmp_path / "class"
    folder.mkdir()
    for name in ("S01.jpg", "S02.webp", "S03.png"):
        (folder / name).write_bytes(name.encode())
    (tmp_path / "list.toml").write_text(LIST, encoding="utf-8")
    return folder


def run(group: Path, *more: object) -> int:
    return status_of("tray", "class", group, "--list", group.parent / "list.toml", *more)


def test_every_photo_that_can_be_read_is_checked_and_the_cautions_follow(group: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(group) == 0

    said = capsys.readouterr().out
    assert [f"{code}: 1 matches list" in said for code in ("S01", "S02", "S03")] == [True] * 3
    for caution in ("it cannot clear an instrument", "it cannot clear one", "Broach sizes come from a table"):
        assert caution in said


@pytest.mark.parametrize("mark", [",", ";"])
def test_codes_come_as_a_spreadsheet_writes_them(group: Path, mark: str, capsys: pytest.CaptureFixture[str]) -> None:
    codes = group.parent / "codes.csv"
    rows = [("photo", "code"), ("S01.jpg", "A1"), ("S02.webp", "A2"), ("S03.png", "A3"), ("S04.jpg", "A4")]
    codes.write_text("\n".join(mark.join(row) for row in rows), encoding="utf-8-sig")

    assert run(group, "--codes", codes) == 0
    said = capsys.readouterr().out
    assert "A2: 1 matches list" in said
    assert "A4: no photo S04.jpg" in said
    assert "S02:" not in said


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"photo,code\nS01.jpg\n", "no code for S02.webp"),
        (b"photo,code\nS01.jpg,A1\nS02.web,A2\nS03.png,A3\n", "no code for S02.webp"),
        (b"photo,code\nS01.jpg\nS02.webp,A2\nS03.png,A3\n", "'' is no code"),
        (b"photo,code\nS01.jpg,\xe9\n", "no UTF-8 text"),
        (b"\xff\xd8\xff\xe0", "no UTF-8 text"),
        (b"photo,name\nS01.jpg,A1\n", "needs the columns photo and code"),
        (b"photo,code\n", "a line for each photo"),
    ],
)
def test_codes_that_do_not_fit_are_refused_and_no_files_name_steps_in(
    group: Path, data: bytes, said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    codes = group.parent / "codes.csv"
    codes.write_bytes(data)

    assert said in usage_error(capsys, "tray", "class", group, "--list", group.parent / "list.toml", "--codes", codes)


def test_one_photo_from_two_students_is_said(group: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (group / "S04.jpg").write_bytes((group / "S01.jpg").read_bytes())

    assert run(group) == 0
    assert "S01.jpg and S04.jpg are one and the same photo: ask S01 and S04" in capsys.readouterr().out


def test_photos_of_one_name_are_told_apart(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    one, other = tmp_path / "left" / "IMG.jpg", tmp_path / "right" / "IMG.jpg"
    failed = ("blurred", "take it again")
    monkeypatch.setattr("vision.commands.tray_photos.read_photo", lambda path, **_: PhotoReading(path.name, failed, None))

    read = read_trays([one, other, tmp_path / "c.jpg"], argparse.Namespace(camera="none", prints=None))

    assert [photo.file for photo in read] == ["left/IMG.jpg", "right/IMG.jpg", "c.jpg"]
    assert shown_names([one, tmp_path / "x" / "left" / "IMG.jpg"]) == ["left/IMG.jpg [1]", "left/IMG.jpg [2]"]


@pytest.mark.parametrize("command", [("sort",), ("tray", "check", "--list", "list.toml"), ("tray", "list", "--out", "new.toml")])
def test_one_photo_given_twice_is_refused_because_it_would_count_twice(
    group: Path, command: tuple[str, ...], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(group.parent)
    photo = group / "S01.jpg"

    assert "is named twice" in usage_error(capsys, *command, photo, photo)
    assert same_photos([photo, group / "S02.webp", group / "missing.jpg"]) == []


@pytest.mark.parametrize(
    "command",
    [
        ("sort", "S01.jpg"),
        ("tray", "check", "S01.jpg", "--list", "../list.toml"),
        ("tray", "class", ".", "--list", "../list.toml"),
        ("study",),
    ],
)
def test_a_pdf_is_named_so_before_anything_is_read(
    group: Path, command: tuple[str, ...], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(group)

    assert "does not end in .pdf" in usage_error(capsys, *command, "--pdf", "slip.png")
    assert not (group / "slip.png").exists()


def test_a_tray_of_which_no_photo_can_be_read_is_not_sorted(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "a.jpg").write_bytes(b"none")

    assert status_of("sort", tmp_path / "a.jpg", "--pdf", tmp_path / "slip.pdf") == 2
    assert "not sorted: a.jpg could not be examined" in capsys.readouterr().out
    assert not (tmp_path / "slip.pdf").exists()


def test_two_lines_for_one_photo_are_refused_and_empty_ones_passed_over(tmp_path: Path) -> None:
    """Else a tray would go to the wrong student."""
    given = tmp_path / "codes.csv"
    given.write_text("photo;code\nS01.jpg;A1\n;\nS02.webp;B2\n", encoding="utf-8")
    assert codes_in(given) == {"S01.jpg": "A1", "S02.webp": "B2"}

    given.write_text("photo,code\nS01.jpg,A1\nS01.jpg,B2\n", encoding="utf-8")
    with pytest.raises(UsageError, match=r"two lines for S01\.jpg"):
        codes_in(given)
