"""Bad days: a full disk, a folder that may not be written to, a clock that jumps, two processes at once, damaged files."""

from __future__ import annotations

import dataclasses
import datetime as dt
import json
import os
import resource
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from command_line import status_of, usage_error
from invented_readings import reading
from invented_records import save

import vision.commands.batch
import vision.net
import vision.records.history
import vision.records.readings
from calib.print_check import PrintCheck
from calib.print_file import write_checks
from vision.commands.batch_work import line_of
from vision.errors import FlutegaugeError
from vision.findscale import find_scale
from vision.photo import load_photo
from vision.records.database import open_records
from vision.records.faults import RecordsError
from vision.records.history import add_event
from vision.records.instruments import NewInstrument, add_instrument
from vision.records.readings import NewReading, save_reading
from vision.records.search import Filter, find
from vision.records.search_instruments import list_instruments
from vision.records.timeline import timeline
from vision.records.trace_json import traces
from vision.report.document import document

ROOT = Path(__file__).resolve().parent.parent
NOBODY = 65534


@contextmanager
def no_file_beyond(size: int) -> Iterator[None]:
    """As on a disk without room: no file of this process may grow beyond that; the system's error is EFBIG."""
    usual = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, usual[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, usual)


@pytest.fixture
def read_only() -> Iterator[Path]:
    """A folder that may be read and not written to; an administrator, who may write everywhere, becomes nobody meanwhile."""
    place = Path(tempfile.mkdtemp())
    place.chmod(0o555)
    administrator = os.geteuid() == 0
    if administrator:
        os.setresuid(NOBODY, NOBODY, 0)
    try:
        yield place
    finally:
        if administrator:
            os.setresuid(0, 0, 0)
        place.chmod(0o755)
        shutil.rmtree(place)


@pytest.fixture
def photos(tmp_path: Path) -> Path:
    """Thirty files that are no pictures: a line of some 200 bytes each."""
    folder = tmp_path / "photos"
    folder.mkdir()
    for number in range(30):
        (folder / f"{number:02d}.jpg").write_text("no picture")
    return folder


def test_a_batch_on_a_full_disk_goes_on_once_there_is_room(
    photos: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(vision.commands.batch, "lines_here", lambda items, plan, _: (line_of(item, plan) for item in items))
    assert status_of("measure", photos, "--out", tmp_path / "whole") == 2
    with no_file_beyond(3000):
        assert status_of("measure", photos, "--out", tmp_path / "out") == 1
    said = capsys.readouterr().err
    assert "no room is left on the disk" in said
    assert "run the same command again" in said
    assert "Traceback" not in said
    assert not (tmp_path / "out" / "readings.jsonl").exists()

    assert status_of("measure", photos, "--out", tmp_path / "out") == 2
    assert "going on after" in capsys.readouterr().err
    for name in ("readings.jsonl", "instruments.csv", "batch.json"):
        assert (tmp_path / "out" / name).read_bytes() == (tmp_path / "whole" / name).read_bytes()


def test_a_json_file_on_a_full_disk_is_whole_or_not_there(photos: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "kept.json").write_text("earlier")
    with no_file_beyond(500):
        assert status_of("measure", photos / "00.jpg", "--json", tmp_path / "kept.json", "--overwrite") == 1

    assert "no room is left on the disk" in capsys.readouterr().err
    assert (tmp_path / "kept.json").read_text() == "earlier"
    assert [path.name for path in tmp_path.iterdir() if "draft" in path.name] == []


def test_a_folder_that_may_not_be_written_to_is_named(
    read_only: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(read_only / "settings"))  # nobody may not look into the administrator's
    photo = read_only / "a.jpg"
    assert "cannot hold results (Permission denied): name another folder" in usage_error(capsys, "measure", photo, "--out", read_only)
    assert "cannot hold results" in usage_error(capsys, "measure", photo, "--out", read_only / "below")
    assert "cannot be written as a file: name another place" in usage_error(capsys, "measure", photo, "--json", read_only / "a.json")
    denied = pytest.raises(RecordsError, match=r"cannot be used \(Permission denied\): check its permissions")
    with denied, open_records(read_only / "records"):
        pass
    assert list(read_only.iterdir()) == []


def test_a_clock_that_jumps_back_hides_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The last reading is the one that was saved last, whatever the clock said; times are kept as the clock said them."""
    healthy = dataclasses.replace(reading(), instruments=tuple(_called(one, "nothing seen") for one in reading().instruments))
    worn = dataclasses.replace(reading(), instruments=tuple(_called(one, "discard") for one in reading().instruments))
    with open_records(tmp_path) as records:
        one = add_instrument(records, NewInstrument("K-7"))
        for moment, made in (("2026-05-01T10:00:00Z", healthy), ("2019-01-01T00:00:00Z", worn)):
            monkeypatch.setattr(vision.records.readings, "now", lambda moment=moment: moment)
            monkeypatch.setattr(vision.records.history, "now", lambda moment=moment: moment)
            save_reading(records, NewReading(document([made], {}), traces(made), instruments={1: one.id}))
            add_event(records, one.id, "used", "AB")

        assert list_instruments(records)[0].last_call == "discard"
        assert find(records, Filter())[1] == 4
        assert [entry.at[:4] for entry in timeline(records, one.id) if entry.kind != "added"] == ["2019", "2019", "2026", "2026"]


def _called(one, call):  # type: ignore[no-untyped-def]
    return dataclasses.replace(one, condition=dataclasses.replace(one.condition, call=call))


def test_two_processes_share_one_database(tmp_path: Path) -> None:
    """Both save twelve readings at once; all are there, each whole."""
    open_records(tmp_path / "records").__enter__().db.close()
    script = (
        "import sys; sys.path.insert(0, 'tests')\n"
        "from pathlib import Path; from invented_records import save; from vision.records.database import open_records\n"
        "with open_records(Path(sys.argv[1]), busy_s=60.0) as records:\n"
        "    print(*[save(records, f'{sys.argv[2]}-{k}.jpg') for k in range(12)])\n"
    )
    command = [sys.executable, "-c", script, str(tmp_path / "records")]
    surroundings = os.environ | {"PYTHONPATH": str(ROOT)}
    both = [subprocess.Popen([*command, name], stdout=subprocess.PIPE, text=True, cwd=ROOT, env=surroundings) for name in "ab"]
    numbers = [int(number) for one in both for number in one.communicate(timeout=120)[0].split()]

    assert sorted(numbers) == list(range(1, 25))
    with open_records(tmp_path / "records") as records:
        assert find(records, Filter(), limit=0)[1] == 48
        assert save(records) == 25


@pytest.mark.parametrize("spoil", ["changed", "cut", "missing"])
def test_a_model_that_is_not_the_registered_one_is_refused(spoil: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    entry = vision.net.registry()["strip"]
    whole = (ROOT / "models" / entry["file"]).read_bytes()
    spoilt = {"changed": whole[:1000] + bytes([whole[1000] ^ 1]) + whole[1001:], "cut": whole[:-1]}
    if spoil in spoilt:
        (tmp_path / entry["file"]).write_bytes(spoilt[spoil])
    monkeypatch.setattr(vision.net, "files", lambda _: tmp_path)
    registry = vision.net.registry()
    monkeypatch.setattr(vision.net, "registry", lambda: registry)

    with pytest.raises(FlutegaugeError, match="is missing" if spoil == "missing" else "is not the registered one") as raised:
        vision.net.session.__wrapped__("strip")
    assert "install Flutegauge again" in str(raised.value)


def test_a_print_check_of_another_revision_is_not_used_and_said(tmp_path: Path) -> None:
    """A check of sheet A4-2 says nothing of a photo of A4-1: its u is that of an unchecked print."""
    path = tmp_path / "prints.json"
    check = PrintCheck("A4-2", "office", 139.0, 139.5, 0.05, dt.date(2026, 1, 5), "callipers")
    write_checks(path, {"A4-2": (check,), "LETTER-1": (dataclasses.replace(check, sheet_id="LETTER-1"),)})
    photo = load_photo(ROOT / "samples" / "photos" / "k-file-25-flat.jpg")
    of_another = find_scale(photo, given=None, prints=path)
    unchecked = find_scale(photo, given=None, prints=tmp_path / "none.json")

    assert not of_another.print_checked
    assert (of_another.print_u, of_another.print_scale) == (unchecked.print_u, unchecked.print_scale)
    (said,) = set(of_another.warnings) - set(unchecked.warnings)
    assert "of sheet A4-2, this photo shows A4-1: the check was not used" in said
    assert json.loads(path.read_text())["sheets"]["A4-2"]
