"""Finds instruments by what their code, kit or slot holds, a page at a time by code; and the codes to offer in a field."""

# ruff: noqa: S608 - statements are put together from our own words, values are always parameters
from __future__ import annotations

from dataclasses import dataclass

from vision.records.database import Records
from vision.records.instruments import MOST_OFFERED
from vision.records.letters import place_holds

MOST_COUNTED = 2_000


@dataclass(frozen=True)
class Listed:
    """One line of the list of instruments, with its first and last reading and what became of it."""

    code: str
    family: str | None
    size: int | None
    material: str | None
    single_use: int
    kit: str | None
    slot: str | None
    readings: int
    first_at: str | None
    last_at: str | None
    last_call: str | None
    uses: int
    discarded_at: str | None


_WHEN = "(SELECT strftime('%Y-%m-%dT%H:%M:%SZ', {}(line.at_s), 'unixepoch') FROM line WHERE line.instrument_id = instrument.id)"
_SHOWN = f"""SELECT instrument.code, instrument.family, instrument.size, instrument.material, instrument.single_use,
        kit.code AS kit, instrument.slot,
        (SELECT count(*) FROM line WHERE line.instrument_id = instrument.id) AS readings,
        {_WHEN.format("min")} AS first_at, {_WHEN.format("max")} AS last_at,
        -- clocks jump, ids do not
        (SELECT line.call FROM line INDEXED BY line_by_instrument WHERE line.instrument_id = instrument.id
            ORDER BY line.id DESC LIMIT 1) AS last_call,
        (SELECT count(*) FROM event WHERE event.instrument_id = instrument.id AND event.kind = 'used') AS uses,
        discard.at AS discarded_at
    FROM (SELECT instrument.id FROM instrument WHERE {{}} ORDER BY instrument.code {{}} LIMIT ?) AS found
        CROSS JOIN instrument ON instrument.id = found.id LEFT JOIN kit ON kit.id = instrument.kit_id
        LEFT JOIN discard ON discard.instrument_id = instrument.id ORDER BY instrument.code"""


def list_instruments(
    records: Records, text: str = "", *, limit: int = 100, after: str | None = None, before: str | None = None
) -> list[Listed]:
    """Return a page of the instruments whose code, kit or slot holds ``text``, by code: those after, or those before, a code.

    One or two letters: whose code begins with them, or whose slot they are.
    """
    where, values = place_holds(text) if text else ("1", [])
    way = "ASC"
    if after is not None:
        where, values = f"instrument.code > ? AND {where}", [after, *values]
    elif before is not None:
        where, values, way = f"instrument.code < ? AND {where}", [before, *values], "DESC"
    return [Listed(**dict(row)) for row in records.db.execute(_SHOWN.format(where, way), (*values, limit))]


def count_instruments(records: Records, text: str = "") -> int:
    """Count the instruments whose code, kit or slot holds ``text``, up to MOST_COUNTED + 1."""
    where, values = place_holds(text) if text else ("1", [])
    count = f"SELECT count(*) FROM (SELECT 1 FROM instrument WHERE {where} LIMIT ?)"
    return int(records.db.execute(count, (*values, MOST_COUNTED + 1)).fetchone()[0])


def codes_in_use(records: Records, limit: int = MOST_OFFERED) -> list[str]:
    """Return the codes to offer while one types: the first by code that are not in the discard log; any other may be typed too."""
    rows = records.db.execute(
        "SELECT code FROM instrument WHERE NOT EXISTS (SELECT 1 FROM discard WHERE discard.instrument_id = instrument.id) "
        "ORDER BY code LIMIT ?",
        (limit,),
    )
    return [str(row["code"]) for row in rows]
