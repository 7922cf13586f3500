"""Judgements -> words: each limit, the text it stands in, whether that was read, and how far the value lies from it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from vision.quantity import decimals
from vision.reading import Bound, InstrumentReading, Judgement
from vision.report.words import percent, size_text

NAMES = {"d0": "D0", "d16": "D16", "length": "length", "tip_angle": "tip angle", "taper": "taper"}
NEEDED_U = 2.0  # as conformity decides


def limit_lines(one: InstrumentReading) -> Iterator[str]:
    """Yield what was judged and how far it lies from its limits, the limits' sources, and what was not judged and why."""
    if not one.judged:
        return
    stated = {NAMES[key]: judgement for key, judgement in one.judged.items() if judgement.verdict is not None}
    if stated:
        size = f"judged as size {size_text(one.size.value)}, named with {percent(one.size.probability)}"
        yield f"{size}; stated only where the value lies {NEEDED_U:g} u clear of a limit"
    for name, judgement in stated.items():
        yield f"{name}: {judgement.verdict}, {_where(judgement)}"
    for source, names in _gathered((_sources(judgement), name) for name, judgement in stated.items()).items():
        yield f"{', '.join(names)}: {source}"
    missing = ((_reason(one.judged[key]), NAMES[key]) for key in one.judged if one.judged[key].verdict is None)
    for reason, names in _gathered(missing).items():
        yield f"{', '.join(names)}: not judged: {reason}"


def span_text(judgement: Judgement) -> str:
    """Return the limits that 'within' must keep: '0.230 to 0.270 mm'; empty where there are none."""
    if judgement.nominal is None or judgement.within is None:
        return ""
    low, high = judgement.nominal - judgement.within.half_width, judgement.nominal + judgement.within.half_width
    places = max(decimals(judgement.within.half_width), 1)
    return f"{low:.{places}f} to {high:.{places}f} {judgement.unit}"


def verdict_text(judgement: Judgement) -> str:
    """Return the verdict with its limits in a few words: 'within (0.230 to 0.270)'; the unit stands beside it."""
    span = span_text(judgement).removesuffix(f" {judgement.unit}")
    return f"{judgement.verdict} ({span})" if span else str(judgement.verdict)


def source_text(bound: Bound) -> str:
    """Return the text a limit stands in, and whether it was read."""
    return f"{bound.source} ({'read' if bound.read else 'remembered, NOT read'})"


def _gathered(pairs: Iterable[tuple[str, str]]) -> dict[str, list[str]]:
    """Gather the names that share one sentence."""
    gathered: dict[str, list[str]] = {}
    for sentence, name in pairs:
        gathered.setdefault(sentence, []).append(name)
    return gathered


def _reason(judgement: Judgement) -> str:
    reason = judgement.reason or "no reason recorded"
    if judgement.within is None:
        return reason
    return f"{reason}; its limits would be {span_text(judgement)}, {source_text(judgement.within)}"


def _where(judgement: Judgement) -> str:
    margin, outside = judgement.margin_u or 0.0, judgement.outside
    side = "inside" if margin >= 0.0 else "beyond"
    place = f"{abs(margin):.1f} u {side} {span_text(judgement)}"
    if judgement.verdict == "outside" and outside is not None and outside != judgement.within:
        place = f"{abs(margin):.1f} u beyond ±{outside.half_width:g} {judgement.unit}, the wider of two limits"
    chance = f" ({percent(judgement.probability)} for lying inside)" if judgement.probability is not None else ""
    return place + chance


def _sources(judgement: Judgement) -> str:
    within, outside = judgement.within, judgement.outside
    if within is None or outside is None:
        return ""
    if within.half_width == outside.half_width:
        return f"±{within.half_width:g} {judgement.unit}: {source_text(within)}"
    return (
        f"texts differ: 'within' needs the tighter ±{within.half_width:g} {judgement.unit}, {source_text(within)}; "
        f"'outside' the wider ±{outside.half_width:g} {judgement.unit}, {source_text(outside)}"
    )
