"""The study's memory: one JSON line an item, only ever added to."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

Row = dict[str, Any]


def load(paths: Iterable[Path]) -> list[Row]:
    """Rows of all files, the last of each item. A line that was cut short, as by a killed run, is left out."""
    found: dict[str, Row] = {}
    for path in paths:
        for row in _lines(path):
            found[row["item"]] = row
    return list(found.values())


def done(path: Path) -> set[str]:
    """Names of the items a file holds; empty if there is none."""
    return {row["item"] for row in _lines(path)} if path.exists() else set()


def add(path: Path, row: Row) -> None:
    """Append a row; a cut line before it is closed first."""
    with path.open("a+", encoding="utf-8") as file:
        file.seek(0, 2)
        if file.tell():
            file.seek(file.tell() - 1)
            if file.read(1) != "\n":
                file.write("\n")
        file.write(json.dumps(row, separators=(",", ":")) + "\n")


def _lines(path: Path) -> Iterator[Row]:
    for line in path.read_text(encoding="utf-8").splitlines():
        try:
            row = json.loads(line)
        except ValueError:
            continue
        if isinstance(row, dict) and "item" in row:
            yield row
