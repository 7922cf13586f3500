"""Faults from outside, against the desk as it is started: huge uploads, cut connections, a full disk, a newer file."""

from __future__ import annotations

import io
import os
import re
import resource
import signal
import socket
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from command_line import status_of, usage_error
from desk_server import Running, running
from invented_records import fill, shot
from PIL import Image

from vision.records.database import open_records
from vision.records.readings import reading
from vision.records.search import Filter, find

GIBIBYTE = 2**30
BOUNDARY = "cut-here"


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Running]:
    folder = tmp_path_factory.mktemp("faults") / "records"
    fill(folder)
    with running(folder) as opened:
        yield opened


def photos_in(folder: Path) -> list[Path]:
    return sorted(path for path in (folder / "photos").rglob("*") if path.is_file())


def token(desk: Running) -> str:
    return str(desk.web.get(f"{desk.address}api/token").json()["token"])


def head(desk: Running, length: int) -> bytes:
    lines = [
        "POST /photos HTTP/1.1", f"Host: 127.0.0.1:{desk.port}", "Accept: text/html", f"Content-Length: {length}",
        f"Content-Type: multipart/form-data; boundary={BOUNDARY}", "Connection: close", "", "",
    ]  # fmt: skip
    return "\r\n".join(lines).encode()


def part(desk: Running) -> bytes:
    return (
        f'--{BOUNDARY}\r\nContent-Disposition: form-data; name="token"\r\n\r\n{token(desk)}\r\n'
        f'--{BOUNDARY}\r\nContent-Disposition: form-data; name="photos"; filename="a.jpg"\r\nContent-Type: image/jpeg\r\n\r\n'
    ).encode()


def peak_memory_mb(pid: int) -> float:
    return int(re.search(r"VmHWM:\s+(\d+)", Path(f"/proc/{pid}/status").read_text()).group(1)) / 1024  # type: ignore[union-attr]


def test_a_gibibyte_is_refused_in_words_and_costs_no_memory(desk: Running) -> None:
    before, kept = peak_memory_mb(desk.pid), photos_in(desk.folder)
    with socket.create_connection(("127.0.0.1", desk.port)) as line:
        line.sendall(head(desk, GIBIBYTE))
        chunk = bytes(2**20)
        for _ in range(GIBIBYTE // len(chunk)):
            line.sendall(chunk)
        answer = b"".join(iter(lambda: line.recv(65536), b"")).decode()

    assert answer.startswith("HTTP/1.1 413")
    assert "More than 400 MB were sent at once; nothing of it was kept" in answer
    assert peak_memory_mb(desk.pid) - before < 64
    assert photos_in(desk.folder) == kept


def test_a_cut_connection_keeps_nothing(desk: Running) -> None:
    kept = photos_in(desk.folder)
    with socket.create_connection(("127.0.0.1", desk.port)) as line:
        line.sendall(head(desk, 5_000_000) + part(desk) + shot()[:9000])
        line.shutdown(socket.SHUT_WR)
        line.settimeout(5)
        while line.recv(65536):
            pass

    assert desk.web.get(f"{desk.address}records", headers={"accept": "text/html"}).status_code == 200
    assert photos_in(desk.folder) == kept
    with open_records(desk.folder) as records:
        assert find(records, Filter(), limit=0)[1] == 5


def test_a_full_disk_is_said_and_what_was_kept_is_whole(tmp_path: Path) -> None:
    """No file may grow beyond 200 kB in this process, as on a disk without room; the system's error is EFBIG."""
    fill(tmp_path / "records")
    kept = photos_in(tmp_path / "records")

    with running(tmp_path / "records", lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (200_000, 200_000))) as desk:
        answer = desk.web.post(
            f"{desk.address}photos",
            data={"token": token(desk)},
            files={"photos": ("big.jpg", _noise())},
            headers={"accept": "text/html"},
        )
        small = desk.web.get(f"{desk.address}readings/1", headers={"accept": "text/html"})

    assert answer.status_code == 507
    assert "no room is left on the disk" in answer.text
    assert small.status_code == 200
    assert photos_in(tmp_path / "records") == kept
    with open_records(tmp_path / "records") as records:
        assert find(records, Filter(), limit=0)[1] == 5


def _noise() -> bytes:
    target = io.BytesIO()
    Image.effect_noise((1200, 900), 80).convert("RGB").save(target, "JPEG", quality=95)
    assert len(target.getvalue()) > 400_000
    return target.getvalue()


def test_photos_survive_a_desk_that_is_killed_while_it_reads(tmp_path: Path) -> None:
    """Killed with no chance to tidy up; the next desk offers what was not read, and reads it as it was said."""
    folder = tmp_path / "records"
    with running(folder) as desk:
        sent = desk.web.post(
            f"{desk.address}api/photos",
            headers={"x-flutegauge-token": token(desk)},
            data={"px_per_mm": "60", "held": "true"},
            files=[("photos", ("one.jpg", shot(90, (640, 480)))), ("photos", ("two.jpg", shot(140, (640, 480))))],
        )
        os.kill(desk.pid, signal.SIGKILL)
    assert sent.status_code == 202

    with running(folder) as desk:
        page = desk.web.get(desk.address, headers={"accept": "text/html"})
        job = desk.web.post(f"{desk.address}waiting", data={"token": token(desk)}, follow_redirects=True, headers={"accept": "text/html"})
        state = {"state": "reading"}
        while state["state"] in ("waiting", "reading"):
            time.sleep(0.05)
            state = desk.web.get(f"{desk.address}api/jobs/{job.url.path.rpartition('/')[2]}").json()
    with open_records(folder) as records:
        kept = [reading(records, number) for number in state["readings"]]

    assert "photos were taken in before the desk was closed" in page.text
    assert state["problems"] == []
    assert {one.file for one in kept} <= {"one.jpg", "two.jpg"}
    assert len(kept) >= 1
    assert all(one.settings["px_per_mm"] == 60.0 and one.settings["held"] for one in kept)


def test_a_newer_file_is_refused_at_the_start(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with open_records(tmp_path / "records") as records:
        records.db.execute("INSERT INTO migration VALUES ('holograms', '2031-01-01T00:00:00Z', '9.1.0')")

    assert status_of("desk", "--data", tmp_path / "records", "--port", 0, "--no-browser") == 1
    out, error = capsys.readouterr()
    assert "newer Flutegauge (9.1.0" in error
    assert out == ""


def test_wrong_options_are_said(tmp_path: Path, capsys: pytest.CaptureFixture[str], desk: Running) -> None:
    taken = usage_error(capsys, "desk", "--data", tmp_path, "--port", desk.port, "--no-browser")
    assert "is taken" in taken
    assert "from 0" in usage_error(capsys, "desk", "--data", tmp_path, "--port", 99999, "--no-browser")
    assert "cannot be read as a catalogue" in usage_error(capsys, "desk", "--data", tmp_path, "--words", tmp_path / "none.toml")
    assert status_of("desk", "--help") == 0


def test_only_this_computer_is_listened_to(desk: Running) -> None:
    table = Path("/proc/net/tcp").read_text().splitlines()[1:]
    listening = [row.split()[1] for row in table if row.split()[3] == "0A" and row.split()[1].endswith(f":{desk.port:04X}")]

    assert listening == [f"0100007F:{desk.port:04X}"]
