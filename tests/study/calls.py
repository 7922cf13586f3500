"""Tables of what was decided: conformity called rightly or wrongly, and false alarms on whole instruments."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import Any

from tests.study.cases import GROUPS, USUAL, Case, of_group
from tests.study.text_table import share, table

KEYS = (("d0", "d0_mm"), ("d16", "d16_mm"), ("length", "length_mm"))
CLEAR_U = 4.0
HEAD = ("group", "quantity", "judged", "decided", "wrong calls, of those decided", "decided where the truth is over 4u from a limit")


def call_tables(found: Sequence[Case]) -> str:
    """Conformity and condition."""
    return "\n".join([
        "### conformity\n",
        table(HEAD, [*_all_groups(found), *_conformity([case for case in found if case.group in USUAL], "usual, together")]),
        "\nA verdict is judged against the limits of the size that the reading named, by the true value.",
        "\n### false alarms on whole instruments\n",
        _alarms(found),
    ])  # fmt: skip


def _all_groups(found: Sequence[Case]) -> list[list[str]]:
    return [row for group in GROUPS[:-1] for row in _conformity(of_group(found, group), group)]


def called_wrongly(judged: dict[str, Any], true: float) -> bool:
    """Whether the true value contradicts the verdict."""
    off = abs(true - judged["nominal"])
    return (judged["verdict"] == "within" and off > judged["within"]) or (
        judged["verdict"] == "outside" and off < judged["outside"]
    )


def true_margin(judged: dict[str, Any], true: float) -> float:
    """How far the true value lies from the limit that decides, mm; 0 between two limits that texts differ on."""
    off = abs(true - judged["nominal"])
    if off <= judged["within"]:
        return float(judged["within"] - off)
    return max(float(off - judged["outside"]), 0.0)


def _conformity(members: Sequence[Case], group: str) -> list[list[str]]:
    rows = []
    for key, name in KEYS:
        told = []
        for case in members:
            judged = None if case.reading is None else case.reading["judged"].get(key)
            if judged and judged["nominal"] is not None and judged["verdict"] and case.truth[name] is not None:
                told.append((judged, case.truth[name], case.reading[name][1]))  # type: ignore[index]
        if not told:
            continue
        decided = [(judged, true) for judged, true, _ in told if judged["verdict"] != "undecided"]
        wrong = sum(called_wrongly(judged, true) for judged, true in decided)
        clear = [judged["verdict"] != "undecided" for judged, true, u in told if true_margin(judged, true) > CLEAR_U * u]
        rows.append([
            group, key, str(len(told)), share(len(decided), len(told)), share(wrong, len(decided)), share(sum(clear), len(clear))
        ])  # fmt: skip
    return rows


def _alarms(found: Sequence[Case]) -> str:
    rows = []
    for group in GROUPS[:-1]:
        members = [case for case in of_group(found, group) if case.reading is not None and not case.truth["damage"]]
        if not members:
            continue
        calls = Counter(case.reading["call"] for case in members)  # type: ignore[index]
        kinds = Counter(f[0] for case in members for f in case.reading["findings"] if f[4] >= 0.5)  # type: ignore[index]
        told = ", ".join(f"{kind} {n}" for kind, n in kinds.most_common()) or "none"
        count = len(members)
        rows.append([group, share(calls["discard"], count), share(calls["look again"], count), share(calls["nothing seen"], count), told])
    return table(("group", "discard", "look again", "nothing seen", "findings of probability 0.5 or more"), rows)
