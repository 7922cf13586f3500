"""Tray study: fresh tray renders, read and compared. Run as ``python -m tests.study.trays OUT --seed 15000 --count 60 --jobs 2``.

What was rendered and read is kept in OUT and not made again, so that a broken run goes on where it stopped. Reported seeds
start at 15000.
"""

from __future__ import annotations

import argparse
import json
import math
import pickle
import time
from collections import Counter
from functools import partial
from pathlib import Path
from typing import Any

from samples.bulk import backend_named, over
from samples.photo import save
from samples.render import render
from tests.study.tray_match import match, touching
from tests.study.tray_scenes import tray_scene
from vision.pipeline import read_photo
from vision.tray.looked import TrayPhoto, tray_photo

NO_PRINTS = Path("no-print-checks.json")
FOUR = ("k-file", "reamer", "hedstroem-file", "barbed-broach")


def main() -> None:
    """Render, read, count, print."""
    parser = argparse.ArgumentParser(prog="python -m tests.study.trays", description=__doc__)
    parser.add_argument("out", type=Path, help="folder for photos and readings")
    parser.add_argument("--seed", type=int, default=15000, help="first seed; reported seeds start at 15000")
    parser.add_argument("--count", type=int, default=60, help="how many trays")
    parser.add_argument("--jobs", type=int, default=1, help="processes at once")
    parser.add_argument("--device", default="cpu", help="what renders: cpu or cuda")
    asked = parser.parse_args()
    asked.out.mkdir(parents=True, exist_ok=True)
    total: Counter[str] = Counter()
    for done in over(partial(one, asked.out, asked.device), range(asked.seed, asked.seed + asked.count), asked.jobs, asked.device):
        if done.error is not None:
            print(f"seed {done.item}: {done.error}")
        else:
            total += done.result
            print(f"seed {done.item}: {dict(done.result)}", flush=True)
    print("\n".join(figures(total)))


def one(out: Path, device: str, seed: int) -> Counter[str]:
    """Counts of one seed; rendered and read unless that was done before."""
    path, kept = out / f"{seed}.jpg", out / f"{seed}.pickle"
    if not path.with_suffix(".json").exists():
        scene = tray_scene(seed)
        picture, truth = render(scene, backend_named(device))
        save(picture, truth, path, scene)
    if not kept.exists():
        began, looked = time.process_time(), []
        reading = read_photo(path, given=None, prints=NO_PRINTS, held=False, keep=looked)
        tray = tray_photo(reading, looked[0] if looked else None)
        kept.write_bytes(pickle.dumps((tray, time.process_time() - began)))
    truth = json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))
    tray, seconds = pickle.loads(kept.read_bytes())  # noqa: S301 - written by this study
    return counted(truth, tray) + Counter({"trays": 1, "seconds": round(seconds)})


def counted(truth: dict[str, Any], tray: TrayPhoto) -> Counter[str]:
    """What was right, wrong and open on one tray, as a person sorting it is told."""
    reading = tray.reading
    instruments, scale = truth["instruments"], truth["camera"]["px_per_mm"]
    pairs, given = touching(instruments, scale), match(instruments, reading.instruments, scale)
    count = Counter(true=len(instruments), found=len(given), false=len(reading.instruments) - len(given), pairs=len(pairs))
    count["separated"] = sum(i in given and j in given for i, j in pairs)
    for i, j in given.items():
        true, seen = instruments[i], reading.instruments[j]
        if true["family"] not in FOUR:
            continue
        hurt, called = bool(true["damage"]), tray.told[j].kind == "damaged"
        count["families"] += 1
        count["family right"] += seen.family.value == true["family"]
        count["sizes"] += 1
        count["size answered"] += seen.size.value is not None
        count["size right"] += seen.size.value == true["size"]
        count["hurt"] += hurt
        count["hurt found"] += hurt and called
        count["whole"] += not hurt
        count["whole called hurt"] += called and not hurt
    return count


def figures(total: Counter[str]) -> list[str]:
    """Shares with Wilson's 95 % interval."""
    rows = (
        ("recall", "found", "true"), ("false finds over instruments", "false", "true"), ("touching pairs separated", "separated", "pairs"),
        ("family right", "family right", "families"), ("size right of answers", "size right", "size answered"),
        ("size answered", "size answered", "sizes"), ("gross damage found", "hurt found", "hurt"),
        ("whole ones called damaged", "whole called hurt", "whole"),
    )  # fmt: skip
    mean = total["seconds"] / max(total["trays"], 1)
    spent = f"{total['trays']} trays, {mean:.0f} s of processor time each"
    shares = (f"{name:32s} {total[a]:4d} of {total[b]:4d}  {share_text(total[a], total[b])}" for name, a, b in rows)
    return [spent, *shares]


def share_text(part: int, whole: int) -> str:
    """A share in percent with Wilson's 95 % interval."""
    if whole == 0:
        return "no case"
    z, share = 1.96, part / whole
    middle = (share + z * z / (2 * whole)) / (1 + z * z / whole)
    half = z / (1 + z * z / whole) * math.sqrt(max(share * (1 - share), 0.0) / whole + z * z / (4 * whole * whole))
    return f"{100 * share:.1f} % ({100 * (middle - half):.1f} to {100 * min(middle + half, 1.0):.1f})"


if __name__ == "__main__":
    main()
