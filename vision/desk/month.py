"""One month of records in numbers."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from vision.desk import asked
from vision.records.database import Records
from vision.records.history import Discard, discards
from vision.records.search import Filter, Hit, find

MOST = 500  # lines on paper
_LINES = "FROM line INDEXED BY line_by_month WHERE at_s >= CAST(strftime('%s', ?) AS INTEGER) AND at_s < CAST(strftime('%s', ?) AS INTEGER)"


@dataclass(frozen=True)
class Month:
    """What happened in a month: its latest lines and how many there are, how often each call came, and what was discarded."""

    name: str
    hits: tuple[Hit, ...]
    lines: int
    readings: int
    failed: int
    calls: dict[str, int]
    discards: tuple[Discard, ...]


def month_of(records: Records, name: str) -> Month:
    """Return a month like '2026-03'. Raises RecordsError of kind 'invalid'."""
    first, following = asked.month(name)
    last = (dt.date.fromisoformat(following) - dt.timedelta(days=1)).isoformat()
    hits, _ = find(records, Filter(since=first, until=last), limit=MOST)
    within = "FROM reading WHERE read_at >= ? AND read_at < ?"
    readings = records.db.execute(f"SELECT count(*) {within}", (first, following)).fetchone()[0]
    failed = records.db.execute(f"SELECT count(*) {_LINES} AND call IS NULL AND said IS NOT NULL", (first, following)).fetchone()[0]
    by_call = f"SELECT call, count(*) AS times {_LINES} GROUP BY call ORDER BY times DESC"
    calls = records.db.execute(by_call, (first, following)).fetchall()
    return Month(
        name,
        tuple(hits),
        sum(int(row["times"]) for row in calls),
        readings,
        failed,
        {str(row["call"]): int(row["times"]) for row in calls if row["call"] is not None},
        tuple(discards(records, since=first, until=following)),
    )
