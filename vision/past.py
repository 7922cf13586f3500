"""Stage 8g: a reading and an earlier one of the same instrument -> what has changed by more than both readings' doubt.

A whole working part that was drawn out has no healthy trend of its own left: only its own past shows it. Two readings share the
maker's scatter, so differences of a few per cent can be real; what lies within 2 u of none is called too small to be real.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from scipy.special import ndtr

from vision.errors import UsageError
from vision.quantity import Quantity, decimals, rounded
from vision.reading import Finding, InstrumentReading

COMPARED = (("pitch_mm", "pitch", "mm"), ("length_mm", "length", "mm"), ("d0_mm", "D0", "mm"), ("taper_mm_per_mm", "taper", "mm/mm"))
REAL_U = 2.0
STRETCH_LEAST = 0.01  # of the pitch: less has no meaning for a wire, however well it was measured
ALERT_U = 2.33


@dataclass(frozen=True)
class Change:
    """One quantity now less before, with u of both together; ``real``: whether it is more than 2 u."""

    name: str
    unit: str
    change: Quantity

    @property
    def real(self) -> bool:
        """Whether the change is too large for the doubt of both readings."""
        return abs(self.change.value) > REAL_U * self.change.u


def earlier_instrument(path: Path) -> Mapping[str, Any]:
    """The one instrument of an earlier document. Raises UsageError when it cannot be read, or shows none or several."""
    try:
        document = json.loads(path.read_text(encoding="utf-8"))
        shown = document["combined"] or [one for photo in document["photos"] for one in photo["instruments"]]
        found = [_checked(one) for one in shown]
    except (OSError, ValueError, KeyError, TypeError, AttributeError, OverflowError, RecursionError) as error:
        raise UsageError(f"--against: {path} is no earlier reading ({type(error).__name__}): name a file that --json wrote") from error
    if len(found) != 1:
        raise UsageError(f"--against: {path} holds {len(found)} instruments, needs one: read that instrument alone")
    return found[0]


def _checked(one: Mapping[str, Any]) -> dict[str, Any]:
    """An instrument of such a document with every part that is used taken for what it must be. Raises what its caller catches."""
    if not isinstance(one.get("family", {}), Mapping):
        raise TypeError("the family is no object")
    return {**one, **{field: _told(one.get(field)) for field in (*(name for name, _, _ in COMPARED), "working_part_mm")}}


def _told(quantity: Mapping[str, Any] | None) -> dict[str, float] | None:
    """A quantity of a document that somebody may have edited. Raises what its caller catches."""
    if quantity is None:
        return None
    value, u = float(quantity["value"]), float(quantity["u"])
    if not (math.isfinite(value) and 0.0 < u < math.inf):
        raise ValueError(f"{value} with u {u} is no quantity")
    return {"value": value, "u": u}


def changes(now: InstrumentReading, before: Mapping[str, Any]) -> list[Change]:
    """Every quantity that both readings have, now less before; their errors count as independent."""
    found = []
    for field, name, unit in COMPARED:
        new, old = getattr(now, field), before.get(field)
        if new is not None and old is not None:
            change = Quantity(new.value - float(old["value"]), math.hypot(new.u, float(old["u"])))
            found.append(Change(name, unit, change))
    return found


def change_lines(found: list[Change]) -> tuple[str, ...]:
    """A sentence for each change."""
    return tuple(
        f"since the earlier reading {one.name} changed by {_text(one)}: "
        + ("more than the doubt of both" if one.real else "too small to be real")
        for one in found
    )


def _text(one: Change) -> str:
    value, u = rounded(one.change)
    places = max(decimals(one.change.u), 0)
    shown = f"{value:+.{places}f}"
    return f"{shown.lstrip('+-') if float(shown) == 0.0 else shown} {one.unit} (u {u:.{places}f})"  # a rounded nothing has no sign


def other_size(now: InstrumentReading, before: Mapping[str, Any]) -> tuple[str, ...]:
    """A question where both readings name a size, and not the same: two pieces mixed up would look like damage."""
    size = before.get("size", {}).get("value")
    if size is None or now.size.value is None or int(size) == int(now.size.value):
        return ()
    asked = "is it the same instrument? If not, what is said of changes means nothing"
    return (f"the earlier reading is of size {int(size):02d}, this one of size {int(now.size.value):02d}: {asked}",)


def stretched(now: InstrumentReading, before: Mapping[str, Any]) -> Finding | None:
    """The whole working part drawn out: its pitch grew. None when pitch was not measured twice, or did not grow.

    Unwinding near the tip leaves the pitch at 8 mm alone. A longer instrument speaks for it, a shorter one against it.
    """
    old = before.get("pitch_mm")
    if now.pitch_mm is None or old is None or old["value"] <= 0.0:
        return None
    ratio = now.pitch_mm.value / float(old["value"])
    u = ratio * math.hypot(now.pitch_mm.u / now.pitch_mm.value, float(old["u"]) / float(old["value"]))
    grown = ratio - 1.0
    if grown < STRETCH_LEAST:
        return None
    log_odds = math.log(max(float(ndtr(grown / u - ALERT_U)), 1e-9) / max(1.0 - float(ndtr(grown / u - ALERT_U)), 1e-9))
    log_odds += _length_speaks(now, before, grown)
    chance = min(1.0 / (1.0 + math.exp(-log_odds)), 0.999)
    end = now.working_part_mm.value if now.working_part_mm is not None else 16.0
    return Finding("stretched", 0.0, end, Quantity(100.0 * grown, 100.0 * u), "% of pitch", chance) if chance >= 0.3 else None


def _length_speaks(now: InstrumentReading, before: Mapping[str, Any], grown: float) -> float:
    """How much likelier the change of length is when the working part grew by that share than when it did not, as a log."""
    old, part = before.get("length_mm"), before.get("working_part_mm")
    if now.length_mm is None or old is None or part is None:
        return 0.0
    change = now.length_mm.value - float(old["value"])
    u = math.hypot(math.hypot(now.length_mm.u, float(old["u"])), 0.1)
    should = grown * float(part["value"])
    return max(min((change**2 - (change - should) ** 2) / (2.0 * u**2), 3.0), -3.0)


def against(now: InstrumentReading, before: Mapping[str, Any]) -> InstrumentReading:
    """The reading with what has changed in its notes, and with 'stretched' among its findings where the pitch grew."""
    notes = (*now.notes, *other_size(now, before), *change_lines(changes(now, before)))
    family = before.get("family", {}).get("value")
    if family is not None and now.family.value is not None and family != now.family.value:
        return replace(now, notes=(*now.notes, f"the earlier reading is of a {family}, this one of a {now.family.value}: not compared"))
    found = stretched(now, before)
    if found is None:
        return replace(now, notes=notes)
    return replace(now, notes=notes, condition=replace(now.condition, findings=(*now.condition.findings, found)))
