"""The options of `measure` for many photos at once; imports nothing heavy, so that --help is quick."""

from __future__ import annotations

import argparse
from pathlib import Path

WEB = "://"
TABLES = ("csv", "parquet")


def add_batch(measure: argparse.ArgumentParser) -> None:
    """Add --out and what belongs to it."""
    many = measure.add_argument_group(
        "many photos", "PHOTO may then be folders and fsspec addresses; the same command again goes on where a run was ended"
    )
    many.add_argument("--out", type=Path, metavar="DIR", help="write one line of JSON a photo, and a table, into DIR")
    many.add_argument("--jobs", type=int, metavar="N", help="read N photos at a time, one thread each (unstated: 1)")
    many.add_argument("--table", choices=TABLES, help="the table of instruments (unstated: csv; parquet needs the extra 'parquet')")
    many.add_argument(
        "--cluster", metavar="ADDRESS", help="read on a running Dask cluster, tcp://host:port of its scheduler (the extra 'cluster')"
    )


def photo_argument(text: str) -> Path | str:
    """Return a photo's path, or its address where it is one (which a path would spoil)."""
    return text if WEB in text else Path(text)
