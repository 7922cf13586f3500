"""Tables of identity: family, blank section and size right, left open and wrong; probabilities against a constant's."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

from tests.study.cases import TRACED, USUAL, Case
from tests.study.design import FAMILIES
from tests.study.fair import in_overlap, right_share
from tests.study.intervals import brier, log_loss
from tests.study.text_table import share, table

CONFIDENT, STRANGER_AT, BELOW = 0.9, 0.8, 0.98
TOLERANCE_MM = 0.02
SIZE_CODES = (15, 20, 25, 30, 35, 40, 45, 50, 55, 60, 70, 80, 90, 100, 110, 120, 130, 140)
SCOPES = ("inside tolerance", "outside, handle in its colour", "outside, handle tells nothing", "half sizes")
Said = Callable[[Case], tuple[Any, float | None]]
HEAD = ("of", "n read", "right", "left open", "wrong", "at least 0.9 and wrong")


def name_tables(found: Sequence[Case]) -> str:
    """All tables of identity, in usual conditions, hard ones and from the path tracer."""
    parts = []
    for words, groups in (("usual conditions", USUAL), ("hard conditions", ("hard, flat", "hard, free")), ("path-traced", TRACED)):
        members = [case for case in found if case.group in groups and case.reading is not None]
        if members:
            told = [_plain(members, key, of) for key, of in (("cross_section", "blank section"), ("twist_hand", "hand of twist"))]
            tables = [_families(members), *told, _sizes(members), _scores(members), _reliability(members)]
            parts += [f"### {words}\n", "\n\n".join(tables), ""]
    strangers = [case for case in found if case.group == "strangers"]
    if strangers:
        parts += ["### strangers\n", _strangers(strangers), ""]
    return "\n".join(parts)


def counted(words: str, members: Sequence[Case], said: Said, truth: Callable[[Case], Any]) -> list[str]:
    """One row of HEAD: what was said of the members beside the truth."""
    told = [(*said(case), truth(case)) for case in members]
    right = sum(value == true for value, _, true in told)
    open_ = sum(value is None for value, _, _ in told)
    sure = sum(value not in (None, true) and p is not None and p >= CONFIDENT for value, p, true in told)
    count = len(members)
    return [words, str(count), share(right, count), share(open_, count), share(count - right - open_, count), share(sure, count)]


def family_said(case: Case) -> tuple[Any, float | None]:
    """Family named and its probability."""
    return case.reading["family"]["value"], case.reading["family"]["p"]  # type: ignore[index]


def size_said(case: Case) -> tuple[Any, float | None]:
    """Size named and its probability."""
    return case.reading["size"]["value"], case.reading["size"]["p"]  # type: ignore[index]


def shares(choice: dict[str, Any]) -> dict[str, float]:
    """All probabilities of a choice, the best among them."""
    best = {} if choice["value"] is None else {str(choice["value"]): choice["p"]}
    return best | {str(name): p for name, p in choice["others"].items()}


def size_scope(case: Case) -> str | None:
    """How a piece stands to the sizes: inside tolerance, outside with a readable handle, outside without, half size; None: none."""
    size = case.truth["size"]
    if not size:
        return None
    if size not in SIZE_CODES:
        return "half sizes"
    if abs(case.truth["d0_mm"] - size / 100.0) <= TOLERANCE_MM:
        return "inside tolerance"
    readable = case.truth["handle"] == case.truth["size_colour"]
    return "outside, handle in its colour" if readable else "outside, handle tells nothing"


def _families(members: Sequence[Case]) -> str:
    clear = [case for case in members if not in_overlap(case.truth)]
    by_name = [(name, [case for case in clear if case.truth["family"] == name]) for name in FAMILIES]
    rows = [counted(name, of, family_said, _family) for name, of in by_name]
    rows.append(counted("all outside the overlap", clear, family_said, _family))
    overlap = [case for case in members if in_overlap(case.truth)]
    rows.append(counted("K-file/reamer overlap", overlap, family_said, _family))
    text = table(("family", *HEAD[1:]), rows)
    if overlap:
        given = np.mean([shares(case.reading["family"]).get(case.truth["family"], 0.0) for case in overlap])  # type: ignore[index]
        fair = np.mean([right_share(case.truth) or 0.0 for case in overlap])
        text += f"\n\nIn the overlap the right family was given {given:.2f} on average; its fair share is {fair:.2f} ({len(overlap)})."
    return text


def _family(case: Case) -> Any:
    return case.truth["family"]


def _plain(members: Sequence[Case], key: str, words: str) -> str:
    """A word that is told without a probability, by what it truly is; pieces that have none left out."""

    def said(case: Case) -> tuple[Any, float | None]:
        return case.reading.get(key), None  # type: ignore[union-attr]

    def true(case: Case) -> Any:
        return case.truth.get(key)

    having = [case for case in members if true(case) is not None]
    kinds = sorted({true(case) for case in having})
    rows = [counted(kind, [case for case in having if true(case) == kind], said, true)[:-1] for kind in kinds]
    rows.append(counted("all", having, said, true)[:-1])
    return table((words, *HEAD[1:-1]), rows)


def _sizes(members: Sequence[Case]) -> str:
    def true(case: Case) -> Any:
        return case.truth["size"]

    scoped = [(size_scope(case), case) for case in members]
    inside = [case for scope, case in scoped if scope == "inside tolerance"]
    rows = [counted(f"{size}", of, size_said, true) for size in SIZE_CODES if (of := [c for c in inside if true(c) == size])]
    scopes = [(scope, [case for of, case in scoped if of == scope]) for scope in SCOPES]
    rows += [counted(scope, of, size_said, true) for scope, of in scopes]
    return table(("size", *HEAD[1:]), rows)


def _scores(members: Sequence[Case]) -> str:
    sized = [case for case in members if size_scope(case) in SCOPES[:2]]
    rows = []
    for words, of, key in (("family", members, "family"), ("size", sized, "size")):
        if not of:
            continue
        right = [str(case.truth[key]) for case in of]
        given = [shares(case.reading[key]) for case in of]  # type: ignore[index]
        constant = [{name: n / len(right) for name, n in Counter(right).items()}] * len(right)
        rows.append([words, str(len(of)), *(f"{score(p, right):.3f}" for score in (brier, log_loss) for p in (given, constant))])
    return table(("", "n", "Brier", "of a constant", "log-loss", "of a constant"), rows)


def _reliability(members: Sequence[Case]) -> str:
    """Answers below 0.98: how often they are right, by their probability."""
    rows = []
    for words, said, key in (("family", family_said, "family"), ("size", size_said, "size")):
        of = members if key == "family" else [case for case in members if size_scope(case) is not None]
        told = [(p, value == case.truth[key]) for case in of for value, p in (said(case),) if value is not None]
        for low, high in ((0.7, 0.8), (0.8, 0.9), (0.9, 0.95), (0.95, BELOW), (BELOW, 1.01)):
            part = [(p, right) for p, right in told if p is not None and low <= p < high]
            if part:
                mean = float(np.mean([p for p, _ in part]))
                rows.append([words, f"{low:.2f} to {min(high, 1.0):.2f}", f"{mean:.3f}", share(sum(r for _, r in part), len(part))])
    return table(("answers", "probability", "mean", "right"), rows)


def _strangers(members: Sequence[Case]) -> str:
    def taken(case: Case) -> bool:
        value, p = (None, None) if case.reading is None else family_said(case)
        return value in FAMILIES and p is not None and p >= STRANGER_AT

    kinds = sorted({str(case.truth["stranger"]) for case in members})
    rows = []
    for kind in [*kinds, "all"]:
        of = [case for case in members if kind in ("all", str(case.truth["stranger"]))]
        rows.append([kind, str(len(of)), share(sum(case.reading is None for case in of), len(of)), share(sum(map(taken, of)), len(of))])
    return table(("kind", "n", "not read", "named as one of the four at 0.8 or more"), rows)
