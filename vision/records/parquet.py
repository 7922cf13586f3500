"""Tables as Parquet files (the only importer of pyarrow, which comes with the extra 'parquet')."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

_TYPES = {"INTEGER": pa.int64(), "REAL": pa.float64(), "TEXT": pa.string()}


def write_rows(batches: Iterable[Sequence[dict[str, Any]]], columns: Mapping[str, str], path: Path) -> None:
    """Write rows with the columns' declared types, a batch at a time."""
    schema = pa.schema([(name, _TYPES[kind]) for name, kind in columns.items()])
    with pq.ParquetWriter(path, schema) as writer:
        for rows in batches:
            writer.write_table(pa.Table.from_pylist(list(rows), schema=schema))


def read_rows(path: Path) -> list[dict[str, Any]]:
    """Read rows back."""
    rows: list[dict[str, Any]] = pq.read_table(path).to_pylist()
    return rows
