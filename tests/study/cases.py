"""Rows -> cases: one instrument's truth beside the one reading that counts for its set-up."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np

from tests.study.rows import Row

BISTABLE_MM = (0.475, 0.725)  # D0 of sizes 50 to 70, whose resting pose is bistable
GROUPS = (
    "flat", "two views", "free", "free, sizes 50-70", "flat, print unchecked", "hard, flat", "hard, free",
    "traced, flat", "traced, free", "traced, free, sizes 50-70", "strangers",
)  # fmt: skip
USUAL = GROUPS[:5]
TRACED = GROUPS[7:10]


@dataclass(frozen=True)
class Case:
    """`reading` is None where the photo or its instrument could not be read; then `error` may say why."""

    item: str
    group: str
    truth: dict[str, Any]
    reading: dict[str, Any] | None
    baseline: dict[str, Any] | None
    error: str | None
    found: int


@dataclass(frozen=True)
class Errors:
    """Errors (reading less truth), their u and the cases they belong to, in the printed unit; `asked` had a truth."""

    error: np.ndarray
    u: np.ndarray
    cases: tuple[Case, ...]
    asked: int


def cases(rows: Iterable[Row]) -> list[Case]:
    """Turn the rows into cases; of several photos the combined reading counts."""
    found = []
    for row in rows:
        reading = row["combined"] if "combined" in row else row["photos"][0].get("reading")
        error = next((photo["error"] for photo in row["photos"] if photo["error"]), None)
        count = max(photo["found"] for photo in row["photos"])
        told = error[0] if error else None
        found.append(Case(row["item"], group_of(row), row["truth"], reading, row.get("baseline"), told, count))
    return found


def group_of(row: Row) -> str:
    """The group of the figures a row belongs to."""
    setup, held = row["setup"], row["held"]
    if setup == "hard":
        return "hard, flat" if held else "hard, free"
    low, high = BISTABLE_MM
    apart = ", sizes 50-70" if low <= row["truth"]["d0_mm"] < high else ""
    return {
        "flat": "flat",
        "same": "two views",
        "free": f"free{apart}",
        "unchecked": "flat, print unchecked",
        "strangers": "strangers",
        "traced-flat": "traced, flat",
        "traced-free": f"traced, free{apart}",
    }[setup]


def of_group(found: Iterable[Case], group: str) -> list[Case]:
    """The cases of one group."""
    return [case for case in found if case.group == group]


def errors(found: Iterable[Case], name: str, factor: float | None, source: str = "reading") -> Errors:
    """Errors of one quantity in units of 1/`factor` (per cent of the truth when None). `source`: 'reading' or 'baseline'.

    A baseline has no u; NaN stands for it.
    """
    asked = [case for case in found if case.truth.get(name) is not None]
    kept, error, u = [], [], []
    for case in asked:
        told = getattr(case, source)
        value = None if told is None else told.get(name)
        if value is None:
            continue
        value, own = value if isinstance(value, list) else (value, float("nan"))
        scale = factor if factor is not None else 100.0 / case.truth[name]
        kept.append(case)
        error.append((value - case.truth[name]) * scale)
        u.append(own * scale)
    return Errors(np.array(error), np.array(u), tuple(kept), len(asked))
