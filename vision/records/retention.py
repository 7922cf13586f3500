"""How long photos are kept. Readings, decisions and the discard log always stay; only pictures go."""

from __future__ import annotations

from dataclasses import dataclass

from vision.records.clock import days_before, now
from vision.records.database import Records, transaction
from vision.records.faults import RecordsError, explained
from vision.records.photos import CACHE, copies_of, photo_path

RULE = "keep photos, days"


@dataclass(frozen=True)
class Old:
    """A photo that the rule says to remove."""

    sha256: str
    name: str
    added_at: str


def keep_days(records: Records) -> int | None:
    """Return for how many days photos are kept; None for ever."""
    row = records.db.execute("SELECT value FROM rule WHERE name = ?", (RULE,)).fetchone()
    return int(row["value"]) if row else None


def set_keep_days(records: Records, days: int | None) -> None:
    """Set the rule; None keeps photos for ever. Nothing is removed before ``apply``. Raises RecordsError."""
    if days is not None and days < 1:
        raise RecordsError(
            "invalid", f"photos are kept at least 1 day, got {days}: type a whole number, or nothing for ever"
        )
    with transaction(records) as db:
        db.execute("DELETE FROM rule WHERE name = ?", (RULE,))
        if days is not None:
            db.execute("INSERT INTO rule VALUES (?, ?, ?)", (RULE, str(days), now()))


def due(records: Records, *, limit: int = -1) -> list[Old]:
    """Return the photos older than the rule allows, oldest first; none without a rule; a negative limit: all of them."""
    days = keep_days(records)
    if days is None:
        return []
    found = records.db.execute(
        "SELECT sha256, name, added_at FROM photo WHERE removed_at IS NULL AND added_at < ? ORDER BY added_at LIMIT ?",
        (days_before(now(), days), limit),
    )
    return [Old(**dict(row)) for row in found]


def apply(records: Records) -> int:
    """Remove the pictures that are due; return how many. The row says when; a crash between leaves a picture, never a lie."""
    gone = due(records)
    for one in gone:
        path = photo_path(records, one.sha256)
        with transaction(records) as db:
            db.execute("UPDATE photo SET removed_at = ? WHERE sha256 = ?", (now(), one.sha256))
        copies = (records.folder / CACHE).glob(f"{copies_of(records, one.sha256)}*")
        for file in (*copies, *([] if path is None else [path])):
            with explained(file):
                file.unlink(missing_ok=True)
    return len(gone)
