"""Where to look first: the pieces that miss by most, and those named wrongly with confidence."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from tests.study.cases import GROUPS, USUAL, Case, errors, of_group
from tests.study.measured import PRINTED, Printed
from tests.study.names import CONFIDENT, family_said, size_said, size_scope
from tests.study.text_table import number, table

MOST = 5
HEAD = ("group", "quantity", "item", "error", "in u", "family", "D0, mm", "px/mm", "tilt", "blur px", "light", "paper")


def worst_tables(found: Sequence[Case]) -> str:
    """The largest errors of each group and quantity, and confident wrong names."""
    rows = [row for group in GROUPS[:-1] for one in PRINTED[:6] for row in _largest(of_group(found, group), group, one)]
    return f"{table(HEAD, rows)}\n\n### named wrongly at {CONFIDENT} or more\n\n{_names(found)}"


def _largest(members: Sequence[Case], group: str, one: Printed) -> list[list[str]]:
    got = errors(members, one.name, one.factor)
    order = np.argsort(-np.abs(got.error))[:MOST] if len(got.error) else []
    return [
        [
            group, f"{one.words}, {one.unit}", got.cases[k].item,
            f"{got.error[k]:+.3g}", f"{got.error[k] / got.u[k]:+.1f}", *_about(got.cases[k]),
        ]
        for k in order
    ]  # fmt: skip


def _about(case: Case) -> list[str]:
    t = case.truth
    figures = [number(t.get(name)) for name in ("d0_mm", "px_per_mm", "tilt_deg", "blur_px")]
    return [str(t["family"]), *figures, str(t.get("light", "-")), str(t.get("paper", "-"))]


def _names(found: Sequence[Case]) -> str:
    rows = []
    for case in found:
        if case.reading is None or case.group not in USUAL:
            continue
        for what, (value, p), true in (("family", family_said(case), case.truth["family"]), ("size", size_said(case), case.truth["size"])):
            if what == "size" and size_scope(case) is None:
                continue
            if value is not None and value != true and p is not None and p >= CONFIDENT:
                rows.append([case.item, what, str(true), str(value), f"{p:.3f}", *_about(case)])
    return table(("item", "what", "is", "named", "at", *HEAD[5:]), rows)
