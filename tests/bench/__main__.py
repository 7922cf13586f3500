"""How long readings take: ``python -m tests.bench [--json FILE] [--against FILE]``. Never part of the suite.

One thread, seconds of processor time, so that other programmes disturb little; the batch alone is timed by the clock.
Every time stands beside its ratio to decoding the same JPEG in the same process.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from rich.console import Console
from rich.table import Table

from samples import write
from samples.tray import draw_tray
from tests.bench.batches import batches

ROOT = Path(__file__).resolve().parent.parent.parent
MACRO = ROOT / "samples" / "photos" / "k-file-25-flat.jpg"
TRAY_SEED, TRAY_COUNT = 4000, 20
SLOWER = 1.1  # times the earlier ratio, from which it is said


def main() -> None:
    """Measure, print, keep, compare."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench", description=__doc__)
    parser.add_argument("--json", type=Path, help="keep the figures in this file")
    parser.add_argument("--against", type=Path, help="an earlier file: what became slower is said")
    parser.add_argument("--tray", type=Path, help="a photo of a tray (unstated: one with 20 is rendered first, a minute or more)")
    parser.add_argument("--repeats", type=int, default=5)
    parser.add_argument("--batch", type=int, default=12, metavar="N", help="photos of the batch; 0: no batch")
    asked = parser.parse_args()
    console = Console()
    with tempfile.TemporaryDirectory() as made:
        tray = asked.tray or _tray(Path(made) / "tray.jpg")
        figures: dict[str, Any] = _help() | {"hands_out_mb": _hands_out()}
        for name, photo in (("macro", MACRO), ("tray", tray)):
            figures[name] = _case(photo, asked.repeats)
            print_case(name, figures[name], console)
        if asked.batch:
            figures["batch"] = batches(MACRO, asked.batch, Path(made))
            console.print(f"batch: {figures['batch']}")
    console.print(f"flutegauge --help: {figures['help_s']:.2f} s by the clock, {figures['help_cpu_s']:.2f} s of the processor")
    if asked.json is not None:
        asked.json.write_text(json.dumps(figures, indent=1) + "\n", encoding="utf-8")
    if asked.against is not None:
        print_slower(json.loads(asked.against.read_text(encoding="utf-8")), figures, console)


def _tray(path: Path) -> Path:
    write(draw_tray(TRAY_SEED, TRAY_COUNT), path)
    return path


def _help() -> dict[str, float]:
    """Least of five times of a process that prints the help: by the clock, and of the processor."""
    took, busy = [], []
    for _ in range(5):
        start, before = time.perf_counter(), _children_s()
        script = "import sys; from vision.cli import main; sys.exit(main(['--help']))"
        subprocess.run([sys.executable, "-c", script], cwd=ROOT, stdout=subprocess.DEVNULL, check=True)
        took.append(time.perf_counter() - start)
        busy.append(_children_s() - before)
    return {"help_s": min(took), "help_cpu_s": min(busy)}


def _hands_out() -> float:
    """Peak memory of the process that hands a batch's photos out, which reads none itself."""
    script = "import resource, vision.commands.batch; print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)"
    said = subprocess.run([sys.executable, "-c", script], cwd=ROOT, stdout=subprocess.PIPE, check=True, text=True)
    return int(said.stdout) / 1024.0


def _children_s() -> float:
    spent = resource.getrusage(resource.RUSAGE_CHILDREN)
    return spent.ru_utime + spent.ru_stime


def _case(photo: Path, repeats: int) -> dict[str, Any]:
    one_thread = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "OPENCV_FOR_THREADS_NUM"), "1")
    command = [sys.executable, "-m", "tests.bench.case", str(photo.resolve()), str(repeats)]
    said = subprocess.run(command, cwd=ROOT, env=os.environ | one_thread, stdout=subprocess.PIPE, check=True, text=True)
    found: dict[str, Any] = json.loads(said.stdout)
    return found


def print_case(name: str, case: dict[str, Any], console: Console) -> None:
    """Print one photo's times, each with its ratio to decoding."""
    seconds = case["seconds"]
    table = Table(title=f"{name}: {case['instruments']} instruments read, peak {seconds['peak_mb']:.0f} MB")
    table.add_column("part")
    table.add_column("s", justify="right")
    table.add_column("× decoding", justify="right")
    for part, value in seconds.items():
        if part != "peak_mb":
            table.add_row(part, f"{value:.3f}", f"{value / seconds['decode']:.2f}")
    console.print(table)


def print_slower(before: dict[str, Any], after: dict[str, Any], console: Console) -> None:
    """Say which parts take more times the decoding than before."""
    said = False
    for name in ("macro", "tray"):
        old, new = before[name]["seconds"], after[name]["seconds"]
        for part in new.keys() & old.keys() - {"peak_mb", "decode"}:
            was, now = old[part] / old["decode"], new[part] / new["decode"]
            if now > SLOWER * was and now - was > 0.05:
                said = True
                console.print(f"{name}: {part} took {was:.2f} × decoding, takes {now:.2f} ×")
    if not said:
        console.print(f"nothing became slower than {SLOWER} times what it was")


if __name__ == "__main__":
    main()
