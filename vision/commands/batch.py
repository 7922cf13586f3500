"""`flutegauge measure PHOTOS --out DIR`: many photos, one line of JSON each, in order; ended runs go on where they stopped.

DIR/batch.json says what is read and how, DIR/readings.jsonl.part grows line by line, and becomes readings.jsonl when all
are done; then the table is made from it. Lines are in the photos' order, so how far a run came is how many there are.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn, TimeRemainingColumn

from vision.commands.batch_arguments import WEB
from vision.commands.batch_item import Item
from vision.commands.batch_lock import alone
from vision.commands.batch_pool import lines_here
from vision.commands.batch_tables import write_table
from vision.commands.given_photos import ENDINGS
from vision.commands.measure import FINE, PHOTO_FAILED, Plan, plan_of
from vision.commands.outputs import write_text
from vision.errors import UsageError
from vision.net import versions
from vision.report import cautions
from vision.report.document import version
from vision.report.words import plain

FORMAT = "flutegauge-batch/1"
CAUTIONS = (*cautions.SHORT, cautions.BROACH)
NOT_WITH = ("json", "picture", "why", "budget", "same", "against")
MOST_NAMED = 20  # photos that failed, on the terminal; the lines of JSON have them all


def batch(arguments: argparse.Namespace) -> int:
    """Run the command; return its exit status. Raises UsageError before any photo is opened."""
    for name in NOT_WITH:
        if getattr(arguments, name):
            raise UsageError(f"--{name} does not go with --out, which writes lines of JSON and a table: leave one of them out")
    if arguments.jobs is not None and arguments.jobs < 1:
        raise UsageError(f"--jobs needs a number of 1 or more, got {arguments.jobs}")
    items = list(gathered(arguments.photos))
    plan = replace(plan_of(argparse.Namespace(**vars(arguments) | {"photos": []})), photos=(), names=())
    folder: Path = arguments.out
    _made(folder)
    with alone(folder):
        done = _prepared(folder, _described(items, plan))
        lines = _lines(items[done:], plan, arguments)
        console = Console(stderr=True, markup=False, highlight=False, emoji=False)
        failed = _written(folder, lines, done, len(items), console)
        target = write_table(folder / "readings.jsonl", folder / f"instruments.{arguments.table or 'csv'}")
    out = Console(markup=False, highlight=False, emoji=False)
    for said in failed[:MOST_NAMED]:
        out.print(plain(said), soft_wrap=True)
    if len(failed) > MOST_NAMED:
        out.print(f"... and {len(failed) - MOST_NAMED} more: 'error' in {folder / 'readings.jsonl'}", soft_wrap=True)
    counted = f"{len(items)} photos read, {len(failed)} of them could not be examined"
    out.print(f"{counted}: {folder / 'readings.jsonl'}, {target}", soft_wrap=True)
    for caution in CAUTIONS:
        out.print(caution)
    return PHOTO_FAILED if failed else FINE


def gathered(photos: Sequence[Path | str]) -> Iterator[Item]:
    """Give every photo in order: folders are searched with all below them, by name. Raises UsageError for an empty one."""
    for photo in photos:
        if isinstance(photo, str):
            yield from _at_address(photo)
        elif photo.is_dir():
            found = sorted(path for path in photo.rglob("*") if path.suffix.lower() in ENDINGS and path.is_file())
            if not found:
                raise UsageError(f"found no photo in {photo} ({', '.join(ENDINGS)}): name another folder")
            yield from (Item(str(path.resolve()), path.relative_to(photo).as_posix()) for path in found)
        else:
            yield Item(str(photo.resolve()), photo.name)


def _at_address(address: str) -> Iterator[Item]:
    import fsspec  # noqa: PLC0415 - comes with the extra 'cluster'

    try:
        files = fsspec.open_files(address, "rb") if any(sign in address for sign in "*?[") else None
    except (OSError, ValueError, ImportError) as error:
        raise UsageError(f"{address} cannot be listed ({error}): check the address") from error
    if files is None:
        yield Item(address, address.rpartition("/")[2])
        return
    if not files:
        raise UsageError(f"found no photo at {address}: check the address")
    protocol = address.partition(WEB)[0]
    yield from (Item(f"{protocol}{WEB}{one.path}", one.path.rpartition("/")[2]) for one in sorted(files, key=lambda one: one.path))


def _lines(items: Sequence[Item], plan: Plan, arguments: argparse.Namespace) -> Iterator[str]:
    if arguments.cluster is None:
        return lines_here(items, plan, arguments.jobs or 1)
    from vision.commands.batch_cluster import lines_there  # noqa: PLC0415 - loads distributed, of the extra 'cluster'

    return lines_there(items, plan, arguments.cluster)


def _described(items: Sequence[Item], plan: Plan) -> dict[str, Any]:
    """What a run is, to tell whether an ended one may go on: photos, way of reading, software."""
    names = hashlib.sha256("\n".join(item.name for item in items).encode()).hexdigest()
    settings = repr(replace(plan, overwrite=False))
    return {
        "format": FORMAT,
        "made_by": {"flutegauge": version(), "models": versions()},
        "photos": len(items),
        "names": f"sha256:{names}",
        "settings": f"sha256:{hashlib.sha256(settings.encode()).hexdigest()}",
        "cautions": list(CAUTIONS),
    }


def _made(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise UsageError(f"{folder} cannot hold results ({error.strerror}): name another folder") from error


def _prepared(folder: Path, described: dict[str, Any]) -> int:
    """Make the folder ready; return how many photos an ended run has read. Raises UsageError where another run lies."""
    kept = folder / "batch.json"
    if kept.exists():
        if _earlier(kept) != described:
            raise UsageError(f"{folder} holds a run over other photos, or read otherwise: name another folder")
    else:
        _begin(kept, described)
    part, whole = folder / "readings.jsonl.part", folder / "readings.jsonl"
    if whole.exists():
        whole.replace(part)
    return _whole_lines(part) if part.exists() else 0


def _earlier(kept: Path) -> object:
    try:
        return json.loads(kept.read_text(encoding="utf-8"))
    except ValueError as error:
        raise UsageError(f"{kept} is damaged: name another folder, or remove this one") from error


def _begin(kept: Path, described: dict[str, Any]) -> None:
    """Write what the run is. A run that was killed while it did that has left a draft, and nothing else."""
    drafts = list(kept.parent.glob(".batch.json.*.draft"))
    if set(kept.parent.iterdir()) - set(drafts):
        raise UsageError(f"{kept.parent} is not empty and holds no batch: name a new or empty folder")
    for draft in drafts:
        draft.unlink(missing_ok=True)
    try:
        write_text(kept, json.dumps(described, indent=2) + "\n", overwrite=False)
    except OSError as error:
        raise UsageError(f"{kept.parent} cannot hold results ({error.strerror}): name another folder") from error


def _whole_lines(path: Path) -> int:
    """Count the lines written whole; cut off one that was not."""
    count, end = 0, 0
    with path.open("rb+") as file:
        for line in file:
            if line.endswith(b"\n"):
                count, end = count + 1, end + len(line)
        file.truncate(end)
    return count


def _written(folder: Path, lines: Iterable[str], done: int, total: int, console: Console) -> list[str]:
    """Write each line as it comes, with progress; return why each photo that could not be examined was not."""
    part = folder / "readings.jsonl.part"
    columns = (
        TextColumn("reading"), BarColumn(), MofNCompleteColumn(), TextColumn("photos"), TimeElapsedColumn(),
        TextColumn("left"), TimeRemainingColumn(),
    )  # fmt: skip
    if done:
        console.print(f"going on after {done} of {total} photos")
    with Progress(*columns, console=console, transient=True) as shown, part.open("a", encoding="utf-8") as target:
        task = shown.add_task("", total=total, completed=done)
        for line in lines:
            target.write(line + "\n")
            target.flush()
            shown.advance(task)
        os.fsync(target.fileno())
    with part.open(encoding="utf-8") as source:
        failed = [f"{one['file']}: {one['error']['message']}" for one in map(json.loads, source) if one["error"] is not None]
    part.replace(folder / "readings.jsonl")
    return failed
