"""Times batches with one and with two jobs, the start of the processes left out: photos a second by the clock, and processor seconds
a photo. Where other programmes hold the cores, the clock says little; the processor seconds show what two jobs take from each other."""

from __future__ import annotations

import json
import time
from dataclasses import replace
from pathlib import Path
from statistics import median

from vision.cli import parser
from vision.commands.batch_item import Item
from vision.commands.batch_pool import lines_here
from vision.commands.batch_work import line_of
from vision.commands.measure import Plan, plan_of


def batches(photo: Path, count: int, folder: Path) -> dict[str, float]:
    """Read one photo ``count`` times over with 1 and with 2 jobs.

    ``two_over_one``: by the clock; ``two_over_one_cpu``: what a quiet computer of two cores would show, from the median processor
    seconds a photo beside another job and alone.
    """
    folder.mkdir(exist_ok=True)
    items = [Item(str(photo), f"{number}.jpg") for number in range(count)]
    rate, cpu_s = zip(*(_rate(items, _plan(), jobs) for jobs in (1, 2)), strict=True)
    return {
        "photos": float(count), "one_job_per_s": rate[0], "two_jobs_per_s": rate[1], "two_over_one": rate[1] / rate[0],
        "one_job_cpu_s": cpu_s[0], "two_jobs_cpu_s": cpu_s[1], "two_over_one_cpu": 2.0 * cpu_s[0] / cpu_s[1],
    }  # fmt: skip


def timed_line(item: Item, plan: Plan) -> str:
    """Read a photo as a batch does; return its processor seconds beside its line."""
    start = time.process_time()
    line = line_of(item, plan)
    return json.dumps([time.process_time() - start, line])


def _rate(items: list[Item], plan: Plan, jobs: int) -> tuple[float, float]:
    lines = lines_here([*items[:jobs], *items], plan, jobs, timed_line)
    for _ in range(jobs):
        next(lines)
    start = time.perf_counter()
    took = [float(json.loads(line)[0]) for line in lines]
    return len(took) / (time.perf_counter() - start), median(took)


def _plan() -> Plan:
    arguments = parser().parse_args(["measure", "any.jpg"])
    return replace(plan_of(arguments), photos=(), names=())
