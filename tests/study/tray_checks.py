"""Study of tray checks: fresh trays on a mat, each against lists with 0 to 4 planted faults.

Run as ``python -m tests.study.tray_checks OUT --seed 16000 --count 10 --lists 4``. What was rendered and read is kept in OUT. Lists of one
photo share its reading, so their outcomes are not independent. Reported seeds start at 16000.
"""

from __future__ import annotations

import argparse
import json
import pickle
from collections import Counter
from functools import partial
from pathlib import Path
from typing import Any

from samples.bulk import backend_named, over
from samples.photo import save
from samples.render import render
from tests.study.check_scenes import Planted, check_scene, planted
from tests.study.trays import NO_PRINTS, share_text
from vision.pipeline import read_photo
from vision.tray.check import Checked, check_tray
from vision.tray.looked import TrayPhoto, tray_photo
from vision.tray.merged import merge


def main() -> None:
    """Render, read, check, count, print."""
    parser = argparse.ArgumentParser(prog="python -m tests.study.tray_checks", description=__doc__)
    parser.add_argument("out", type=Path, help="folder for photos and readings")
    parser.add_argument("--seed", type=int, default=16000, help="first seed; reported seeds start at 16000")
    parser.add_argument("--count", type=int, default=10, help="how many photos")
    parser.add_argument("--lists", type=int, default=4, help="lists for each photo")
    parser.add_argument("--jobs", type=int, default=1, help="processes at once")
    parser.add_argument("--device", default="cpu", help="what renders: cpu or cuda")
    asked = parser.parse_args()
    asked.out.mkdir(parents=True, exist_ok=True)
    total: Counter[str] = Counter()
    work = partial(one, asked.out, asked.device, asked.lists)
    for done in over(work, range(asked.seed, asked.seed + asked.count), asked.jobs, asked.device):
        print(f"seed {done.item}: {done.error or dict(done.result)}", flush=True)
        total += done.result or Counter()
    print("\n".join(figures(total)))


def one(out: Path, device: str, lists: int, seed: int) -> Counter[str]:
    """Counts of one photo and its lists; rendered and read unless that was done before."""
    path, kept = out / f"{seed}.jpg", out / f"{seed}.pickle"
    if not path.with_suffix(".json").exists():
        scene = check_scene(seed)
        picture, truth = render(scene, backend_named(device))
        save(picture, truth, path, scene)
    if not kept.exists():
        looked: list[Any] = []
        reading = read_photo(path, given=None, prints=NO_PRINTS, held=False, keep=looked)
        kept.write_bytes(pickle.dumps(tray_photo(reading, looked[0] if looked else None)))
    truth = json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))
    tray: TrayPhoto = pickle.loads(kept.read_bytes())  # noqa: S301 - written by this study
    total = Counter(photos=1, **{"not examined": int(tray.reading.error is not None)})
    for turn in range(lists):
        plan = planted(truth, seed, turn)
        total += counted(plan, check_tray(plan.kit, merge([tray])))
    return total


def counted(plan: Planted, checked: Checked) -> Counter[str]:
    """What became of planted faults and of right positions in one check."""
    count: Counter[str] = Counter(checks=1, clean=int(not plan.faults))
    said = {row.position.slot: row.outcome for row in checked.rows if row.position is not None}
    lying = {row.seen.best.lane: row.outcome for row in checked.rows if row.seen is not None}
    for slot, fault in plan.faults.items():
        outcome = lying.get(slot, "matches list") if fault == "extra" else said[slot]  # what was not found at all was passed too
        count["faults"] += 1
        count["faults passed"] += outcome == "matches list"
        count["faults undecided"] += outcome == "undecided"
        count["faults by their kind"] += outcome == fault
        count[f"{fault} -> {outcome}"] += 1
    right = [outcome for slot, outcome in said.items() if slot not in plan.faults]
    alarms = sum(outcome not in ("matches list", "undecided") for outcome in right)
    alarms += sum(row.position is None and row.outcome == "extra" and plan.faults.get(row.seen.best.lane or 0) != "extra"
                  for row in checked.rows if row.seen is not None)  # fmt: skip
    count["right"] += len(right)
    count["right undecided"] += sum(outcome == "undecided" for outcome in right)
    count["false faults"] += alarms
    count["clean without a false fault"] += not plan.faults and not alarms
    return count


def figures(total: Counter[str]) -> list[str]:
    """Shares with Wilson's 95 % interval, then every planted fault with what was said."""
    rows = (
        ("faults passed as 'matches list'", "faults passed", "faults"), ("faults undecided", "faults undecided", "faults"),
        ("faults told by their kind", "faults by their kind", "faults"), ("right positions undecided", "right undecided", "right"),
        ("false faults over right positions", "false faults", "right"),
        ("clean trays without a false fault", "clean without a false fault", "clean"),
    )  # fmt: skip
    said = [f"{total['checks']} checks on {total['photos']} photos, {total['not examined']} not examined"]
    said += [f"{name:34s} {total[a]:4d} of {total[b]:4d}  {share_text(total[a], total[b])}" for name, a, b in rows]
    return said + [f"  {name}: {number}" for name, number in sorted(total.items()) if " -> " in name]


if __name__ == "__main__":
    main()
