"""Figures of the damage study over several photos of each instrument: any of them may tell, and any may tell what is not there."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from tests.study.damage_cases import HEALTHY
from tests.study.damage_figures import LOOK_AT, share_text

Row = dict[str, Any]
# Damage by its own strength, whichever way it faces.
AIMS: tuple[tuple[str, str, Callable[[Row], bool]], ...] = (
    ("kink >= 15 deg, any roll", "kinked", lambda row: row["strength"] >= 15.0),
    (">= 3 barbs folded, any roll", "barbs-folded", lambda row: row["strength"] >= 3),
    (">= 3 barbs missing, any roll", "barbs-missing", lambda row: row["strength"] >= 3),
    ("chip >= 30 % of the crest, any roll", "crest-chipped", lambda row: row["strength"] >= 30.0),
    ("tip lost >= 1 mm", "tip-lost", lambda row: row["strength"] >= 1.0),
)


def whole_sets(rows: Sequence[Row]) -> list[list[Row]]:
    """The photos of each instrument of which every photo was read; instruments photographed once are left out."""
    sets: dict[tuple[str, int], list[Row]] = {}
    for row in rows:
        if row.get("views", 1) > 1 and row.get("call"):
            sets.setdefault((row["kind"], row["seed"]), []).append(row)
    return [some for some in sets.values() if len(some) == some[0]["views"]]


def print_views(rows: Sequence[Row]) -> None:
    """Print what one photo and what all photos of an instrument together told."""
    sets = whole_sets(rows)
    if not sets:
        return
    print(f"\n{len(sets)} instruments, each in {sets[0][0]['views']} photos turned by equal parts of a full turn")
    for words, kind, meets in AIMS:
        some = [one for one in sets if one[0]["kind"] == kind and meets(one[0])]
        first = share_text(sum(_told(one[:1]) for one in some), len(some))
        print(f"{words:38s} first photo {first}, any photo {share_text(sum(map(_told, some)), len(some))}")
    healthy = [one for one in sets if one[0]["kind"] == HEALTHY]
    print(f"{'healthy: a finding':38s} first photo {share_text(sum(_told(one[:1]) for one in healthy), len(healthy))}, ", end="")
    print(f"any photo {share_text(sum(map(_told, healthy)), len(healthy))}")


def _told(photos: Sequence[Row]) -> bool:
    return any(one["chance"] >= LOOK_AT for row in photos for one in row["findings"])
