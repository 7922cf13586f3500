"""Times batches: photos a second with one and with two jobs, by the clock, the start of the processes left out."""

from __future__ import annotations

import time
from dataclasses import replace
from pathlib import Path

from vision.cli import parser
from vision.commands.batch_item import Item
from vision.commands.batch_pool import lines_here
from vision.commands.measure import Plan, plan_of


def batches(photo: Path, count: int, folder: Path) -> dict[str, float]:
    """Read one photo ``count`` times over with 1 and with 2 jobs; photos a second, and their ratio."""
    folder.mkdir(exist_ok=True)
    items = [Item(str(photo), f"{number}.jpg") for number in range(count)]
    rates = {jobs: _rate(items, _plan(), jobs) for jobs in (1, 2)}
    return {"one_job_per_s": rates[1], "two_jobs_per_s": rates[2], "two_over_one": rates[2] / rates[1]}


def _rate(items: list[Item], plan: Plan, jobs: int) -> float:
    lines = lines_here([*items[:jobs], *items], plan, jobs)
    for _ in range(jobs):
        next(lines)
    start, count = time.perf_counter(), sum(1 for _ in lines)
    return count / (time.perf_counter() - start)


def _plan() -> Plan:
    arguments = parser().parse_args(["measure", "any.jpg"])
    return replace(plan_of(arguments), photos=(), names=())
