"""Kills a process that saves readings, at random moments, and looks whether anything it acknowledged is gone.

`PYTHONPATH=. python tests/kill_saves.py --times 200 --seed 1` prints one line of figures; status 1 when something was lost.
"""

from __future__ import annotations

import argparse
import io
import json
import os
import random
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

from PIL import Image

from vision.records.database import check, open_records
from vision.records.photos import keep_photo, photo_path
from vision.records.readings import NewReading, examined, save_reading
from vision.records.readings import reading as kept_reading


@dataclass(frozen=True)
class Outcome:
    """What many kills came to."""

    kills: int
    acknowledged: int
    present: int
    damaged: int
    while_saving: int

    @property
    def fine(self) -> bool:
        return self.acknowledged == self.present and self.damaged == 0


def save_for_ever(folder: Path, what: Path) -> None:
    """Save photo and reading again and again; a line on standard output acknowledges each."""
    whole, drawn = json.loads(what.read_text(encoding="utf-8"))
    drawn = {int(number): one for number, one in drawn.items()}
    with open_records(folder) as records:
        number = 0
        while True:
            number += 1
            print("saving", flush=True)
            photo = keep_photo(records, _picture(number), "invented.jpg")
            kept = save_reading(records, NewReading(whole, drawn, photo.sha256))
            print(f"kept {kept} {photo.sha256}", flush=True)


def kill_at_random(folder: Path, times: int, seed: int) -> Outcome:
    """Start the saving process, kill it after a random while, open the records and look; so many times."""
    chance = random.Random(seed)  # noqa: S311 - when to kill
    # Imported here, since the process that is killed and started again and again does not need them.
    from invented_readings import reading  # noqa: PLC0415

    from vision.records.trace_json import traces  # noqa: PLC0415
    from vision.report.document import document  # noqa: PLC0415

    what = folder.with_name("what.json")
    what.write_text(json.dumps([document([reading()], {"outline": "sha256:0"}), traces(reading())]), encoding="utf-8")
    acknowledged: dict[int, str] = {}
    damaged = while_saving = 0
    for _ in range(times):
        said = _one_life(folder, what, chance.uniform(0.0, 0.12))
        while_saving += said[-1:] == ["saving"]
        acknowledged |= {int(line.split()[1]): line.split()[2] for line in said if line.startswith("kept ")}
        damaged += not _whole(folder)
    with open_records(folder) as records:
        present = 0
        for number, sha256 in acknowledged.items():
            kept = kept_reading(records, number)
            path = photo_path(records, sha256)
            present += kept.photo_sha256 == sha256 and path is not None and len(examined(records, number)) == 2
    return Outcome(times, len(acknowledged), present, damaged, while_saving)


def _one_life(folder: Path, what: Path, after_s: float) -> list[str]:
    """Return the lines of a process that was killed so long after its first acknowledged reading."""
    command = [sys.executable, __file__, "--save-into", str(folder), "--what", str(what)]
    found = os.environ | {"PYTHONPATH": str(Path(__file__).resolve().parent.parent)}
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, bufsize=1, env=found) as process:
        assert process.stdout is not None
        lines: list[str] = []
        while not lines or not lines[-1].startswith("kept"):
            line = process.stdout.readline()
            assert line, "the saving process ended by itself"
            lines.append(line.strip())
        time.sleep(after_s)
        process.kill()
        lines += [line.strip() for line in process.stdout.read().splitlines(keepends=True) if line.endswith("\n")]
    return lines


def _whole(folder: Path) -> bool:
    with open_records(folder) as records:
        check(records)
    return True


def _picture(number: int) -> bytes:
    target = io.BytesIO()
    Image.effect_noise((320 + number % 7, 320), 40 + number % 50).convert("RGB").save(target, "JPEG", quality=60)
    return target.getvalue()


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--times", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--save-into", type=Path)
    parser.add_argument("--what", type=Path)
    asked = parser.parse_args()
    if asked.save_into:
        save_for_ever(asked.save_into, asked.what)
    with tempfile.TemporaryDirectory() as place:
        outcome = kill_at_random(Path(place) / "records", asked.times, asked.seed)
    print(outcome)
    sys.exit(not outcome.fine)
