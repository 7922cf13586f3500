"""Side by side: against the plain threshold measurement, and own renders against the path tracer's."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from tests.study.cases import GROUPS, Case, errors, of_group
from tests.study.intervals import bootstrap
from tests.study.measured import PRINTED, Printed
from tests.study.text_table import number, span, table

ALIKE = (("flat", "traced, flat"), ("free", "traced, free"), ("free, sizes 50-70", "traced, free, sizes 50-70"))
FINDING = 1.5


def baseline_table(found: Sequence[Case]) -> str:
    """Errors of both ways on the same photos, where both gave a number, and their ratio."""
    rows = []
    for group in GROUPS[:-1]:
        for one in PRINTED[:5]:
            pairs, plain_only = _pairs(of_group(found, group), one)
            if len(pairs) < 2:
                continue
            cells = [f"{number(float(np.percentile(pairs[:, k], q)))}" for q in (50, 95) for k in (0, 1)]
            ratio = _ratio(pairs)
            rows.append([
                group, f"{one.words}, {one.unit}", f"{len(pairs)} (+{plain_only})", *cells,
                f"{ratio:.1f} ({span(*bootstrap(pairs, _ratio))})",
            ])  # fmt: skip
    head = ("group", "quantity", "n (+ plain alone)", "median", "plain median", "95th percentile", "plain", "ratio of medians")
    return table(head, rows)


def traced_table(found: Sequence[Case]) -> str:
    """Median and 95th percentile of errors, path-traced over own renders."""
    rows = []
    for own, traced in ALIKE:
        for one in PRINTED[:7]:
            a = np.abs(errors(of_group(found, own), one.name, one.factor).error)
            b = np.abs(errors(of_group(found, traced), one.name, one.factor).error)
            if len(a) < 2 or len(b) < 2:
                continue
            both = [float(np.percentile(b, q) / max(np.percentile(a, q), 1e-12)) for q in (50, 95)]
            told = f"more than {FINDING}: look at the renderer" if max(both) > FINDING else "alike"
            cells = [number(float(np.percentile(v, q))) for q in (50, 95) for v in (a, b)]
            rows.append([own, f"{one.words}, {one.unit}", f"{len(a)}, {len(b)}", *cells, f"{both[0]:.2f}, {both[1]:.2f}", told])
    head = ("group", "quantity", "n own, traced", "median own", "traced", "95th percentile own", "traced", "ratios", "")
    return table(head, rows)


def _pairs(members: Sequence[Case], one: Printed) -> tuple[np.ndarray, int]:
    """Sizes of errors (n, 2), ours and the plain ones, of cases that have both; and how many the plain way alone measured."""
    ours = errors(members, one.name, one.factor)
    plain = errors(members, one.name, one.factor, "baseline")
    mine = {case.item: abs(e) for case, e in zip(ours.cases, ours.error, strict=True)}
    rows = [(mine[case.item], abs(e)) for case, e in zip(plain.cases, plain.error, strict=True) if case.item in mine]
    return np.array(rows).reshape(-1, 2), len(plain.error) - len(rows)


def _ratio(pairs: np.ndarray) -> float:
    return float(np.median(pairs[:, 1]) / max(np.median(pairs[:, 0]), 1e-12))
