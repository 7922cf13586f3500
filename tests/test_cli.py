"""The command line: exit statuses, what goes to which stream, nothing overwritten unasked, never a traceback."""

from __future__ import annotations

import io
import json
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from command_line import status_of, usage_error
from invented_readings import failed, quiet_reamer, reading
from PIL import Image
from rich.console import Console

from vision import cli
from vision.commands import libraries, outputs
from vision.commands.progress import waiting
from vision.errors import FlutegaugeError, PhotoError
from vision.reading import PhotoReading
from vision.scale import GivenScale

Seen = list[dict[str, object]]


@pytest.fixture
def photo(tmp_path: Path) -> Path:
    path = tmp_path / "in" / "macro-01.png"
    path.parent.mkdir()
    Image.fromarray(np.full((900, 1800, 3), 200, np.uint8)).save(path)
    return path


@pytest.fixture
def seen(monkeypatch: pytest.MonkeyPatch) -> Seen:
    """Replace the measuring by invented readings; returns what it was asked."""
    calls: Seen = []

    def read_photo(path: Path, **asked: object) -> PhotoReading:
        calls.append({"path": path, **asked})
        if "crash" in path.name:
            raise ZeroDivisionError("division by zero\nsecond line")
        if "no-model" in path.name:
            raise FlutegaugeError("model 'outline' is missing: install Flutegauge again")
        if "refused" in path.name:
            raise PhotoError("blurred", "blur 9 px, needs at most 4 px: hold still")
        if not path.exists():
            return failed(path.name)
        return replace(reading(path.name), instruments=(quiet_reamer(1),))

    monkeypatch.setattr("vision.commands.measure.read_photo", read_photo)
    return calls


def test_measure_prints_a_table_and_ends_with_0(photo: Path, seen: Seen, capsys: pytest.CaptureFixture[str]) -> None:
    assert status_of("measure", photo) == 0

    out = capsys.readouterr().out
    assert "macro-01.png" in out
    assert "call     nothing seen" in out
    assert "this photo cannot clear it" in out
    assert "BEFORE sterilising" in out
    wanted = {"path": photo, "given": None, "prints": None, "held": False}
    assert [{name: asked[name] for name in wanted} for asked in seen] == [wanted]


def test_options_reach_the_measuring(photo: Path, seen: Seen, tmp_path: Path) -> None:
    prints = tmp_path / "prints.json"
    assert status_of("sheet", "check", "--sheet", "A4-1", "--along", 140, "--across", 140, "--prints", prints) == 0
    asked = ("--px-per-mm", 60, "--px-per-mm-u", 0.2, "--held", "--prints", prints)

    assert status_of("measure", photo, *asked) == 0
    wanted = {"path": photo, "given": GivenScale(60.0, 0.2), "prints": prints, "held": True}
    assert [{name: asked_for[name] for name in wanted} for asked_for in seen] == [wanted]


def test_a_stated_scale_without_u_assumes_one_and_says_so(
    photo: Path, seen: Seen, capsys: pytest.CaptureFixture[str]
) -> None:
    assert status_of("measure", photo, "--px-per-mm", 60, "--json", "-") == 0

    assert seen[0]["given"] == GivenScale(60.0, pytest.approx(0.6))
    notes = json.loads(capsys.readouterr().out)["photos"][0]["notes"]
    assert any("1 % of it is assumed" in note for note in notes)


def test_json_dash_prints_one_document_and_nothing_else(
    photo: Path, seen: Seen, capsys: pytest.CaptureFixture[str]
) -> None:
    assert status_of("measure", photo, photo.with_name("gone.jpg"), "--json", "-") == 2

    said = capsys.readouterr()
    document = json.loads(said.out)
    assert [one["file"] for one in document["photos"]] == ["macro-01.png", "gone.jpg"]
    assert "not examined (no-file)" in said.err, "the table goes to standard error"
    assert len(seen) == 2


def test_one_bad_photo_costs_status_2_and_the_others_are_done(
    photo: Path, seen: Seen, capsys: pytest.CaptureFixture[str]
) -> None:
    names = ("crash.png", "refused.png", "gone.png", "no-model.png")
    status = status_of("measure", *(photo.with_name(name) for name in names), photo, "--json", "-")

    assert status == 2
    said = capsys.readouterr()
    photos = json.loads(said.out)["photos"]
    assert [one["error"] and one["error"]["kind"] for one in photos] == [
        "internal",
        "blurred",
        "no-file",
        "internal",
        None,
    ]
    assert photos[3]["error"]["message"] == "model 'outline' is missing: install Flutegauge again"
    assert len(photos[4]["instruments"]) == 1
    assert "ZeroDivisionError: division by zero second line" in photos[0]["error"]["message"]
    assert "Traceback" not in said.err
    assert "\n" not in photos[0]["error"]["message"]
    assert len(seen) == 5


def test_developers_get_the_traceback(photo: Path, seen: Seen, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("FLUTEGAUGE_TRACEBACK", "1")

    with pytest.raises(ZeroDivisionError):
        cli.main(["measure", str(photo.with_name("crash.png"))])
    assert len(seen) == 1


def test_json_file_is_written_once_and_replaced_only_when_asked(
    photo: Path, seen: Seen, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    target = tmp_path / "out.json"
    target.write_text("mine")

    message = usage_error(capsys, "measure", photo, "--json", target)
    assert "exists already and nothing was overwritten: add --overwrite" in message
    assert target.read_text() == "mine"
    assert seen == [], "refused before any work"

    assert status_of("measure", photo, "--json", target, "--overwrite") == 0
    assert json.loads(target.read_text())["format"] == "flutegauge-reading/1"
    assert [path.name for path in tmp_path.iterdir() if path.is_file()] == ["out.json"], "no draft is left"


def test_a_file_that_appears_meanwhile_is_not_overwritten(tmp_path: Path) -> None:
    target = tmp_path / "out.json"
    target.write_text("mine")

    with pytest.raises(FileExistsError):
        outputs.write_text(target, "ours", overwrite=False)
    assert target.read_text() == "mine"
    assert list(tmp_path.iterdir()) == [target]


def test_pictures_are_drawn_and_not_overwritten_unasked(
    photo: Path, seen: Seen, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "new" / "pictures"

    assert status_of("measure", photo, "--picture", folder) == 0
    assert sorted(path.name for path in folder.iterdir()) == ["macro-01-instrument-1.png", "macro-01-overview.png"]
    assert "macro-01-overview.png" in capsys.readouterr().out

    message = usage_error(capsys, "measure", photo, "--picture", folder)
    assert "nothing was overwritten" in message
    assert status_of("measure", photo, "--picture", folder, "--overwrite") == 0
    assert len(seen) == 2


def test_a_failing_picture_does_not_cost_the_numbers(
    photo: Path, seen: Seen, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def draw(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("vision.report.picture.draw", draw)

    assert status_of("measure", photo, "--picture", tmp_path / "p", "--json", tmp_path / "out.json") == 1
    assert json.loads((tmp_path / "out.json").read_text())["photos"][0]["error"] is None
    assert "No space left on device" in capsys.readouterr().out
    assert len(seen) == 1


def test_photos_of_one_name_get_pictures_of_their_own() -> None:
    photos = [Path("a/img.jpg"), Path("b/img.HEIC"), Path("b/IMG.png"), Path("c/other.jpg")]

    assert outputs.picture_names(photos) == ["img", "img-2", "IMG-3", "other"]


@pytest.mark.parametrize("option", ["--json", "--picture"])
def test_a_photo_is_never_written_over(
    option: str, photo: Path, seen: Seen, capsys: pytest.CaptureFixture[str]
) -> None:
    target = photo
    if option == "--picture":  # the second photo is called as the first one's picture would be
        target = photo.with_name("macro-01-overview.png")
        photo.rename(target)
    before = target.read_bytes()
    place = target if option == "--json" else target.parent

    message = usage_error(capsys, "measure", photo, target, option, place, "--overwrite")
    assert "never written over" in message
    assert target.read_bytes() == before
    assert seen == []


@pytest.mark.parametrize(
    ("argv", "said"),
    [
        ([], "COMMAND"),
        (["measure"], "PHOTO"),
        (["polish", "x.jpg"], "polish"),
        (["measure", "x.jpg", "--bogus"], "--bogus"),
        (["measure", "x.jpg", "--hel"], "--hel"),
        (["measure", "x.jpg", "--hold"], "flutegauge measure: has no option --hold: did you mean --held?"),
        (["measure", "x.jpg", "--single=used"], "has no option --single: did you mean --single-use?"),
        (["measure", "x.jpg", "--singel-use", "used"], "'flutegauge measure --help' lists"),
        (["tray", "check", "x.jpg", "--list", "b.toml", "--csv", "c.csv"], "flutegauge tray check: has no option --csv"),
        (["records", "check", "now"], "does not know what to do with 'now'"),
        (["measure", "x.jpg", "--check-wire", "0,5"], "'0,5' has a comma: write 0.5"),
        (["sheet", "check", "--sheet", "A4-1", "--along", "139,8", "--across", "140"], "write 139.8"),
        (["measure", "x.jpg", "--px-per-mm", "wide"], "wide"),
        (["measure", "x.jpg", "--px-per-mm", "0"], "above 0"),
        (["measure", "x.jpg", "--px-per-mm", "nan"], "above 0"),
        (["measure", "x.jpg", "--px-per-mm", "60", "--px-per-mm-u", "-1"], "from 0"),
        (["measure", "x.jpg", "--px-per-mm-u", "1"], "state both"),
        (["measure", "x.jpg", "--prints", "/no/such/prints.json"], "sheet check"),
        (["measure", "x.jpg", "--json", "/no/such/folder/a.json"], "no folder"),
        (["measure", "x.jpg", "--json", "/"], "folder"),
        (["measure", "x.jpg", "--json", "/dev/null", "--overwrite"], "cannot be written"),
        (["measure", "x.jpg", "--picture", "/dev/null/x"], "cannot hold pictures"),
        (["sheet", "--paper", "a5"], "a5"),
        (["sheet", "--dpi", "300"], "--png"),
        (["sheet", "--png", "--dpi", "5"], "72 to 2400"),
        (["sheet", "--out", "sheet.png"], ".pdf"),
        (["sheet", "check", "--sheet", "A4-1", "--along", "140"], "--across"),
        (["sheet", "check", "--sheet", "A9-9", "--along", "140", "--across", "140"], "A9-9"),
        (["sheet", "check", "--sheet", "A4-1", "--along", "104", "--across", "140"], "measure again"),
    ],
)
def test_wrong_usage_is_64_and_one_sentence(
    argv: list[str], said: str, seen: Seen, tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:  # fmt: skip
    monkeypatch.chdir(tmp_path)

    assert said in usage_error(capsys, *argv)
    assert seen == []
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("argv", [["--help"], ["measure", "--help"], ["sheet", "--help"], ["sheet", "check", "--help"]])
def test_help_is_0_and_fits_80_columns(
    argv: list[str], capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "80")

    assert status_of(*argv) == 0
    assert max(map(len, capsys.readouterr().out.splitlines())) <= 80


def test_help_says_what_held_carries(capsys: pytest.CaptureFixture[str]) -> None:
    status_of("measure", "--help")

    text = " ".join(capsys.readouterr().out.split())
    assert "the shank was held down level (table edge or slot)" in text
    assert "0 to 0.3 mm" in text
    assert "does not prove it" in text


def test_help_loads_nothing_heavy() -> None:
    heavy = "{'cv2', 'numpy', 'scipy', 'rich', 'PIL', 'matplotlib', 'reportlab', 'skimage', 'onnxruntime'}"
    code = f"import sys, vision.cli as c; c.parser().format_help(); print(sorted({heavy} & set(sys.modules)))"

    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout == "[]\n"


def test_version(capsys: pytest.CaptureFixture[str]) -> None:
    assert status_of("--version") == 0
    assert capsys.readouterr().out.startswith("flutegauge ")


def test_a_damaged_print_file_is_said_before_any_photo(
    photo: Path, seen: Seen, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "prints.json").write_text("{half")

    assert "damaged" in usage_error(capsys, "measure", photo, "--prints", tmp_path / "prints.json")
    assert seen == []


@pytest.mark.parametrize(
    "reason",
    [
        "libGL.so.1: cannot open shared object file: No such file or directory",
        "libgthread-2.0.so.0: cannot open shared object file: No such file or directory",
        "libglib-2.0.so.0: cannot open shared object file: No such file or directory",
    ],
)
def test_a_missing_system_library_is_named_with_the_line_that_installs_it(
    reason: str, photo: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def no_library(_: object) -> int:
        raise ImportError(reason)

    monkeypatch.setattr(cli, "_measure", no_library)

    assert status_of("measure", photo) == 1
    said = capsys.readouterr().err
    assert reason.split(":", maxsplit=1)[0] in said
    assert "apt-get install -y libgl1 libglib2.0-0" in said


def test_a_missing_package_is_another_matter() -> None:
    assert "install flutegauge again" in libraries.missing(ImportError("No module named 'rich'"))


@pytest.mark.parametrize(("takes_s", "shown"), [(0.0, False), (0.4, True)])
def test_progress_appears_only_when_it_takes_long(
    takes_s: float, shown: bool, capsys: pytest.CaptureFixture[str]
) -> None:
    with waiting("reading [b]x[/b].jpg (1 of 2)", Console(stderr=True), after_s=0.1):
        time.sleep(takes_s)

    said = capsys.readouterr()
    assert ("reading [b]x[/b].jpg (1 of 2) ..." in said.err) == shown
    assert said.out == ""


def test_progress_on_a_terminal_leaves_nothing_behind() -> None:
    written = io.StringIO()
    with waiting("reading", Console(force_terminal=True, width=80, file=written), after_s=0.05):
        time.sleep(0.2)

    assert "reading" in written.getvalue()
    assert written.getvalue().endswith("\x1b[2K"), "the line is erased at the end"


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        (("--check-wire-u", 0.001), "--check-wire-u belongs to --check-wire, which is not there"),
        (("--correct",), "--correct belongs to --check-wire"),
        (("--check-wire", 0.5, "--same"), "does not go with --same"),
        (("--check-wire", 3), "needs a diameter from 0.05 to 1.8 mm, got 3"),
        (("--check-wire", 0.5, "--check-wire-u", 0.7), "needs a number from 0 to the diameter (0.5), got 0.7"),
    ],
)
def test_check_wire_options_that_do_not_fit(
    photo: Path, seen: Seen, capsys: pytest.CaptureFixture[str], asked: tuple[object, ...], said: str
) -> None:
    assert status_of("measure", photo, *asked) == 64
    assert said in capsys.readouterr().err
    assert seen == [], "nothing was examined"


def test_why_and_budget_print_what_they_promise(photo: Path, seen: Seen, capsys: pytest.CaptureFixture[str]) -> None:
    texts = []
    for asked in ((), ("--why", "--budget")):
        assert status_of("measure", photo, *asked) == 0
        texts.append(" ".join(capsys.readouterr().out.split()))

    assert len(seen) == 2
    for promised in ("not judged: no family with limits is named", ": uncertainty budget"):
        assert promised not in texts[0]
        assert promised in texts[1]
