"""Renders and reads many items in parallel, until all are done or the time is up.

One process does all of an item: it renders on the GPU it shares, reads on its own core, writes the row, deletes the photos.
With more processes than a GPU can serve at once, some render while others read.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

from samples.bulk import over
from tests.study import rows
from tests.study.design import Item
from tests.study.produce import photo_paths, produce
from tests.study.read import read_item


@dataclass(frozen=True)
class Work:
    """What is done with each item: `render` and `read`; photos in `folder` are deleted once read unless `keep`."""

    folder: Path
    device: str
    render: bool = True
    read: bool = True
    keep: bool = False
    per_pixel: int = 256
    until: float = float("inf")

    def one(self, item: Item) -> dict[str, Any] | None:
        """Do it; None when the time is up or, reading only, the photos are not there yet."""
        if time.time() > self.until:
            return None
        begun, cpu = time.monotonic(), time.process_time()
        if self.render:
            produce(item, self.folder, self.device, self.per_pixel)
        elif not all(path.with_suffix(".json").exists() for path in photo_paths(item, self.folder)):
            return None
        made = {"render_s": round(time.monotonic() - begun, 2), "render_cpu_s": round(time.process_time() - cpu, 2)}
        cpu = time.process_time()
        row = read_item(item, self.folder) if self.read else {"item": item.name}
        if self.read and not self.keep:
            _delete(item, self.folder)
        return {**row, **made, "read_cpu_s": round(time.process_time() - cpu, 2)}


def run(items: Sequence[Item], work: Work, jobs: int, out: Path | None, say: Callable[[str], None] | None = None) -> int:
    """Do the items that `out` does not hold yet, adding a row for each; returns how many failed (told on stderr).

    Without `out` (rendering only) the photos themselves tell what is done. A second run goes on where this one stopped.
    """
    say = say or (lambda text: print(text, file=sys.stderr, flush=True))
    already = rows.done(out) if out is not None else set()
    left = [item for item in items if item.name not in already]
    work.folder.mkdir(parents=True, exist_ok=True)
    failed = finished = skipped = 0
    begun = told = time.monotonic()
    say(f"{len(items)} items, {len(already)} there already, {len(left)} to do in {jobs} processes on {work.device}")
    for one in over(partial(_one, work), left, jobs, work.device):
        if one.error is not None:
            failed += 1
            say(f"{one.item.name}: {one.error}")
        elif one.result is None:
            skipped += 1
        else:
            finished += 1
            if out is not None:
                rows.add(out, one.result)
        if time.monotonic() - told > 10.0:
            told = time.monotonic()
            say(f"{finished} of {len(left)} done, {failed} failed, {finished / (told - begun):.2f} a second")
    say(f"{finished} done, {failed} failed, {skipped} left for another run, {time.monotonic() - begun:.0f} s")
    return failed


def gpus(device: str, names: str | None) -> None:
    """Tell the processes which GPUs to share: `names` like '0,1'; unstated, all that PyTorch sees."""
    if not device.startswith("cuda"):
        return
    if names is None:
        names = os.environ.get("CUDA_VISIBLE_DEVICES") or ",".join(str(k) for k in range(_count()))
    os.environ["STUDY_GPUS"] = names


def _count() -> int:
    """GPUs in the machine, asked without starting any."""
    found = len(list(Path("/proc/driver/nvidia/gpus").glob("*"))) if Path("/proc/driver/nvidia/gpus").exists() else 0
    return max(found or len(list(Path("/dev").glob("nvidia[0-9]*"))), 1)


def _one(work: Work, item: Item) -> dict[str, Any] | None:
    return work.one(item)


def _delete(item: Item, folder: Path) -> None:
    for path in photo_paths(item, folder):
        path.unlink(missing_ok=True)
        path.with_suffix(".json").unlink(missing_ok=True)
    (folder / f"{item.name}-prints.json").unlink(missing_ok=True)
