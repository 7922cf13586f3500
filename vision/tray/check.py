"""A list and what lies on the tray -> an outcome for every position. Nothing in doubt is said to match."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.optimize import linear_sum_assignment

from vision.report.words import FAMILY_WORDS
from vision.tray.kit import Kit
from vision.tray.merged import Seen
from vision.tray.told import SIZED, Told

Outcome = Literal["matches list", "missing", "extra", "wrong size", "wrong family", "wrong slot", "damaged", "undecided"]
OUTCOMES: tuple[Outcome, ...] = ("matches list", "missing", "extra", "wrong size", "wrong family", "wrong slot", "damaged", "undecided")
FAULTS = OUTCOMES[1:7]
LENGTH_MM, LENGTH_U = 1.2, 3.0  # a length is another one beyond both
NOT_SEEN, NOT_ASKED = 4.0, 4.0  # what leaving a position empty, or a piece over, costs against calling it another
LISTED_RIGHT, OTHER_NAMES, SURE = 0.9, 7.0, 0.99  # share of positions that hold what the list asks for: our own choice; other families
WRONG_TRAY = 0.5  # of the positions missing or holding something else: probably another tray


@dataclass(frozen=True)
class Position:
    """What the list asks for at one place; ``slot`` None where any will do."""

    family: str
    size: int | None
    length_mm: float | None
    slot: int | None

    @property
    def name(self) -> str:
        """In words."""
        family = FAMILY_WORDS.get(self.family, self.family)
        sized = f"{family} {self.size}" if self.size is not None else family
        return f"{sized}, {self.length_mm:g} mm" if self.length_mm is not None else sized


@dataclass(frozen=True)
class Row:
    """One line of the check: position (None for an extra), instrument (None when missing), outcome and why."""

    position: Position | None
    seen: Seen | None
    outcome: Outcome
    why: str


@dataclass(frozen=True)
class Checked:
    """A checked tray. ``warnings``: what a person should read first; ``partial``: why the check is not whole, if so."""

    kit: Kit
    rows: tuple[Row, ...]
    warnings: tuple[str, ...]
    partial: str | None

    def count(self, outcome: str) -> int:
        """How many rows have it."""
        return sum(row.outcome == outcome for row in self.rows)


def positions(kit: Kit) -> list[Position]:
    """Every single place of a list."""
    out = []
    for item in kit.items:
        slots: Sequence[int | None] = item.slots or [None] * item.count
        out += [Position(item.family, item.size, item.length_mm, slot) for slot in slots]
    return out


def check_tray(kit: Kit, seen: Sequence[Seen], partial: str | None = None) -> Checked:
    """Give every position the instrument that fits it best, and say what becomes of it. ``partial``: why not all was seen."""
    wanted = positions(kit)
    cost = np.array([[_cost(position, one) for one in seen] for position in wanted]).reshape(len(wanted), len(seen))
    size = len(wanted) + len(seen)
    full = np.zeros((size, size))
    full[: len(wanted), : len(seen)] = cost
    full[: len(wanted), len(seen) :] = NOT_SEEN
    full[len(wanted) :, : len(seen)] = NOT_ASKED
    rows, columns = linear_sum_assignment(full)
    given = {int(i): int(j) for i, j in zip(rows, columns, strict=True) if i < len(wanted) and j < len(seen)}
    made = [_row(position, seen[given[i]] if i in given else None, partial) for i, position in enumerate(wanted)]
    made += [_extra(one) for j, one in enumerate(seen) if j not in given.values()]
    return Checked(kit, tuple(made), tuple(_warnings(kit, made, seen)), partial)


def _cost(position: Position, one: Seen) -> float:
    """How badly an instrument fits a position: 0 fits in all, what is open costs less than what contradicts."""
    best = one.best
    elsewhere = position.slot is not None and best.lane is not None and best.lane != position.slot
    if elsewhere and (best.family, best.size if position.size is not None else None) != (position.family, position.size):
        return NOT_SEEN + NOT_ASKED + 1.0  # another thing at another place: one is missing, the other is extra
    cost = 0.0
    if best.family is None:
        cost += 0.8
    elif best.family != position.family:
        cost += 3.0
    if position.size is not None:
        cost += 0.8 if best.size is None else 3.0 * (best.size != position.size)
    cost += {"wrong": 1.5, "open": 0.3, "right": 0.0}[_length(position, one)]
    if position.slot is not None:
        cost += 0.4 if best.lane is None else 1.2 * (best.lane != position.slot)
        # What lies in the very slot is what was put there, however wrong.
        cost -= 2.0 * (best.lane == position.slot)
    return cost


def _length(position: Position, one: Seen) -> Literal["right", "wrong", "open"]:
    if position.length_mm is None:
        return "right"
    if one.best.length_mm is None or one.best.length_u is None:
        return "open"
    off = abs(one.best.length_mm - position.length_mm)
    if off > max(LENGTH_MM, LENGTH_U * one.best.length_u):
        return "wrong"
    return "right" if off <= LENGTH_MM else "open"


def _row(position: Position, one: Seen | None, partial: str | None) -> Row:
    if one is None:
        if partial is not None:
            return Row(position, None, "undecided", f"not seen, and {partial}")
        return Row(position, None, "missing", "no instrument that could be it was found")
    if one.best.kind == "damaged":
        return Row(position, one, "damaged", "; ".join(one.best.why))
    outcome, why = _fault(position, one) or _doubt(position, one) or ("matches list", "")
    return Row(position, one, outcome, why)


def _fault(position: Position, one: Seen) -> tuple[Outcome, str] | None:
    """What surely contradicts the list."""
    best = one.best
    if best.family is not None and best.family != position.family:
        return "wrong family", f"is a {best.name}"
    if position.size is not None and best.size is not None and best.size != position.size:
        return "wrong size", f"is size {best.size}"
    if _length(position, one) == "wrong":
        return "wrong size", f"is {best.length_mm:.1f} mm long, should be {position.length_mm:g} mm"
    if position.slot is not None and best.lane is not None and best.lane != position.slot:
        return "wrong slot", f"lies in slot {best.lane}"
    return None


def _doubt(position: Position, one: Seen) -> tuple[Outcome, str] | None:
    """What keeps a position from being said to match."""
    best = one.best
    close_up = f"take a close-up of number {one.numbers}"
    both_open = best.family is None and best.size is None and position.size is not None
    if best.in_doubt or both_open or not _is_family(position, best) or not _is_size(position, best):
        return "undecided", f"{close_up}: {'; '.join(best.why)}"
    if _length(position, one) == "open":
        return "undecided", f"{close_up}: its length could not be told"
    if position.slot is not None and best.lane is None:
        return "undecided", "in which slot it lies could not be told"
    return None


def _is_family(position: Position, best: Told) -> bool:
    return best.family == position.family or (best.family is None and _believed(best.family_shares.get(position.family, 0.0)))


def _is_size(position: Position, best: Told) -> bool:
    if position.size is None or best.size == position.size:
        return True
    return best.size is None and _believed(best.size_shares.get(str(position.size), 0.0))


def _believed(share: float) -> bool:
    """Whether a name that is open by itself is sure enough where the list asks for just that: a list is mostly right."""
    asked, other = LISTED_RIGHT * share, (1.0 - LISTED_RIGHT) / OTHER_NAMES * (1.0 - share)
    return asked / max(asked + other, 1e-12) >= SURE


def _extra(one: Seen) -> Row:
    if one.best.kind == "undecided" and (one.best.family is None or (one.best.size is None and one.best.family in SIZED)):
        return Row(None, one, "undecided", f"not on the list as far as can be told; take a close-up of number {one.numbers}")
    return Row(None, one, "extra", f"{one.best.name} is on the tray and not on the list")


def _warnings(kit: Kit, rows: Sequence[Row], seen: Sequence[Seen]) -> list[str]:
    if not seen:
        return ["no instrument was found on this tray: is it empty, or the wrong photo?"]
    missing, other = (sum(row.outcome in which for row in rows) for which in (("missing",), ("wrong family", "wrong size")))
    if missing + other > WRONG_TRAY * kit.total and missing + other >= 3:
        return [f"{missing} of {kit.total} are missing and {other} are not those asked for: is this the tray of the list {kit.name}?"]
    return []
