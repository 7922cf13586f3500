"""Instruments and kits with their own codes; a change names the edition it was made on, so that no window overwrites another."""

from __future__ import annotations

import re
from dataclasses import asdict, dataclass

from vision.records.clock import now
from vision.records.database import Records, transaction
from vision.records.faults import ConflictError, RecordsError

MATERIALS = ("stainless steel", "nickel-titanium", "carbon steel", "other")
MOST_OFFERED = 200
TAKEN = {"new"}  # the page that adds one
_CODE = re.compile(r"[A-Za-z0-9._-]{1,24}")


@dataclass(frozen=True)
class NewInstrument:
    """What is known of an instrument: its own code, and what it was bought as (never what was measured)."""

    code: str
    family: str | None = None
    size: int | None = None
    length_mm: float | None = None
    material: str | None = None
    single_use: bool = False
    kit_id: int | None = None
    slot: str | None = None
    note: str | None = None


@dataclass(frozen=True)
class Instrument(NewInstrument):
    """An instrument in the records; ``edition`` counts its changes."""

    id: int = 0
    added_at: str = ""
    edition: int = 1


@dataclass(frozen=True)
class Kit:
    """A stand, box or set of instruments."""

    id: int
    code: str
    added_at: str
    note: str | None


def checked_code(code: str) -> str:
    """Return a code if it can be one. Raises RecordsError of kind 'invalid'."""
    if not _CODE.fullmatch(code):
        raise RecordsError(
            "invalid",
            f"a code has 1 to 24 letters, digits, dots, hyphens or underscores, got '{code[:40]}': choose another",
        )
    if code.lower() in TAKEN:
        raise RecordsError("invalid", f"the code '{code}' means something else on the pages: choose another")
    return code


def add_instrument(records: Records, new: NewInstrument) -> Instrument:
    """Add an instrument. Raises RecordsError: 'invalid', or 'conflict' when the code is taken."""
    values = _values(new)
    names, marks = ", ".join(values), ", ".join("?" * len(values))
    with transaction(records) as db:
        if db.execute("SELECT 1 FROM instrument WHERE code = ?", (new.code,)).fetchone():
            raise RecordsError(
                "conflict", f"an instrument {new.code} is there already: choose another code, or open that one"
            )
        statement = f"INSERT INTO instrument ({names}, added_at) VALUES ({marks}, ?)"  # noqa: S608 - names of fields
        db.execute(statement, (*values.values(), now()))
    return instrument(records, new.code)


def change_instrument(records: Records, number: int, new: NewInstrument, *, edition: int) -> Instrument:
    """Change an instrument that stood at ``edition``. Raises ConflictError when it has moved on since."""
    values = _values(new)
    wanted = ", ".join(f"{name} = ?" for name in values)
    with transaction(records) as db:
        if db.execute("SELECT 1 FROM instrument WHERE code = ? AND id <> ?", (new.code, number)).fetchone():
            raise RecordsError("conflict", f"an instrument {new.code} is there already: choose another code")
        statement = f"UPDATE instrument SET {wanted}, edition = edition + 1 WHERE id = ? AND edition = ?"  # noqa: S608 - names of fields
        if db.execute(statement, (*values.values(), number, edition)).rowcount != 1:
            raise ConflictError(f"instrument {new.code}")
    return instrument(records, new.code)


def instrument(records: Records, code: str) -> Instrument:
    """Return the instrument of a code. Raises RecordsError of kind 'unknown'."""
    row = records.db.execute("SELECT * FROM instrument WHERE code = ?", (code,)).fetchone()
    if row is None:
        raise RecordsError("unknown", f"no instrument {code[:24]} is kept: look for it in the list, or add it")
    return Instrument(**dict(row) | {"single_use": bool(row["single_use"])})


def is_known(records: Records, code: str) -> bool:
    """Tell whether an instrument of that code is kept."""
    return records.db.execute("SELECT 1 FROM instrument WHERE code = ?", (code,)).fetchone() is not None


def instrument_by_id(records: Records, number: int) -> Instrument:
    """Return the instrument of a number. Raises RecordsError of kind 'unknown'."""
    row = records.db.execute("SELECT code FROM instrument WHERE id = ?", (number,)).fetchone()
    if row is None:
        raise RecordsError("unknown", f"no instrument {number} is kept: look for it in the list")
    return instrument(records, row["code"])


def kit(records: Records, code: str, *, make: bool = False) -> Kit:
    """Return the kit of a code, made if missing and wanted. Raises RecordsError of kind 'unknown' or 'invalid'."""
    if make:
        with transaction(records) as db:
            db.execute(
                "INSERT INTO kit (code, added_at) VALUES (?, ?) ON CONFLICT DO NOTHING", (checked_code(code), now())
            )
    row = records.db.execute("SELECT * FROM kit WHERE code = ?", (code,)).fetchone()
    if row is None:
        raise RecordsError("unknown", f"no kit {code[:24]} is kept: add it first")
    return Kit(**dict(row))


def kit_code(records: Records, number: int | None) -> str | None:
    """Return the code of a kit; None for none."""
    row = records.db.execute("SELECT code FROM kit WHERE id = ?", (number,)).fetchone()
    return None if row is None else str(row["code"])


def kits(records: Records, limit: int = MOST_OFFERED) -> list[Kit]:
    """Return the first kits by code, to offer while one types; any other may be typed too."""
    return [Kit(**dict(row)) for row in records.db.execute("SELECT * FROM kit ORDER BY code LIMIT ?", (limit,))]


def instruments_of_kit(records: Records, kit_id: int) -> list[Instrument]:
    """Return the instruments of a kit by their slots."""
    found = records.db.execute("SELECT code FROM instrument WHERE kit_id = ? ORDER BY slot, code", (kit_id,))
    return [instrument(records, row["code"]) for row in found.fetchall()]


def _values(new: NewInstrument) -> dict[str, object]:
    checked_code(new.code)
    if new.material is not None and new.material not in MATERIALS:
        raise RecordsError("invalid", f"material is one of {', '.join(MATERIALS)}, got '{new.material[:40]}'")
    fields = {name: value for name, value in asdict(new).items() if name not in ("id", "added_at", "edition")}
    return fields | {"single_use": int(new.single_use), "note": new.note or None, "slot": new.slot or None}
