"""How long the desk's pages wait for the records: ``python -m tests.bench.records FOLDER [--readings 1000000] [--json FILE]``.

Fills the folder with invented records unless it holds some, brings them up to date, and asks for every page several times, each time
for something else. ``queries``: all that a page asks of SQLite, opening included; ``page``: the whole answer. Both in seconds of
processor time, so that other programmes disturb little. The file cache is warm: the first asking of each page is not counted.
"""

from __future__ import annotations

import argparse
import json
import random
import sqlite3
import statistics
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from rich.console import Console
from rich.table import Table
from starlette.testclient import TestClient

from tests.bench.archive import PER_INSTRUMENT, code, fill
from vision.desk.app import make_app
from vision.desk.settings import Desk
from vision.records import database
from vision.records.database import FILE, open_records

MOST_MS = 50.0
PORT = 8765
Paths = Callable[[random.Random], str]


class _Clock:
    """Seconds of processor time spent inside SQLite since it was last asked."""

    spent = 0.0

    def timed(self, call: Callable[..., Any], *args: Any) -> Any:
        start = time.thread_time()
        try:
            return call(*args)
        finally:
            self.spent += time.thread_time() - start

    def taken(self) -> float:
        spent, self.spent = self.spent, 0.0
        return spent


CLOCK = _Clock()


class _Cursor(sqlite3.Cursor):
    def execute(self, *args: Any) -> _Cursor:
        CLOCK.timed(super().execute, *args)
        return self

    def fetchone(self) -> Any:
        return CLOCK.timed(super().fetchone)

    def fetchall(self) -> Any:
        return CLOCK.timed(super().fetchall)

    def __next__(self) -> Any:
        return CLOCK.timed(super().__next__)


class _Connection(sqlite3.Connection):
    def execute(self, *args: Any) -> Any:
        return self.cursor(_Cursor).execute(*args)


def _connect(path: Path, busy_s: float = database.BUSY_S) -> sqlite3.Connection:
    db = CLOCK.timed(lambda: sqlite3.connect(path, timeout=busy_s, isolation_level=None, check_same_thread=False, factory=_Connection))
    made: sqlite3.Connection = db
    made.row_factory = sqlite3.Row
    made.execute("PRAGMA foreign_keys=ON")
    made.execute("PRAGMA synchronous=FULL")
    return made


def pages(readings: int) -> dict[str, Paths]:
    """Return what is asked for: a name for the table, and the paths by chance."""
    instruments = readings // PER_INSTRUMENT

    def month(chance: random.Random) -> str:
        return f"{chance.randrange(2020, 2025)}-{chance.randrange(1, 13):02d}"

    return {
        "start": lambda _: "/",
        "records, first page": lambda _: "/records",
        "records, a later page": lambda c: f"/records?before={c.randrange(1577836800, 1735516800)}.{2**60}&offset=30",
        "records of a family": lambda c: f"/records?family={c.choice(('k-file', 'reamer', 'barbed-broach'))}",
        "records of a size": lambda c: f"/records?size={c.choice((8, 25, 140))}",
        "records of a call": lambda c: f"/records?call={c.choice(('discard', 'nothing+seen'))}",
        "records of family, size, call": lambda c: f"/records?family=barbed-broach&size={c.choice((8, 25))}&call=discard",
        "records of a month and a call": lambda c: f"/records?since={month(c)}-01&until={month(c)}-28&call=discard",
        "records of an instrument": lambda c: f"/records?instrument={code(c.randrange(1, instruments))}",
        "text: a code": lambda c: f"/records?text={code(c.randrange(1, instruments))}",
        "text: part of every file": lambda _: "/records?text=IMG",
        "text: part of old files only": lambda _: "/records?text=old_",
        "text: one file": lambda c: f"/records?text={c.randrange(readings // 2, readings):07d}",
        "text: a common finding": lambda _: "/records?text=unwound",
        "text: a rare finding": lambda _: "/records?text=broken",
        "text: nothing": lambda _: "/records?text=zzzz",
        "text: two letters": lambda _: "/records?text=zz",
        "text and a call": lambda _: "/records?text=IMG&call=discard",
        "text of old files and a call": lambda _: "/records?text=old_&call=discard",
        "records by programme": lambda c: f"/api/readings?limit=500&offset={c.randrange(0, 9000)}",
        "reading": lambda c: f"/readings/{c.randrange(1, readings)}",
        "instruments, first page": lambda _: "/instruments",
        "instruments, a later page": lambda c: f"/instruments?after={code(c.randrange(1, instruments))}",
        "instruments: a code": lambda c: f"/instruments?text={c.randrange(1, instruments):06d}",
        "instruments: a kit": lambda c: f"/instruments?text=box-{c.randrange(1, instruments // 20)}",
        "instruments: nothing": lambda _: "/instruments?text=zzzz",
        "instrument": lambda c: f"/instruments/{code(c.randrange(1, instruments))}",
        "instrument, change": lambda c: f"/instruments/{code(c.randrange(1, instruments))}/change",
        "report of an instrument": lambda c: f"/reports/instrument-{code(c.randrange(1, instruments))}.html",
        "report of a month": lambda c: f"/reports/month.html?month={month(c)}",
        "read again": lambda _: "/again",
        "sheets and cameras": lambda _: "/equipment",
        "tags": lambda _: "/tags",
        "camera": lambda _: "/camera",
    }  # fmt: skip


def main() -> None:
    """Fill, bring up to date, ask, print."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench.records", description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--readings", type=int, default=1_000_000)
    parser.add_argument("--repeats", type=int, default=20)
    parser.add_argument("--json", type=Path, help="keep the figures in this file")
    asked = parser.parse_args()
    console, figures = Console(width=110), {}
    start = time.perf_counter()
    if fill(asked.folder, asked.readings):
        console.print(f"filled with {asked.readings:,} readings in {time.perf_counter() - start:.0f} s")
    start = time.perf_counter()
    with open_records(asked.folder) as records:
        count = records.db.execute("SELECT count(*) FROM reading").fetchone()[0]
    figures["opened_s"] = time.perf_counter() - start
    size_mb = (asked.folder / FILE).stat().st_size / 1e6
    console.print(f"{count:,} readings, {size_mb:,.0f} MB; opened (and brought up to date) in {figures['opened_s']:.1f} s")
    rows = dict(_asked_for(asked.folder, count, asked.repeats))
    print_table(rows, console)
    figures |= {"readings": count, "megabytes": size_mb, "pages": rows}
    if asked.json is not None:
        asked.json.write_text(json.dumps(figures, indent=1) + "\n", encoding="utf-8")


def _asked_for(folder: Path, readings: int, repeats: int) -> Iterator[tuple[str, dict[str, float]]]:
    database.connect = _connect
    desk = Desk(folder, PORT, prints=folder / "no-prints.json", cameras=folder / "no-cameras")
    client = TestClient(make_app(desk, warm=False), base_url=f"http://127.0.0.1:{PORT}")
    client.headers["accept"] = "text/html"
    chance = random.Random(7)  # noqa: S311 - which pages are asked for
    for name, path_of in pages(readings).items():
        took = [_once(client, path_of(chance)) for _ in range(repeats + 1)][1:]
        queries, whole = ([one[which] * 1000.0 for one in took] for which in (0, 1))
        yield name, {"median_ms": statistics.median(queries), "most_ms": max(queries), "page_ms": statistics.median(whole), "n": len(took)}
    with client.stream("GET", "/records.csv") as answer:
        CLOCK.taken()
        start = time.process_time()
        next(answer.iter_bytes())
        queries, whole = CLOCK.taken() * 1000.0, (time.process_time() - start) * 1000.0
        yield "CSV, first piece", {"median_ms": queries, "most_ms": queries, "page_ms": whole, "n": 1}


def _once(client: TestClient, path: str) -> tuple[float, float]:
    CLOCK.taken()
    start = time.process_time()
    answer = client.get(path)
    whole = time.process_time() - start
    if answer.status_code >= 400:
        raise SystemExit(f"{path} answered {answer.status_code}: the figures would mean nothing")
    return CLOCK.taken(), whole


def print_table(rows: dict[str, dict[str, float]], console: Console) -> None:
    """Print what each page took; queries above the limit are marked in words."""
    table = Table(title=f"milliseconds of processor time; the limit for queries is {MOST_MS:.0f}")
    for name in ("page", "queries, median", "queries, most", "whole page, median", "n", ""):
        table.add_column(name, justify="left" if name in ("page", "") else "right")
    for name, one in rows.items():
        over = "over" if one["most_ms"] > MOST_MS else ""
        table.add_row(name, f"{one['median_ms']:.1f}", f"{one['most_ms']:.1f}", f"{one['page_ms']:.1f}", str(one["n"]), over)
    console.print(table)


if __name__ == "__main__":
    main()
