"""Stage 8d: conditions seen in several photos of one instrument -> one. A finding in any view counts.

Findings of one kind that lie at the same place are one finding, told as the most probable view tells it. Nothing is
averaged away: a view that does not show a damage says nothing against one that does.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from vision.call import call_of, own_rules
from vision.reading import ConditionReading, Finding

SAME_PLACE_MM = 1.0


def merge_conditions(
    conditions: Sequence[ConditionReading], names: Sequence[str], share: float, doubts: tuple[str, ...]
) -> ConditionReading:
    """Merge; ``share`` of the way round is what the photos show together, ``doubts`` speak against them together."""
    findings = merge_findings([one.findings for one in conditions])
    unfit = [f"{name}: {reason}" for one, name in zip(conditions, names, strict=True) for reason in one.reasons]
    every = all(one.reasons and one.call != "nothing seen" for one in conditions)
    reasons = (*doubts, *unfit)
    call = call_of(findings, unfit=every or bool(doubts), rules=own_rules())
    return ConditionReading(call, share, _smallest(conditions), findings, reasons, len(conditions))


def merge_findings(views: Sequence[Sequence[Finding]]) -> tuple[Finding, ...]:
    """Gather findings over all views, matched by kind and by place along the axis."""
    merged: list[Finding] = []
    for finding in sorted((one for view in views for one in view), key=lambda one: -one.probability):
        if not any(_same(finding, known) for known in merged):
            merged.append(finding)
    return tuple(sorted(merged, key=lambda one: (one.from_mm, one.kind)))


def _same(one: Finding, other: Finding) -> bool:
    apart = max(one.from_mm, other.from_mm) - min(one.to_mm, other.to_mm)
    return one.kind == other.kind and apart <= SAME_PLACE_MM


def _smallest(conditions: Sequence[ConditionReading]) -> Mapping[str, Mapping[str, float]]:
    """The smallest damage that any one of the views could have shown."""
    best: dict[str, Mapping[str, float]] = {}
    for one in conditions:
        for kind, limit in one.smallest_visible.items():
            if kind not in best or limit["value"] < best[kind]["value"]:
                best[kind] = limit
    return best
