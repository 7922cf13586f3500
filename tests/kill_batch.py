"""Kills a batch at random moments and starts it again, and compares what comes out with a run that nobody disturbed.

``python -m tests.kill_batch --kills 200 --photos 200`` prints a line of figures; status 1 when a byte differs, when a run says
anything but numbers of photos, or when a process outlives the run that started it. Every second kill takes the whole
group of processes, as the end of a session does, the others only the first of them.
"""

from __future__ import annotations

import argparse
import os
import random
import signal
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

from PIL import Image

ROOT = Path(__file__).resolve().parent.parent
SAMPLE = ROOT / "samples" / "photos" / "k-file-25-flat.jpg"
FILES = ("readings.jsonl", "instruments.csv", "batch.json")
WHOLE_EVERY = 20  # one photo in so many shows a sheet and an instrument, the others are refused sooner
ENDS_WITHIN_S = 20.0


@dataclass(frozen=True)
class Outcome:
    """What many kills came to. ``begun``: kills before the first photo was read; ``finished``: runs that came to their end."""

    kills: int
    begun: int
    finished: int
    differing: int
    left_over: int
    faults: tuple[str, ...]

    @property
    def fine(self) -> bool:
        return not (self.differing or self.left_over or self.faults) and self.finished > 0


def made_photos(folder: Path, count: int) -> Path:
    """Small photos, few of which can be read, and here and there a file that is none."""
    folder.mkdir()
    with Image.open(SAMPLE) as sample:
        small, exif = sample.resize((sample.width // 4, sample.height // 4)), sample.getexif()
    for number in range(count):
        path = folder / f"{number:04d}.jpg"
        if number % WHOLE_EVERY == WHOLE_EVERY // 2:
            small.save(path, quality=80, exif=exif)
        elif number % 7 == 3:
            path.write_text("no picture")
        else:
            Image.new("RGB", (330 + number, 400), (90 + number % 100, 120, 140)).save(path, quality=60)
    return folder


def start(photos: Path, out: Path, *, stand_in: bool) -> subprocess.Popen[str]:
    found = os.environ | {"PYTHONPATH": str(ROOT), "FLUTEGAUGE_TRACEBACK": ""}
    command = [sys.executable, "-m", "tests.kill_batch", "--run", str(photos), str(out)] + ["--stand-in"] * stand_in
    return subprocess.Popen(
        command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True, env=found, cwd=ROOT, start_new_session=True
    )


def run(photos: Path, out: Path, *, stand_in: bool) -> int:
    """What the killed process does: the command itself; with ``stand_in`` its photos are not read but named."""
    from vision import cli  # noqa: PLC0415 - only the killed process needs it
    from vision.commands import batch  # noqa: PLC0415

    if stand_in:
        batch.lines_here = _lines  # type: ignore[assignment,attr-defined]
    return cli.main(["measure", str(photos), "--out", str(out)])


def _lines(items, plan, jobs):  # type: ignore[no-untyped-def]  # noqa: ARG001
    from vision.commands.batch_work import as_line  # noqa: PLC0415
    from vision.reading import PhotoReading  # noqa: PLC0415

    for item in items:
        time.sleep(0.01)
        yield as_line(PhotoReading(item.name, ("internal", "not read"), None), item)


def kill_at_random(place: Path, photos: int, kills: int, seed: int, *, stand_in: bool = False) -> Outcome:
    """Run undisturbed once; then kill, start again, compare whenever a run ends by itself, until so many were killed."""
    chance = random.Random(seed)  # noqa: S311 - when to kill
    folder = made_photos(place / "photos", photos)
    whole, first_s = _undisturbed(folder, place / "whole", stand_in=stand_in)
    done = begun = finished = differing = left_over = 0
    faults: list[str] = []
    while done < kills or finished == 0:
        process = start(folder, place / "out", stand_in=stand_in)
        last = done >= kills  # enough: let this one come to its end
        ended, said = _ended(process, None if last else chance.uniform(0.0, 1.3 * first_s), group=done % 2 == 0)
        left_over += _left_over(process.pid)
        if not ended:
            done += 1
            begun += not (place / "out" / "readings.jsonl.part").exists()
            continue
        if process.returncode != 2 or "fault inside" in said:
            faults.append(said.strip()[-200:])
        finished += 1
        differing += [_bytes(place / "out", name) for name in FILES] != whole
        for path in sorted((place / "out").iterdir()):
            path.unlink()
    return Outcome(done, begun, finished, differing, left_over, tuple(faults))


def _undisturbed(folder: Path, out: Path, *, stand_in: bool) -> tuple[list[bytes], float]:
    """Return the files of a run that nobody disturbs, and after how long its first line stood there."""
    began = time.monotonic()
    process = start(folder, out, stand_in=stand_in)
    while process.poll() is None and not any((out / name).exists() for name in ("readings.jsonl.part", "readings.jsonl")):
        time.sleep(0.01)
    first_s = time.monotonic() - began
    process.communicate()
    assert process.returncode == 2  # some are no pictures
    return [_bytes(out, name) for name in FILES], first_s


def _ended(process: subprocess.Popen[str], after_s: float | None, *, group: bool) -> tuple[bool, str]:
    """Whether it ended by itself within that time, and what it said; killed otherwise."""
    try:
        return True, process.communicate(timeout=after_s)[1]
    except subprocess.TimeoutExpired:
        if group:
            os.killpg(process.pid, signal.SIGKILL)
        else:
            process.kill()
        process.wait()
        assert process.stderr is not None
        process.stderr.close()
        return False, ""


def _left_over(group: int) -> bool:
    """Whether a process of that group still runs after a while; such ones are ended, so that they do not pile up."""
    until = time.monotonic() + ENDS_WITHIN_S
    while time.monotonic() < until:
        try:
            os.killpg(group, 0)
        except ProcessLookupError:
            return False
        time.sleep(0.02)
    os.killpg(group, signal.SIGKILL)
    return True


def _bytes(folder: Path, name: str) -> bytes:
    return (folder / name).read_bytes() if (folder / name).exists() else b"missing"


if __name__ == "__main__":
    parser = argparse.ArgumentParser(prog="python -m tests.kill_batch", description=__doc__)
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--photos", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--stand-in", action="store_true", help="name the photos instead of reading them")
    parser.add_argument("--run", nargs=2, type=Path, metavar=("PHOTOS", "OUT"))
    asked = parser.parse_args()
    if asked.run:
        sys.exit(run(*asked.run, stand_in=asked.stand_in))
    with tempfile.TemporaryDirectory() as place:
        outcome = kill_at_random(Path(place), asked.photos, asked.kills, asked.seed, stand_in=asked.stand_in)
    print(outcome)
    sys.exit(not outcome.fine)
