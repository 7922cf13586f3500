"""Many photos at once: in order, resumed after an end, no photo lost with a process, and a cluster's lines equal ours."""

import csv
import json
import os
import subprocess
import sys
import time
from contextlib import contextmanager
from pathlib import Path

import pyarrow.parquet as pq
import pytest

from tests.batch_fakes import dies_on_three, dies_once
from tests.command_line import status_of, usage_error
from tests.kill_batch import kill_at_random
from vision.commands.batch_item import Item
from vision.commands.batch_lock import alone
from vision.commands.batch_pool import lines_here

ROOT = Path(__file__).resolve().parent.parent
PHOTO = ROOT / "samples" / "photos" / "k-file-25-flat.jpg"


@pytest.fixture
def folder(tmp_path):
    """One photo that can be read between some that are none."""
    photos = tmp_path / "photos"
    (photos / "below").mkdir(parents=True)
    for name in ("a.jpg", "c.png", "below/z.jpg"):
        (photos / name).write_text("no picture")
    (photos / "b.jpg").symlink_to(PHOTO)
    (photos / "notes.txt").write_text("not asked for")
    return photos


def test_a_process_that_ends_takes_one_photo_along_and_no_other():
    items = [Item("", str(number)) for number in range(7)]

    lines = list(lines_here(items, None, 2, work=dies_on_three))

    assert len(lines) == 7
    assert [line for number, line in enumerate(lines) if number != 3] == [f"line of {k}" for k in range(7) if k != 3]
    assert json.loads(lines[3])["error"]["kind"] == "internal"


def test_lines_in_order_table_beside_them_and_an_ended_run_goes_on(folder, tmp_path, capsys):
    out = tmp_path / "out"
    assert status_of("measure", folder, "--out", out, "--jobs", 2) == 2  # three are no pictures
    said = capsys.readouterr().out
    assert all(f"{name}: " in said for name in ("a.jpg", "below/z.jpg", "c.png"))
    assert "b.jpg: " not in said
    whole = (out / "readings.jsonl").read_bytes()
    lines = [json.loads(line) for line in whole.splitlines()]

    assert [line["file"] for line in lines] == ["a.jpg", "b.jpg", "below/z.jpg", "c.png"]
    assert [line["error"] and line["error"]["kind"] for line in lines] == ["not-a-picture", None, "not-a-picture", "not-a-picture"]
    rows = list(csv.DictReader((out / "instruments.csv").read_text(encoding="utf-8").splitlines()))
    assert float(rows[1]["d0_mm"]) == lines[1]["instruments"][0]["d0_mm"]["value"]

    # As a killed run leaves it: two lines, and a third cut short.
    (out / "readings.jsonl").unlink()
    (out / "readings.jsonl.part").write_bytes(b"".join(whole.splitlines(keepends=True)[:2]) + b'{"file": "bel')
    assert status_of("measure", folder, "--out", out, "--table", "parquet") == 2
    assert "going on after 2 of 4 photos" in capsys.readouterr().err
    assert (out / "readings.jsonl").read_bytes() == whole
    table = pq.read_table(out / "instruments.parquet").to_pylist()
    assert [row["file"] for row in table] == [line["file"] for line in lines]
    assert table[1]["d0_mm_u"] == lines[1]["instruments"][0]["d0_mm"]["u"]

    (folder / "d.jpg").write_text("one more")
    assert "holds a run over other photos" in usage_error(capsys, "measure", folder, "--out", out)


def test_a_killed_run_goes_on_to_the_same_bytes(tmp_path):
    """A few kills, with names in place of readings; many, and real ones: python -m tests.kill_batch."""
    outcome = kill_at_random(tmp_path, photos=30, kills=2, seed=5, stand_in=True)

    assert outcome.fine, outcome
    assert outcome.kills == 2


def test_a_reading_process_ends_with_the_run_that_started_it(tmp_path):
    script = (
        "import os, sys, time; from vision.commands.batch_pool import _pool\n"
        "if __name__ == '__main__':\n"
        "    pool = _pool(1); print(pool.submit(os.getpid).result(), flush=True); time.sleep(60)\n"
    )
    (tmp_path / "run.py").write_text(script)
    surroundings = os.environ | {"PYTHONPATH": str(ROOT)}
    with subprocess.Popen([sys.executable, str(tmp_path / "run.py")], stdout=subprocess.PIPE, text=True, env=surroundings) as run:
        reader = int(run.stdout.readline())
        run.kill()
    until = time.monotonic() + 10.0
    while Path(f"/proc/{reader}/cmdline").exists() and Path(f"/proc/{reader}/cmdline").read_bytes():
        assert time.monotonic() < until, "the reading process goes on"
        time.sleep(0.05)


def test_two_runs_never_write_into_one_folder(folder, tmp_path, capsys):
    (tmp_path / "out").mkdir()
    with alone(tmp_path / "out"):
        assert "another run is writing into" in usage_error(capsys, "measure", folder, "--out", tmp_path / "out")
    assert list((tmp_path / "out").iterdir()) == []


def test_a_run_killed_at_its_very_beginning_is_begun_anew(tmp_path, capsys):
    photos, out = tmp_path / "photos", tmp_path / "out"
    photos.mkdir()
    out.mkdir()
    (photos / "a.jpg").write_text("no picture")
    (out / ".batch.json.4711.draft").write_text('{"form')
    assert status_of("measure", photos, "--out", out) == 2
    assert sorted(path.name for path in out.iterdir()) == ["batch.json", "instruments.csv", "readings.jsonl"]

    (out / "batch.json").write_text('{"form')
    capsys.readouterr()
    assert "is damaged" in usage_error(capsys, "measure", photos, "--out", out)


def test_what_does_not_go_together_is_said(folder, tmp_path, capsys):
    assert "does not go with --out" in usage_error(capsys, "measure", folder, "--out", tmp_path / "o", "--json", "-")
    assert "belongs to --out" in usage_error(capsys, "measure", PHOTO, "--jobs", 2)
    assert "add --out" in usage_error(capsys, "measure", "memory://a.jpg")
    assert "is not empty" in usage_error(capsys, "measure", folder, "--out", folder)
    (tmp_path / "empty").mkdir()
    assert "found no photo" in usage_error(capsys, "measure", tmp_path / "empty", "--out", tmp_path / "o")


@contextmanager
def cluster(folder, workers):
    """A scheduler and separate worker processes on this computer; gives the scheduler's address."""
    told = folder / "scheduler.json"
    paths = os.pathsep.join((str(ROOT), str(ROOT / "tests")))
    surroundings = {**os.environ, "PYTHONPATH": paths, "PYTHONWARNINGS": "ignore"}
    common = ("--scheduler-file", str(told), "--no-dashboard")
    scheduler = ("distributed.cli.dask_scheduler", "--host", "127.0.0.1", "--port", "0")
    worker = ("distributed.cli.dask_worker", "--no-nanny", "--nthreads", "1", "--local-directory", str(folder))
    started = []
    try:
        for arguments in (scheduler, *([worker] * workers)):
            command = [sys.executable, "-m", *arguments, *common]
            started.append(subprocess.Popen(command, env=surroundings, stderr=subprocess.DEVNULL, stdout=subprocess.DEVNULL))
            while not told.exists() or not told.read_text():
                time.sleep(0.05)
        yield json.loads(told.read_text())["address"]
    finally:
        for process in reversed(started):  # the scheduler last: workers would wait for it to come back
            process.kill()
            process.wait(20)


@pytest.mark.skipif("FLUTEGAUGE_CLUSTER" not in os.environ, reason="half a minute, and the extra 'cluster': set FLUTEGAUGE_CLUSTER=1")
@pytest.mark.filterwarnings("ignore")  # distributed's own threads and sockets end in their own time
def test_a_cluster_gives_the_same_bytes_and_a_lost_worker_loses_nothing(folder, tmp_path):
    from vision.commands.batch_cluster import lines_there  # noqa: PLC0415 - of the extra 'cluster'

    (folder / "c.png").unlink()
    assert status_of("measure", folder, "--out", tmp_path / "here") == 2
    with cluster(tmp_path, 2) as address:
        assert status_of("measure", f"file://{folder}/b.jpg", "--out", tmp_path / "web", "--cluster", address) == 0
        assert status_of("measure", folder, "--out", tmp_path / "there", "--cluster", address) == 2
        items = [Item("", "1"), Item(str(tmp_path / "mark"), "dies"), *(Item("", str(number)) for number in range(2, 9))]
        lines = list(lines_there(items, None, address, work=dies_once))

    here, there = ((tmp_path / name / "readings.jsonl").read_bytes() for name in ("here", "there"))
    assert there == here
    assert (tmp_path / "web" / "readings.jsonl").read_bytes() == here.splitlines(keepends=True)[1]
    assert lines == [f"line of {item.name}" for item in items]
    assert (tmp_path / "mark").exists()  # the worker was lost indeed
