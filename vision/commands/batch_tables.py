"""Lines of JSON -> a table of instruments, one row each, as CSV or Parquet; never more than some rows in memory.

A photo that could not be examined has a row with its error alone.
"""

from __future__ import annotations

import csv
import json
from collections.abc import Iterator
from itertools import islice
from pathlib import Path
from typing import Any

QUANTITIES = (
    "d0_mm", "d16_mm", "taper_mm_per_mm", "tip_width_mm", "shank_width_mm", "length_mm", "working_part_mm",
    "stop_from_tip_mm", "pitch_mm", "flutes_per_mm", "helix_angle_deg", "height_mm",
)  # fmt: skip
WORDS = ("file", "error", "family", "section", "handle", "call", "findings", "d0", "d16", "length")
WHOLE = ("id", "size")
NUMBERS = ("family_probability", "size_probability", *(name for q in QUANTITIES for name in (q, f"{q}_u")))
COLUMNS = ("file", "id", "error", "family", "family_probability", "size", "size_probability", "section", "handle", "call",
           "findings", "d0", "d16", "length", *(name for q in QUANTITIES for name in (q, f"{q}_u")))  # fmt: skip
AT_A_TIME = 2000
Row = dict[str, Any]


def write_table(lines: Path, target: Path) -> Path:
    """Write the table beside the lines, CSV or Parquet by the target's ending, in one step."""
    draft = target.with_name(f".{target.name}.draft")
    (_write_parquet if target.suffix == ".parquet" else _write_csv)(rows_of(lines), draft)
    draft.replace(target)
    return target


def rows_of(lines: Path) -> Iterator[Row]:
    """Give the rows of a file of lines."""
    with lines.open(encoding="utf-8") as source:
        for line in source:
            photo = json.loads(line)
            if photo["error"] is not None:
                yield dict.fromkeys(COLUMNS) | {"file": photo["file"], "error": photo["error"]["kind"]}
            for one in photo["instruments"]:
                yield _row(photo["file"], one)


def _row(file: str, one: dict[str, Any]) -> Row:
    row: Row = {
        "file": file,
        "id": one["id"],
        "error": None,
        "family": one["family"]["value"],
        "family_probability": one["family"]["probability"],
        "size": one["size"]["value"],
        "size_probability": one["size"]["probability"],
        "section": one["cross_section"],
        "handle": one["handle"]["colour"],
        "call": one["condition"]["call"],
        "findings": " ".join(finding["kind"] for finding in one["condition"]["findings"]),
        **{name: one["conformity"].get(name) for name in ("d0", "d16", "length")},
    }
    for name in QUANTITIES:
        quantity = one[name] or {"value": None, "u": None}
        row[name], row[f"{name}_u"] = quantity["value"], quantity["u"]
    return row


def _write_csv(rows: Iterator[Row], path: Path) -> None:
    with path.open("w", encoding="utf-8", newline="") as target:
        writer = csv.DictWriter(target, COLUMNS)
        writer.writeheader()
        writer.writerows(rows)


def _write_parquet(rows: Iterator[Row], path: Path) -> None:
    import pyarrow as pa  # noqa: PLC0415 - comes with the extra 'parquet'
    import pyarrow.parquet as pq  # noqa: PLC0415

    types = dict.fromkeys(WORDS, pa.string()) | dict.fromkeys(WHOLE, pa.int64()) | dict.fromkeys(NUMBERS, pa.float64())
    schema = pa.schema([(name, types[name]) for name in COLUMNS])
    with pq.ParquetWriter(path, schema) as writer:
        while some := list(islice(rows, AT_A_TIME)):
            writer.write_table(pa.Table.from_pylist(some, schema=schema))
