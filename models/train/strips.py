"""Training data for the strip network, many examples at once.

Run as ``python -m models.train.strips OUT_DIR FIRST COUNT``; with ``--jobs 16 --device cuda`` sixteen processes share a GPU.
Writes OUT_DIR/strips-FIRST.npz, one file for a hundred seeds; files that are there already are kept, so a run that was cut
short goes on.
"""

from __future__ import annotations

import argparse
import sys
import time
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from models.train.damaged import draw_damaged
from models.train.examples import draw_window, example
from samples.bulk import backend_named, over

Array = NDArray[Any]
SHARD = 100  # seeds a file


def row_of(device: str, damage: bool, seed: int) -> dict[str, Array] | None:
    """One example as arrays of fixed size; None for a window that shows too little of the shaft."""
    return example(seed, backend_named(device), draw_damaged if damage else draw_window, traced=damage)


def shards(folder: Path, first: int, count: int, jobs: int, device: str, damage: bool = False, until: float = float("inf")) -> int:
    """Render seeds first ... first + count - 1 into files of `SHARD` seeds each; returns how many strips were made.

    A seed that fails is reported on stderr and left out. ``damage``: windows for the damage network. A seed whose turn comes
    later than ``until`` (clock time, s) is left out.
    """
    folder.mkdir(parents=True, exist_ok=True)
    starts = [s for s in range(first, first + count, SHARD) if not (folder / f"strips-{s}.npz").exists()]
    blocks = {start: range(start, min(start + SHARD, first + count)) for start in starts}
    rows: dict[int, list[dict[str, Array]]] = {start: [] for start in starts}
    waiting = {start: len(block) for start, block in blocks.items()}
    made, begun = 0, time.monotonic()
    seeds = [seed for block in blocks.values() for seed in block]
    for done in over(partial(_in_time, until, device, damage), seeds, jobs, device):
        start = first + (done.item - first) // SHARD * SHARD
        waiting[start] -= 1
        if done.error is not None:
            print(done.item, done.error, file=sys.stderr, flush=True)
        elif done.result is not None:
            rows[start].append(done.result)
        if waiting[start] == 0:
            made += _store(folder / f"strips-{start}.npz", rows.pop(start))
            print(start, made, f"{made / (time.monotonic() - begun):.1f} strips/s", flush=True)
    return made


def _in_time(until: float, device: str, damage: bool, seed: int) -> dict[str, Array] | None:
    return None if time.time() > until else row_of(device, damage, seed)


def _store(out: Path, rows: list[dict[str, Array]]) -> int:
    """Write one file, by its seeds; under a temporary name first, so that a reader never sees half a file."""
    if not rows:
        return 0
    rows = sorted(rows, key=lambda row: int(row["seed"]))
    part = out.with_suffix(".part")
    with part.open("wb") as file:
        np.savez(file, **{key: np.stack([row[key] for row in rows]) for key in rows[0]})  # type: ignore[arg-type]
    part.replace(out)
    return len(rows)


def main(argv: list[str] | None = None) -> None:
    """Render strips from the command line."""
    parser = argparse.ArgumentParser(prog="models.train.strips", description="Render strips for training.")
    parser.add_argument("folder", type=Path, help="where the files go; made if missing")
    parser.add_argument("first", type=int, help="first seed")
    parser.add_argument("count", type=int, help="how many seeds")
    parser.add_argument("--jobs", type=int, default=1, help="processes (default 1)")
    parser.add_argument("--device", default="cpu", help="cpu (default), or cuda with PyTorch")
    parser.add_argument("--damage", action="store_true", help="windows about damage, for the damage network")
    parser.add_argument("--seconds", type=float, default=float("inf"), help="begin no window later than this")
    args = parser.parse_args(argv)
    until = time.time() + args.seconds
    print(shards(args.folder, args.first, args.count, args.jobs, args.device, args.damage, until), "strips")


if __name__ == "__main__":
    main()
