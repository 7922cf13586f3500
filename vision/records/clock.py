"""Points in time as the records keep them: UTC, whole seconds, ISO 8601."""

from __future__ import annotations

import datetime as dt


def now() -> str:
    """Return this moment, '2026-03-01T09:30:00Z'."""
    return stamp(dt.datetime.now(dt.UTC))


def stamp(moment: dt.datetime) -> str:
    """Return an aware moment as kept in the records."""
    return moment.astimezone(dt.UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def days_before(text: str, days: int) -> str:
    """Return the moment so many days before another, both as kept in the records."""
    moment = dt.datetime.strptime(text, "%Y-%m-%dT%H:%M:%SZ").replace(tzinfo=dt.UTC)
    return stamp(moment - dt.timedelta(days=days))
