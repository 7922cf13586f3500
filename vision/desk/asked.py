"""What people typed into forms -> checked values; every refusal names the field."""

from __future__ import annotations

import datetime as dt
import math
import re
from collections.abc import Mapping
from typing import Any

from vision.reading import FAMILIES
from vision.records.instruments import NewInstrument
from vision.records.search import Filter


class AskedError(Exception):
    """Something typed cannot be meant; ``sentence`` is a name of the catalogue, ``field`` the form's, the rest is filled in."""

    def __init__(self, sentence: str, field: str = "", **filled: object) -> None:
        super().__init__(f"{field}: {sentence}")
        self.sentence, self.field, self.filled = sentence, field, filled


CALLS = ("discard", "look again", "nothing seen")
_CONTROL = re.compile(r"[\x00-\x1f\x7f]")


def text(form: Mapping[str, Any], name: str, most: int = 300) -> str | None:
    """Return a field's text on one line, None where it is empty. Raises AskedError."""
    value = form.get(name)
    if not isinstance(value, str):
        return None
    value = " ".join(_CONTROL.sub(" ", value).split())
    if len(value) > most:
        raise AskedError("too_long", name, has=len(value), most=most)
    return value or None


def number(form: Mapping[str, Any], name: str, low: float, high: float) -> float | None:
    """Return a field's number, with point or comma; None where it is empty. Raises AskedError."""
    typed = text(form, name, 24)
    if typed is None:
        return None
    try:
        value = float(typed.replace(",", "."))
    except ValueError as error:
        raise AskedError("number", name, typed=typed) from error
    if not (math.isfinite(value) and low <= value <= high):
        raise AskedError("between", name, low=f"{low:g}", high=f"{high:g}", typed=typed)
    return value


def needed(form: Mapping[str, Any], name: str, low: float, high: float) -> float:
    """Return a field's number. Raises AskedError, also where it is empty."""
    value = number(form, name, low, high)
    if value is None:
        raise AskedError("empty", name)
    return value


def whole(form: Mapping[str, Any], name: str, low: int, high: int) -> int | None:
    """Return a field's whole number; None where it is empty. Raises AskedError."""
    value = number(form, name, low, high)
    if value is not None and value != int(value):
        raise AskedError("whole", name, typed=f"{value:g}")
    return None if value is None else int(value)


def one_of(form: Mapping[str, Any], name: str, choices: tuple[str, ...]) -> str | None:
    """Return a field's choice; None where it is empty. Raises AskedError."""
    value = text(form, name, 40)
    if value is not None and value not in choices:
        raise AskedError("one_of", name, choices=", ".join(choices), typed=value)
    return value


def day(form: Mapping[str, Any], name: str) -> str | None:
    """Return a day as '2026-03-01'; None where it is empty. Raises AskedError."""
    value = text(form, name, 10)
    if value is None:
        return None
    try:
        return dt.date.fromisoformat(value).isoformat()
    except ValueError as error:
        raise AskedError("day", name, typed=value) from error


def month(value: str) -> tuple[str, str]:
    """Return the first day of a month like '2026-03' and of the next. Raises AskedError."""
    try:
        first = dt.date.fromisoformat(f"{value}-01")
        following = (first.replace(day=28) + dt.timedelta(days=4)).replace(day=1)
    except (ValueError, OverflowError) as error:
        raise AskedError("month", typed=value[:12]) from error
    return first.isoformat(), following.isoformat()


def instrument(form: Mapping[str, Any], kit_id: int | None) -> NewInstrument:
    """Return what a form says of an instrument. Raises AskedError."""
    return NewInstrument(
        code=text(form, "code", 24) or "",
        family=one_of(form, "family", FAMILIES),
        size=whole(form, "size", 1, 200),
        length_mm=number(form, "length_mm", 5.0, 60.0),
        material=text(form, "material", 40),
        single_use=form.get("single_use") in ("1", "on", True, "true"),
        kit_id=kit_id,
        slot=text(form, "slot", 12),
        note=text(form, "note"),
    )


def wanted(query: Mapping[str, Any]) -> Filter:
    """Return what a search asks for. Raises AskedError."""
    return Filter(
        text=text(query, "text", 60),
        family=one_of(query, "family", FAMILIES),
        size=whole(query, "size", 1, 200),
        call=one_of(query, "call", CALLS),
        since=day(query, "since"),
        until=day(query, "until"),
        instrument=text(query, "instrument", 24),
    )


def safe_name(name: str | None, number: int) -> str:
    """Return a photo's name without folders, control and other odd characters; 'photo-3' where nothing is left."""
    base = (name or "").replace("\\", "/").rpartition("/")[2]
    kept = re.sub(r"[^\w .()+-]", "_", _CONTROL.sub("", base)).strip(" .")[-80:]
    return kept or f"photo-{number}"
