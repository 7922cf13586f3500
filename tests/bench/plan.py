"""Plans the reading of an archive from measured figures: ``python -m tests.bench.plan FIGURES.json [--photos 100000] [--jobs 2]``.

FIGURES.json is what ``python -m tests.bench --json`` kept, best on the computer that will do the work. Time: processor seconds a
photo beside another job, over the jobs; a computer that does other things as well takes longer. Memory: the peak of one process for
each job, and one more that hands out. Disk: what a batch writes, and what the records would keep, each for one photo times the photos.
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import Any

from rich.console import Console
from rich.table import Table


def main() -> None:
    """Print the plan."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench.plan", description=__doc__)
    parser.add_argument("figures", type=Path)
    parser.add_argument("--photos", type=int, default=100_000)
    parser.add_argument("--jobs", type=int, default=2)
    asked = parser.parse_args()
    figures = json.loads(asked.figures.read_text(encoding="utf-8"))
    table = Table(title=f"{asked.photos:,} photos, {asked.jobs} jobs")
    for name in ("of", "hours", "memory, GB", "photos, GB", "results, GB", "records, GB"):
        table.add_column(name, justify="left" if name == "of" else "right")
    for kind in (one for one in ("macro", "tray") if one in figures):
        plan = planned(figures, kind, asked.photos, asked.jobs)
        table.add_row(kind, *(f"{plan[name]:.1f}" for name in ("hours", "memory_gb", "photos_gb", "results_gb", "records_gb")))
    Console().print(table)


def planned(figures: dict[str, Any], kind: str, photos: int, jobs: int) -> dict[str, float]:
    """Hours, and gigabytes of memory and disk, for so many photos like one that was measured: 'macro' or 'tray'."""
    case, batch = figures[kind], figures.get("batch")
    slower = batch["two_jobs_cpu_s"] / batch["one_job_cpu_s"] if batch and jobs > 1 else 1.0
    each = case["bytes"]
    return {
        "hours": photos * case["seconds"]["whole"] * slower / jobs / 3600.0,
        "memory_gb": (jobs * case["seconds"]["peak_mb"] + figures["hands_out_mb"]) / 1000.0,
        "photos_gb": photos * each["photo"] / 1e9,
        "results_gb": photos * (each["line"] + each["row"]) / 1e9,
        "records_gb": photos * each["record"] / 1e9,
    }


if __name__ == "__main__":
    main()
