"""Photos of a tray study: rendered and read once, many at a time on cores and GPUs, kept in a folder so that a broken run goes on."""

from __future__ import annotations

import argparse
import json
import os
import pickle
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from importlib import import_module
from pathlib import Path
from typing import Any

from samples.bulk import backend_named, over
from samples.photo import save
from samples.render import render
from samples.scene import Scene
from tests.study.produce import SHARED_WIDE, own_gpu
from tests.study.run import gpus
from vision.pipeline import read_photo
from vision.tray.looked import TrayPhoto, tray_photo

NO_PRINTS = Path("no-print-checks.json")
Draw = Callable[[int], Scene]
Count = Callable[[int, dict[str, Any], TrayPhoto], Counter[str]]


@dataclass(frozen=True)
class Photos:
    """Where photos and readings lie, what renders them, and when nothing more is begun (seconds of the clock)."""

    folder: Path
    device: str = "cpu"
    until: float = float("inf")

    def one(self, draw: Draw, count: Count, seed: int) -> Counter[str] | None:
        """Counts of one seed; rendered and read unless that was done before. None when the time is up."""
        kept = self.folder / f"{seed}.pickle"
        if not kept.exists():
            if time.time() > self.until:
                return None
            self._read(self._rendered(draw, seed), kept)
        truth = json.loads((self.folder / f"{seed}.json").read_text(encoding="utf-8"))
        tray, seconds = pickle.loads(kept.read_bytes())  # noqa: S301 - written by this study
        return count(seed, truth, tray) + Counter({"photos": 1, "seconds": round(seconds)})

    def _rendered(self, draw: Draw, seed: int) -> Path:
        path = self.folder / f"{seed}.jpg"
        if path.with_suffix(".json").exists():
            return path
        own_gpu()
        scene, backend = draw(seed), backend_named(self.device)
        picture, truth = render(scene, replace(backend, wide=min(backend.wide, SHARED_WIDE)) if self.device != "cpu" else backend)
        save(picture, truth, path, scene)  # the truth is written last
        if self.device.startswith("cuda"):
            import_module("torch").cuda.empty_cache()  # many processes share its memory
        return path

    def _read(self, path: Path, kept: Path) -> None:
        began, looked = time.process_time(), []
        reading = read_photo(path, given=None, prints=NO_PRINTS, held=False, keep=looked)
        made = tray_photo(reading, looked[0] if looked else None), time.process_time() - began
        half = kept.with_suffix(f".{os.getpid()}")
        half.write_bytes(pickle.dumps(made))
        half.replace(kept)


def arguments(name: str, doc: str | None, *, seed: int, count: int) -> argparse.ArgumentParser:
    """What both tray studies ask for."""
    parser = argparse.ArgumentParser(prog=f"python -m tests.study.{name}", description=doc)
    parser.add_argument("out", type=Path, help="folder for photos and readings")
    parser.add_argument("--seed", type=int, default=seed, help=f"first seed; reported seeds start at {seed}")
    parser.add_argument("--count", type=int, default=count, help="how many photos")
    parser.add_argument("--jobs", type=int, default=1, help="processes at once")
    parser.add_argument("--device", default="cpu", help="what renders: cpu or cuda")
    parser.add_argument("--gpus", help="GPUs to share, like 0,1 (unstated: all)")
    parser.add_argument("--seconds", type=float, default=float("inf"), help="begin nothing after so long; the same command goes on")
    return parser


def total_of(asked: argparse.Namespace, draw: Draw, count: Count) -> Counter[str]:
    """Do all seeds, tell each as it is done, and add up."""
    asked.out.mkdir(parents=True, exist_ok=True)
    gpus(asked.device, asked.gpus)
    photos = Photos(asked.out, asked.device, time.time() + asked.seconds)
    total: Counter[str] = Counter()
    for done in over(partial(photos.one, draw, count), range(asked.seed, asked.seed + asked.count), asked.jobs, asked.device):
        if done.error is not None:
            print(f"seed {done.item}: {done.error}", flush=True)
            total["failed"] += 1
        elif done.result is None:
            total["left"] += 1
        else:
            total += done.result
            print(f"seed {done.item}: {dict(done.result)}", flush=True)
    if total["failed"] or total["left"]:
        print(f"{total['failed']} failed, {total['left']} left for another run of the same command")
    return total
