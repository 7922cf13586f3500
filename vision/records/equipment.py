"""Sheets' prints with their checks, cameras met, and checks of the whole set-up against something known."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict, dataclass
from pathlib import Path

from calib.print_check import PrintCheck
from vision.camera_file import profile_text
from vision.camera_profile import CameraProfile
from vision.records.clock import now
from vision.records.database import Records, transaction
from vision.records.faults import RecordsError
from vision.records.history import checked_initials
from vision.verification_file import ENDING, read_result


@dataclass(frozen=True)
class Camera:
    """A camera met in photos; ``f35_mm`` is 0 where it records none."""

    id: int
    make: str
    model: str
    f35_mm: float
    first_at: str
    last_at: str
    photos: int


@dataclass(frozen=True)
class KeptPrint:
    """A measured print of a sheet."""

    id: int
    sheet: str
    name: str
    along_mm: float
    across_mm: float
    u_mm: float
    tool: str
    checked_on: str
    note: str | None


@dataclass(frozen=True)
class Verification:
    """A known value (pin, gauge, instrument of known size) beside what was read of it."""

    reference: str
    name: str
    known: float
    known_u: float
    value: float
    u: float
    initials: str
    examined_id: int | None = None
    note: str | None = None
    id: int = 0
    at: str = ""

    @property
    def ratio(self) -> float | None:
        """|difference| over the expanded uncertainty (k = 2) of the difference; above 1 the two do not agree.

        The En number of ISO 13528 (from memory). None when both uncertainties are 0.
        """
        spread = 2.0 * float((self.known_u**2 + self.u**2) ** 0.5)
        return abs(self.value - self.known) / spread if spread else None


def cameras(records: Records) -> list[Camera]:
    """Return the cameras met, the latest first."""
    return [Camera(**dict(row)) for row in records.db.execute("SELECT * FROM camera ORDER BY last_at DESC, id DESC")]


def keep_prints(records: Records, checks: Iterable[PrintCheck]) -> int:
    """Take over print checks that are not in the records yet; return how many were new."""
    known = {(p.sheet, p.name, p.along_mm, p.across_mm, p.checked_on) for p in prints(records)}
    new = [c for c in checks if (c.sheet_id, c.name, c.along_mm, c.across_mm, c.checked_on.isoformat()) not in known]
    if not new:
        return 0
    with transaction(records) as db:
        db.executemany(
            "INSERT INTO print (sheet, name, along_mm, across_mm, u_mm, tool, checked_on) VALUES (?, ?, ?, ?, ?, ?, ?)",
            [(c.sheet_id, c.name, c.along_mm, c.across_mm, c.u_mm, c.tool, c.checked_on.isoformat()) for c in new],
        )
    return len(new)


def prints(records: Records) -> list[KeptPrint]:
    """Return the measured prints, the latest first."""
    return [
        KeptPrint(**dict(row)) for row in records.db.execute("SELECT * FROM print ORDER BY checked_on DESC, id DESC")
    ]


@dataclass(frozen=True)
class KeptProfile:
    """A camera profile as its file had it."""

    id: int
    name: str
    made_on: str
    made_by: str
    content: str
    kept_at: str


def keep_profiles(records: Records, found: Iterable[CameraProfile]) -> int:
    """Take over camera profiles that are not in the records yet; return how many were new."""
    known = {kept.content for kept in profiles(records)}
    new = [(p.name, p.made_on.isoformat(), p.made_by, text) for p in found if (text := profile_text(p)) not in known]
    if new:
        with transaction(records) as db:
            db.executemany(
                "INSERT INTO profile (name, made_on, made_by, content, kept_at) VALUES (?, ?, ?, ?, ?)",
                [(*row, now()) for row in new],
            )
    return len(new)


def profiles(records: Records) -> list[KeptProfile]:
    """Return the camera profiles kept, the latest first."""
    return [
        KeptProfile(**dict(row)) for row in records.db.execute("SELECT * FROM profile ORDER BY made_on DESC, id DESC")
    ]


@dataclass(frozen=True)
class SiteResult:
    """The result of a verification on site, as its file had it."""

    id: int
    name: str
    made_on: str
    statement: str
    content: str
    kept_at: str


def keep_site_results(records: Records, files: Iterable[Path]) -> int:
    """Take over results that are not in the records yet; return how many were new. Raises UsageError for a damaged one."""
    known = {kept.content for kept in site_results(records)}
    rows = []
    for path in files:
        kept, content = read_result(path), path.read_text(encoding="utf-8")
        if content not in known:
            rows.append((path.name.removesuffix(ENDING), kept.made_on.isoformat(), kept.statement, content, now()))
    if rows:
        with transaction(records) as db:
            db.executemany(
                "INSERT INTO site_check (name, made_on, statement, content, kept_at) VALUES (?, ?, ?, ?, ?)", rows
            )
    return len(rows)


def site_results(records: Records) -> list[SiteResult]:
    """Return the results of verifications on site, the latest first."""
    return [
        SiteResult(**dict(row)) for row in records.db.execute("SELECT * FROM site_check ORDER BY made_on DESC, id DESC")
    ]


def add_verification(records: Records, made: Verification) -> int:
    """Keep a check against something known. Raises RecordsError."""
    if min(made.known_u, made.u) < 0:
        raise RecordsError(
            "invalid", f"an uncertainty is 0 or more, got {min(made.known_u, made.u):g}: type it without a sign"
        )
    values = asdict(made) | {"at": now(), "initials": checked_initials(made.initials)}
    del values["id"]
    names, marks = ", ".join(values), ", ".join("?" * len(values))
    with transaction(records) as db:
        statement = f"INSERT INTO verification ({names}) VALUES ({marks})"  # noqa: S608 - names of fields
        return int(db.execute(statement, tuple(values.values())).lastrowid or 0)


def verifications(records: Records) -> list[Verification]:
    """Return the checks against known things, the latest first."""
    rows = records.db.execute("SELECT * FROM verification ORDER BY at DESC, id DESC")
    return [Verification(**dict(row)) for row in rows]
