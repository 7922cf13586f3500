"""A list and what lies on the tray -> an outcome for every position. Nothing in doubt is said to match."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
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
# A list is mostly right. What it asks for matches while the photo makes that name at least as likely as all others together; it is
# contradicted where the photo leaves next to none, whatever else it looks like; between the two lies a close-up. On 60 checks of
# development trays 0.35 to 0.5 left the same positions undecided: the stricter end is taken.
MATCHES, CONTRADICTED = 0.5, 0.01
UNSEEN = 0.2  # where the photo shows nothing: neither matches nor contradicted
NAMED_COST, OTHER_COST = 0.65, 3.0  # of a name's log chance, and at most
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


def check_tray(kit: Kit, seen: Sequence[Seen], partial: str | None = None, filled: Collection[int] = ()) -> Checked:
    """Give every position the instrument that fits it best, and say what becomes of it. ``partial``: why not all was seen.

    ``filled``: the slots in which something lies, read or not; one in which nothing was read is not called empty then.
    """
    unread = set(filled) - {one.best.lane for one in seen}
    wanted = positions(kit)
    cost = np.array([[_cost(position, one) for one in seen] for position in wanted]).reshape(len(wanted), len(seen))
    size = len(wanted) + len(seen)
    full = np.zeros((size, size))
    full[: len(wanted), : len(seen)] = cost
    full[: len(wanted), len(seen) :] = NOT_SEEN
    full[len(wanted) :, : len(seen)] = NOT_ASKED
    rows, columns = linear_sum_assignment(full)
    given = {int(i): int(j) for i, j in zip(rows, columns, strict=True) if i < len(wanted) and j < len(seen)}
    made = [_row(position, seen[given[i]] if i in given else None, partial, unread) for i, position in enumerate(wanted)]
    empty = [row.position for row in made if row.outcome == "missing" and row.position is not None]
    made += [_extra(one, empty) for j, one in enumerate(seen) if j not in given.values()]
    return Checked(kit, tuple(made), tuple(_warnings(kit, made, seen)), partial)


def _cost(position: Position, one: Seen) -> float:
    """How badly an instrument fits a position: 0 fits in all, what is open costs less than what contradicts."""
    best = one.best
    elsewhere = position.slot is not None and best.lane is not None and best.lane != position.slot
    if elsewhere and min(_family_share(position, best), _size_share(position, best)) < MATCHES:
        return NOT_SEEN + NOT_ASKED + 1.0  # another thing at another place: one is missing, the other is extra
    shares = _family_share(position, best), _size_share(position, best)
    cost = sum(min(-NAMED_COST * math.log(max(share, 1e-6)), OTHER_COST) for share in shares)
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


def _row(position: Position, one: Seen | None, partial: str | None, unread: Collection[int]) -> Row:
    if one is None:
        if position.slot in unread:
            bare = f"slot {position.slot} does not show bare paper, and nothing there could be read: take a close-up of it"
            return Row(position, None, "undecided", bare)
        if position.slot is None and unread:
            where = ", ".join(map(str, sorted(unread)))
            return Row(position, None, "undecided", f"not seen; what lies in slot {where} could not be read: take a close-up of it")
        if partial is not None:
            return Row(position, None, "undecided", f"not seen, and {partial}")
        return Row(position, None, "missing", "no instrument that could be it was found")
    if one.best.kind == "damaged" and one.best.certain:
        return Row(position, one, "damaged", "; ".join(one.best.why))
    fault = _fault(position, one)
    outcome, why = (fault[0], fault[1] + _hurt_too(one)) if fault else _doubt(position, one) or ("matches list", "")
    return Row(position, one, outcome, why)


def _hurt_too(one: Seen) -> str:
    """What is seen of its damage, where the outcome speaks of something else; empty without."""
    if one.best.kind == "damaged":
        return f"; {'damaged' if one.best.certain else 'probably damaged'} as well: {'; '.join(one.best.why)}"
    return f"; take a close-up of number {one.numbers}: {'; '.join(one.best.why)}" if one.best.in_doubt else ""


def _fault(position: Position, one: Seen) -> tuple[Outcome, str] | None:
    """What surely contradicts the list."""
    best = one.best
    if _family_share(position, best) <= CONTRADICTED:
        no = FAMILY_WORDS.get(position.family, position.family)
        return "wrong family", f"is a {best.name}" if best.family is not None else f"is no {no}"
    if _size_share(position, best) <= CONTRADICTED:
        return "wrong size", f"is size {best.size}" if best.size is not None else f"is not size {position.size}"
    if _length(position, one) == "wrong":
        return "wrong size", f"is {best.length_mm:.1f} mm long, should be {position.length_mm:g} mm"
    if position.slot is not None and best.lane is not None and best.lane != position.slot:
        return "wrong slot", f"lies in slot {best.lane}"
    return None


def _may_be(one: Seen, position: Position) -> bool:
    """Whether nothing surely contradicts that it is what a position asks for."""
    shares = _family_share(position, one.best), _size_share(position, one.best)
    return min(shares) > CONTRADICTED and _length(position, one) != "wrong"


def _doubt(position: Position, one: Seen) -> tuple[Outcome, str] | None:
    """What keeps a position from being said to match."""
    best = one.best
    close_up = f"take a close-up of number {one.numbers}"
    if best.in_doubt or best.kind == "damaged":
        return "undecided", f"{close_up}: {'; '.join(best.why)}"
    family, size = _family_share(position, best), _size_share(position, best)
    both_open = best.family is None and best.size is None and position.size is not None
    if family < MATCHES or size < MATCHES or both_open:
        return "undecided", f"{close_up}: {'; '.join(best.why) or f'looks more like a {best.name}'}"
    if _length(position, one) == "open":
        return "undecided", f"{close_up}: its length could not be told"
    if position.slot is not None and best.lane is None:
        return "undecided", "in which slot it lies could not be told"
    return ("undecided", f"{close_up}: {best.unexamined}") if best.unexamined is not None else None


def _family_share(position: Position, best: Told) -> float:
    """Chance that the photo leaves the family asked for; 0.2 where it shows no family at all."""
    return _share(best.family, best.family_shares, position.family)


def _size_share(position: Position, best: Told) -> float:
    """The same of the size; 1 where the list asks for none."""
    return 1.0 if position.size is None else _share(None if best.size is None else str(best.size), best.size_shares, str(position.size))


def _share(named: str | None, shares: Mapping[str, float], asked: str) -> float:
    if asked in shares or (named is None and shares) or named in shares:
        return shares.get(asked, 0.0)
    return UNSEEN if named is None else float(named == asked)


def _extra(one: Seen, empty: Sequence[Position]) -> Row:
    """What nothing on the list accounts for. It is no extra one where it may be one that is missing elsewhere (``empty``)."""
    if one.best.kind == "undecided" and (one.best.family is None or (one.best.size is None and one.best.family in SIZED)):
        return Row(None, one, "undecided", f"not on the list as far as can be told; take a close-up of number {one.numbers}")
    may_be = next((position for position in empty if _may_be(one, position)), None)
    if may_be is not None:
        where = "" if may_be.slot is None else f" in slot {may_be.slot}"
        why = f"looks more like a {one.best.name}, may be the {may_be.name} that is missing{where}: take a close-up of number {one.numbers}"
        return Row(None, one, "undecided", why + _hurt_too(one))
    return Row(None, one, "extra", f"{one.best.name} is on the tray and not on the list{_hurt_too(one)}")


def _warnings(kit: Kit, rows: Sequence[Row], seen: Sequence[Seen]) -> list[str]:
    if not seen:
        return ["no instrument was found on this tray: is it empty, or the wrong photo?"]
    missing, other = (sum(row.outcome in which for row in rows) for which in (("missing",), ("wrong family", "wrong size")))
    if missing + other > WRONG_TRAY * kit.total and missing + other >= 3:
        return [f"{missing} of {kit.total} are missing and {other} are not those asked for: is this the tray of the list {kit.name}?"]
    return []
