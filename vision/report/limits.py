"""Judgements -> words: each limit, the text it stands in, whether that was read, and how far the value lies from it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from vision.quantity import decimals
from vision.reading import Bound, InstrumentReading, Judgement
from vision.report.words import percent, size_text

NAMES = {"d0": "D0", "d16": "D16", "length": "length", "tip_angle": "tip angle", "taper": "taper"}
NEEDED_U = 2.0  # as conformity decides


def limit_lines(one: InstrumentReading) -> Iterator[str]:
    """Yield one sentence or two for each quantity that is judged or would be; identical reasons share a line."""
    if not one.judged:
        return
    if one.size.value is not None:
        yield f"judged as size {size_text(one.size.value)}, named with {percent(one.size.probability)}"
    for reason, names in _unjudged(one.judged).items():
        yield f"{', '.join(names)}: not judged: {reason}"
    for key, judgement in one.judged.items():
        if judgement.verdict is not None:
            yield f"{NAMES[key]}: {judgement.verdict}. {_where(judgement)}. {_sources(judgement)}"


def span_text(judgement: Judgement) -> str:
    """Return the limits that 'within' must keep: '0.230 to 0.270 mm'; empty where there are none."""
    if judgement.nominal is None or judgement.within is None:
        return ""
    low, high = judgement.nominal - judgement.within.half_width, judgement.nominal + judgement.within.half_width
    places = max(decimals(judgement.within.half_width), 1)
    return f"{low:.{places}f} to {high:.{places}f} {judgement.unit}"


def verdict_text(judgement: Judgement) -> str:
    """Return the verdict with its limits in a few words: 'within 0.230 to 0.270 mm'."""
    span = span_text(judgement)
    return f"{judgement.verdict} ({span})" if span else str(judgement.verdict)


def source_text(bound: Bound) -> str:
    """Return the text a limit stands in, and whether it was read."""
    return f"{bound.source} ({'read' if bound.read else 'remembered, NOT read'})"


def _unjudged(judged: Mapping[str, Judgement]) -> dict[str, list[str]]:
    reasons: dict[str, list[str]] = {}
    for key, judgement in judged.items():
        if judgement.verdict is None:
            reasons.setdefault(_reason(judgement), []).append(NAMES[key])
    return reasons


def _reason(judgement: Judgement) -> str:
    reason = judgement.reason or "no reason recorded"
    if judgement.within is None:
        return reason
    return f"{reason}; its limits would be {span_text(judgement)}, {source_text(judgement.within)}"


def _where(judgement: Judgement) -> str:
    margin, within, outside = judgement.margin_u or 0.0, judgement.within, judgement.outside
    differ = within is not None and outside is not None and outside.half_width > within.half_width
    side = "inside" if margin >= 0.0 else "beyond"
    place = f"the value lies {abs(margin):.1f} u {side} {span_text(judgement)}"
    if differ and outside is not None and within is not None and judgement.verdict == "outside":
        place = f"the value lies {abs(margin):.1f} u beyond ±{outside.half_width:g} {judgement.unit}, the wider of two limits"
    needed = f"{NEEDED_U:g} u are needed to state either"
    chance = f"; inside with {percent(judgement.probability)}" if judgement.probability is not None else ""
    return f"{place} ({needed}){chance}"


def _sources(judgement: Judgement) -> str:
    within, outside = judgement.within, judgement.outside
    if within is None or outside is None:
        return ""
    if within.half_width == outside.half_width:
        return f"Limit ±{within.half_width:g} {judgement.unit}: {source_text(within)}"
    return (
        f"Texts differ: 'within' needs the tighter ±{within.half_width:g} {judgement.unit}, {source_text(within)}; "
        f"'outside' the wider ±{outside.half_width:g} {judgement.unit}, {source_text(outside)}"
    )
