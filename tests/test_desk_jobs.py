"""Photos are read in a process of their own: same document as the command line, cancel at once, crashes survived."""

from __future__ import annotations

import json
import os
import signal
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from command_line import status_of
from invented_records import shot

from vision.desk.jobs import Bench, Job, Json, Task
from vision.desk.worker import command_line

CRASHED, TOO_LONG = "it crashed", "it took too long"


class Shelf:
    """Keeps answers in memory instead of records, unless it is full."""

    def __init__(self) -> None:
        self.answers: list[Json] = []
        self.full = False

    def keep(self, _: Task, answer: Json) -> int:
        if self.full:
            raise OSError("no room is left")
        self.answers.append(answer)
        return len(self.answers)


@pytest.fixture(scope="module")
def shelf() -> Shelf:
    return Shelf()


@pytest.fixture(scope="module")
def bench(shelf: Shelf) -> Iterator[Bench]:
    made = Bench(shelf.keep, crashed=CRASHED, too_long=TOO_LONG, limit_s=60.0)
    yield made
    made.close()


@pytest.fixture
def photo(tmp_path: Path) -> Path:
    """A picture without a sheet: it is told so within a second."""
    path = tmp_path / "grey.jpg"
    path.write_bytes(shot(size=(640, 480)))
    return path


def task(path: Path, name: str = "grey.jpg") -> Task:
    return Task(path, name, "0" * 64, {"held": True})


def ended(job: Job, within_s: float = 60.0) -> Job:
    until = time.monotonic() + within_s
    while job.state in ("waiting", "reading"):
        assert time.monotonic() < until, "the job did not end"
        time.sleep(0.02)
    return job


def reading_now(bench: Bench, job: Job) -> int:
    """Wait until the measuring process works on the job; return its id."""
    until = time.monotonic() + 60.0
    while not (job.state == "reading" and bench.child.pid is not None):
        assert time.monotonic() < until
        time.sleep(0.005)
    return bench.child.pid


def test_the_answer_is_the_document_of_the_command_line(
    bench: Bench, shelf: Shelf, photo: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    job = ended(bench.add((task(photo),)))
    status_of("measure", photo, "--held", "--json", "-")

    assert (job.state, job.problems) == ("done", [])
    assert shelf.answers[-1]["document"] == json.loads(capsys.readouterr().out)
    assert shelf.answers[-1]["document"]["photos"][0]["error"]["kind"] == "no-sheet"
    assert shelf.answers[-1]["traces"] == {}
    assert bench.usual_s() is not None


def test_cancel_ends_a_reading_at_once_and_the_next_goes_on(bench: Bench, photo: Path) -> None:
    job = bench.add((task(photo), task(photo)))
    os.kill(reading_now(bench, job), signal.SIGSTOP)  # as if it measured for ever

    began = time.monotonic()
    bench.cancel(job)
    after = ended(bench.add((task(photo),)))

    assert time.monotonic() - began < 30.0
    assert job.state == "cancelled"
    assert job.readings == []
    assert (after.state, len(after.readings)) == ("done", 1)


def test_a_waiting_job_can_be_cancelled(bench: Bench, photo: Path) -> None:
    first = bench.add((task(photo),))
    second = bench.add((task(photo),))
    bench.cancel(second)

    assert ended(first).state == "done"
    assert second.state == "cancelled"
    assert second.readings == []


def test_a_crash_is_said_and_the_next_photo_goes_on(bench: Bench, photo: Path) -> None:
    job = bench.add((task(photo, "first.jpg"), task(photo, "second.jpg")))
    pid = reading_now(bench, job)
    os.kill(pid, signal.SIGSTOP)
    os.kill(pid, signal.SIGKILL)

    ended(job)

    assert job.problems == [f"first.jpg: {CRASHED}"]
    assert len(job.readings) == 1


def test_records_that_fail_are_said(bench: Bench, shelf: Shelf, photo: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(shelf, "full", True)
    job = ended(bench.add((task(photo),), ["x.pdf is not taken"]))

    assert job.problems == ["x.pdf is not taken", "grey.jpg: no room is left"]


def test_a_photo_that_takes_too_long_is_given_up(bench: Bench, photo: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(bench.child, "limit_s", 0.001)
    job = ended(bench.add((task(photo),)))

    assert job.problems == [f"grey.jpg: {TOO_LONG}"]
    assert job.readings == []


def test_wishes_become_the_command_lines_arguments() -> None:
    wishes = {"path": "/a b.jpg", "held": True, "px_per_mm": 60.5, "px_per_mm_u": None}

    assert command_line(wishes) == ["measure", "/a b.jpg", "--held", "--px-per-mm", "60.5"]
    assert command_line({"path": "a.jpg", "held": False}) == ["measure", "a.jpg"]
