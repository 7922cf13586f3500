"""What lies on the tray -> groups in the order in which a person puts them away, damaged and undecided apart."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from vision.tray.merged import Seen
from vision.tray.told import ORDER

SAYS = (
    "Grouped by family and size alone. From above only gross damage shows, and no bend toward or away from the camera: "
    "look at each one closely before it is put away."
)


@dataclass(frozen=True)
class Group:
    """Instruments of one family and size. ``letter`` marks them in the picture, so that no colour is needed."""

    letter: str
    name: str
    members: tuple[Seen, ...]


@dataclass(frozen=True)
class Sorted:
    """A sorted tray: groups in put-away order, then what stands apart."""

    groups: tuple[Group, ...]
    damaged: tuple[Seen, ...]
    undecided: tuple[Seen, ...]

    @property
    def total(self) -> int:
        """How many instruments there are, each counted once."""
        return sum(len(group.members) for group in self.groups) + len(self.damaged) + len(self.undecided)

    def mark_of(self, one: Seen) -> str:
        """Letter of the group; '!' for damaged, '?' for undecided."""
        for group in self.groups:
            if one in group.members:
                return group.letter
        return "!" if one in self.damaged else "?"


def sort_tray(seen: Sequence[Seen]) -> Sorted:
    """Group by family, then size, ascending."""
    named = [one for one in seen if one.best.kind == "named"]
    keys = sorted({(_rank(one), one.best.size or 0, one.best.name) for one in named})
    groups = []
    for k, key in enumerate(keys):
        members = tuple(one for one in named if (_rank(one), one.best.size or 0, one.best.name) == key)
        groups.append(Group(_letter(k), key[2], members))
    damaged = tuple(one for one in seen if one.best.kind == "damaged")
    return Sorted(tuple(groups), damaged, tuple(one for one in seen if one.best.kind == "undecided"))


def lines(tray: Sorted) -> list[str]:
    """The sorted tray in sentences, for terminal and slip."""
    said = [counted(tray.total), SAYS]
    for group in tray.groups:
        numbers = ", ".join(one.numbers for one in group.members)
        said.append(f"{group.letter}  {group.name}: {len(group.members)}  (number {numbers})")
    said += [f"!  set apart number {one.numbers}: {one.best.name}; {'; '.join(one.best.why)}" for one in tray.damaged]
    said += [f"?  take a close-up of number {one.numbers}: {'; '.join(one.best.why)}" for one in tray.undecided]
    return said


def counted(total: int) -> str:
    """How many instruments there are, in words."""
    return "1 instrument" if total == 1 else f"{total} instruments, each counted once"


def _rank(one: Seen) -> int:
    return ORDER.index(one.best.family) if one.best.family in ORDER else len(ORDER)


def _letter(k: int) -> str:
    """A to Z, then AA, AB ..."""
    return chr(65 + k) if k < 26 else chr(64 + k // 26) + chr(65 + k % 26)
