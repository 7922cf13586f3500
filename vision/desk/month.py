"""One month of records in numbers."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from dataclasses import dataclass

from vision.desk import asked
from vision.records.database import Records
from vision.records.history import Discard, discards
from vision.records.search import Filter, Hit, find

MOST = 5000


@dataclass(frozen=True)
class Month:
    """What happened in a month: every line of its readings, how often each call came, and what was discarded."""

    name: str
    hits: tuple[Hit, ...]
    readings: int
    failed: int
    calls: dict[str, int]
    discards: tuple[Discard, ...]


def month_of(records: Records, name: str) -> Month:
    """Return a month like '2026-03'. Raises RecordsError of kind 'invalid'."""
    first, following = asked.month(name)
    last = (dt.date.fromisoformat(following) - dt.timedelta(days=1)).isoformat()
    hits, _ = find(records, Filter(since=first, until=last), limit=MOST)
    calls = Counter(hit.call for hit in hits if hit.call is not None)
    return Month(
        name,
        tuple(hits),
        len({hit.reading_id for hit in hits}),
        sum(hit.error_kind is not None for hit in hits),
        dict(calls.most_common()),
        tuple(discards(records, since=first, until=following)),
    )
