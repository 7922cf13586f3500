"""Accuracy study: fresh renders with their truth, read and compared. Run as ``python -m tests.study OUT --flat 60 --free 20``."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import Any

import numpy as np
from rich.console import Console
from rich.progress import track

from samples import write
from samples.population import draw_macro
from tests.study.figures import print_figures
from vision.pipeline import read_photo

FAMILIES = ("k-file", "reamer", "hedstroem-file", "barbed-broach")
NO_PRINTS = Path("no-print-checks.json")


def main() -> None:
    """Draw, render (kept in OUT, made once), read and print."""
    parser = argparse.ArgumentParser(prog="python -m tests.study", description=__doc__)
    parser.add_argument("out", type=Path, help="folder for the rendered photos")
    parser.add_argument("--flat", type=int, default=60, help="photos with the shaft held flat")
    parser.add_argument("--free", type=int, default=20, help="photos of instruments resting freely")
    parser.add_argument("--seed", type=int, default=9000, help="first seed; reported seeds start at 9000")
    asked = parser.parse_args()
    asked.out.mkdir(parents=True, exist_ok=True)
    console = Console(stderr=True)
    for pose, count, first in (("flat", asked.flat, asked.seed), ("free", asked.free, asked.seed + 100)):
        seeds = track(range(first, first + count), description=f"{pose}", console=console)
        print_figures(pose, [one(asked.out, pose, seed) for seed in seeds])


def one(out: Path, pose: str, seed: int) -> dict[str, Any]:
    """Truth and reading of one seed; the photo is rendered unless it is there already."""
    path = out / f"{pose}{seed}.jpg"
    if not path.exists():
        write(scene(pose, seed), path)
    truth = json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))["instruments"][0]
    reading = read_photo(path, given=None, prints=NO_PRINTS, held=pose == "flat")
    return {"seed": seed, "truth": truth, "error": reading.error, "instruments": reading.instruments}


def scene(pose: str, seed: int) -> Any:
    """Draw a scene at 60 to 120 px/mm whose picture holds the whole shaft and the handle's front."""
    px_per_mm = float(np.random.default_rng(seed + 77).uniform(60.0, 120.0))
    family = FAMILIES[seed % 4]
    drawn = draw_macro(seed, family, pose, px_per_mm)  # type: ignore[arg-type]
    width = int(np.clip((drawn.laid[0].instrument.length_mm + 9.0) * px_per_mm * 1.02, 1800, 4032))
    return draw_macro(seed, family, pose, px_per_mm, image_px=(width, int(width * 0.75)))  # type: ignore[arg-type]


if __name__ == "__main__":
    main()
