"""Figures of the damage study: false alarms, what was found by strength and about the printed limit, ROC; 95 % Wilson intervals."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

from tests.study.damage_cases import DIRTY, HEALTHY, SPREAD
from tests.study.intervals import wilson

Row = dict[str, Any]
LOOK_AT = 0.5
# A kind counts as found when any of these is said of it: a blank turned back has lost turns too.
ALSO = {
    "unwound": ("unwound", "reverse-wound"),
    "reverse-wound": ("reverse-wound", "unwound"),
    "barbs-missing": ("barbs-folded", "barbs-missing"),
}
IN_OUTLINE = ("kinked", "crest-chipped", "barbs-folded", "barbs-missing")  # judged by the part that this photo's outline holds
AIMS: tuple[tuple[str, str, Callable[[Row], bool]], ...] = (
    ("unwound >= 60 deg over <= 4 mm, wander <= 8 deg: 98 %", "unwound",
     lambda r: r["strength"] >= 60 and r["to_mm"] - r["from_mm"] <= 4 and r["scatter_deg"] <= 8),
    ("reverse-wound: 99 %", "reverse-wound", lambda _: True),
    ("tip lost >= 1 mm: 98 %", "tip-lost", lambda r: r["strength"] >= 1.0),
    ("kink >= 15 deg as projected: 98 %", "kinked", lambda r: r["shown"] >= 15.0),
    (">= 3 folded barbs in the outline: 95 %", "barbs-folded", lambda r: r["shown"] >= 3),
    ("chip >= 30 % of the crest in the outline: 90 %", "crest-chipped", lambda r: r["shown"] >= 30.0),
)
PLACED_MM = 0.3
SEEN_MM2 = 0.01  # of dirt that looks otherwise than the metal: 0.1 mm square, about the least an eye makes out unaided (from memory)
SEEN_PX = 25.0  # of a photo that is looked at px by px, 5 by 5: our own choice
LEVELS = (0.3, 0.5, 0.8)  # of the ROC: from which a finding is shown, asks to look, discards


def share_text(hits: int, count: int) -> str:
    """A share with its interval and counts."""
    if count == 0:
        return "none"
    low, high = wilson(hits, count)
    return f"{100 * hits / count:5.1f} % ({100 * low:.1f} to {100 * high:.1f}; {hits} of {count})"


def chance_of(row: Row, kind: str) -> float:
    """Greatest chance that a reading gives a kind, or what also counts as it; 0 without."""
    wanted = ALSO.get(kind, (kind,))
    return max((one["chance"] for one in row.get("findings", ()) if one["kind"] in wanted), default=0.0)


def print_figures(rows: Sequence[Row]) -> None:
    """Print all figures of a study's rows."""
    read = [row for row in rows if row.get("call")]
    print(f"\n{len(rows)} cases, {len(rows) - len(read)} without a reading")
    healthy = [row for row in read if row["kind"] == HEALTHY]
    _print_false(healthy)
    for words, kind, meets in AIMS:
        some = [row for row in read if row["kind"] == kind and meets(row)]
        print(f"{words:58s} found {share_text(sum(_caught(row) for row in some), len(some))}")
        shows = [row for row in some if row.get("shows_px", 0.0) >= SEEN_PX]
        if shows:
            print(f"{'    of those that a person could see in the photo':58s} found {share_text(sum(map(_caught, shows)), len(shows))}")
    for kind in SPREAD:
        hurt = [row for row in read if row["kind"] == kind]
        if hurt:
            _print_kind(kind, hurt, healthy)
    dirt = [row for row in read if row["kind"] == DIRTY]
    for words, some in (
        ("dirty", [row for row in dirt if row.get("faces", True)]),
        ("dirty, and a person could see it", [row for row in dirt if _shows_mm2(row) >= SEEN_MM2]),
        ("dirty on the far side", [row for row in dirt if not row.get("faces", True)]),
    ):
        told = sum(any("clean it" in reason for reason in row["reasons"]) for row in some)
        acted = share_text(sum(map(_acted, some)), len(some))
        print(f"{words}: told to be cleaned {share_text(told, len(some))}; not 'nothing seen' {acted}")


def _print_false(healthy: Sequence[Row]) -> None:
    count = len(healthy)
    print(f"healthy: a finding {share_text(sum(_caught(row) or _beside(row) for row in healthy), count)}, 'discard' ", end="")
    print(share_text(sum(row["call"] == "discard" for row in healthy), count))
    print(f"healthy: any call but 'nothing seen' {share_text(sum(map(_acted, healthy)), count)}")
    kinds = sorted({one["kind"] for row in healthy for one in row["findings"] if one["chance"] >= LOOK_AT})
    for kind in kinds:
        print(f"    {kind}: {share_text(sum(chance_of(row, kind) >= LOOK_AT for row in healthy), count)}")
    curved = [row for row in healthy if row["pre_curve_mm"] is not None]
    print(f"pre-curves called kinked: {share_text(sum(chance_of(row, 'kinked') >= LOOK_AT for row in curved), len(curved))}")


def _shows_mm2(row: Row) -> float:
    return float(row.get("shows_px", 0.0) / row["px_per_mm"] ** 2)


def _caught(row: Row) -> bool:
    """Whether any finding is at least an oddity: a hurt instrument told by another word is told all the same."""
    return any(one["chance"] >= LOOK_AT for one in row["findings"])


def _beside(row: Row) -> bool:
    """Whether print beside the instrument was read as another one, and has a finding."""
    return any(one["chance"] >= LOOK_AT for findings in row.get("beside", ()) for one in findings)


def _acted(row: Row) -> bool:
    return bool(row["call"] != "nothing seen")


def _print_kind(kind: str, hurt: Sequence[Row], healthy: Sequence[Row]) -> None:
    print(f"\n{kind}: under the ROC curve {roc_area([chance_of(r, kind) for r in hurt], [chance_of(r, kind) for r in healthy]):.3f}")
    for level in LEVELS:
        false, found = (sum(chance_of(r, kind) >= level for r in some) for some in (healthy, hurt))
        print(f"    from a chance of {level}: false {share_text(false, len(healthy))}, found {share_text(found, len(hurt))}")
    strength = np.array([_strength(row) for row in hurt])
    edges = np.quantile(strength, np.linspace(0, 1, 6))
    for low, high in itertools.pairwise(edges):
        some = [row for row, s in zip(hurt, strength, strict=True) if low <= s <= high]
        print(f"    {low:7.1f} to {high:7.1f}: by its name {share_text(sum(chance_of(r, kind) >= LOOK_AT for r in some), len(some))}")
    _print_limit(kind, hurt)
    _print_errors(kind, hurt)


def _print_limit(kind: str, hurt: Sequence[Row]) -> None:
    """Share found at half the printed limit, at it, at twice it, each within a fifth."""
    for words, times in (("half", 0.5), ("at", 1.0), ("twice", 2.0)):
        near = [row for row in hurt if (limit := row["limits"].get(kind)) and 0.8 < _strength(row) / (times * limit) < 1.25]
        print(f"    {words} the printed limit: {share_text(sum(chance_of(row, kind) >= LOOK_AT for row in near), len(near))}")


def _print_errors(kind: str, hurt: Sequence[Row]) -> None:
    pairs = [(row, one) for row in hurt for one in row["findings"] if one["kind"] == kind and one["chance"] >= LOOK_AT]
    _print_these("all", pairs)
    if kind in ("unwound", "overwound"):
        _print_these("flat, wander <= 8 deg", [(r, one) for r, one in pairs if r["pose"] == "flat" and (r["scatter_deg"] or 0.0) <= 8.0])


def _print_these(words: str, pairs: Sequence[tuple[Row, Row]]) -> None:
    if not pairs:
        return
    errors = np.array([one["strength"] - _strength(row) for row, one in pairs])
    inside = np.mean(np.abs(errors) <= 2.0 * np.array([one["u"] for _, one in pairs]))
    ends = np.array([(one["from_mm"] - row["from_mm"], one["to_mm"] - row["to_mm"]) for row, one in pairs])
    both, middle = (np.abs(ends).max(axis=1) <= PLACED_MM).sum(), (np.abs(ends.mean(axis=1)) <= PLACED_MM).sum()
    print(f"    {words}: median |error| {np.median(np.abs(errors)):.3g}, within 2 u {100 * inside:.0f} %")
    print(f"        within {PLACED_MM} mm both ends {share_text(int(both), len(pairs))}, the middle {share_text(int(middle), len(pairs))}")


def _strength(row: Row) -> float:
    return float(row["shown"] if row["kind"] in IN_OUTLINE else row["strength"])


def roc_area(hurt: Sequence[float], healthy: Sequence[float]) -> float:
    """Area under the ROC curve: chance that a hurt one is given more than a healthy one, ties half (Hanley and McNeil 1982)."""
    if not hurt or not healthy:
        return float("nan")
    a, b = np.array(hurt)[:, None], np.array(healthy)[None, :]
    return float(np.mean((a > b) + 0.5 * (a == b)))
