"""Reports of an instrument's life and of a month as PDF, black on white."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

from reportlab.platypus import Flowable, KeepTogether, Spacer

from vision.desk import shown
from vision.desk.answers import when
from vision.desk.month import Month, month_of
from vision.desk.pages_instruments import life_of
from vision.desk.pdf_drawing import PlotDrawing
from vision.desk.pdf_pages import HEAD, STRONG, TITLE, WIDTH, built, table, text
from vision.desk.settings import Desk
from vision.records.instruments import instrument
from vision.records.search import Hit


def instrument_pdf(desk: Desk, code: str) -> bytes:
    """Return the report of an instrument's life. Raises RecordsError."""
    say = desk.say
    with desk.records() as records:
        life = life_of(records, desk, instrument(records, code))
    counts = {name: life["counts"][name] for name in ("used", "cleaned", "sterilised")}
    entries = [(when(entry.at), _entry(entry, desk)) for entry in life["entries"]]
    story: list[Flowable] = [
        text(say("report.instrument", code=code), TITLE),
        table([("", ""), *_facts(life, desk)], (0.3, 0.7)),
        text(say("instruments.count", **counts)),
        *_warnings(life, desk),
        *(KeepTogether([Spacer(1, 4), PlotDrawing(plot, WIDTH * 0.6)]) for plot in life["plots"]),
        text(say("instruments.timeline"), HEAD),
        table([(say("records.at"), say("records.what")), *entries], (0.22, 0.78)),
    ]
    return built(story, desk, say("report.instrument", code=code))


def _facts(life: dict[str, Any], desk: Desk) -> list[tuple[str, str]]:
    say, words, one = desk.say, desk.words, life["one"]
    family = words.get(f"families.{one.family}", one.family) if one.family else ""
    size = shown.size_of(one.size, words) if one.size is not None else ""
    return [
        (say("instruments.what"), ", ".join(filter(None, (family, size))) or say("site.not_stated")),
        (say("instruments.material"), one.material or say("site.not_stated")),
        (say("instruments.single_use"), say("site.yes") if one.single_use else say("site.no")),
        (say("instruments.kit"), life["kit"] or say("site.none")),
    ]


def _warnings(life: dict[str, Any], desk: Desk) -> Iterator[Flowable]:
    one, gone = life["one"], life["discarded"]
    if one.single_use and life["counts"]["used"]:
        yield text(desk.say("instruments.single_use_used", used=life["counts"]["used"]), STRONG)
    if gone:
        said = {"code": one.code, "when": when(gone.at), "reason": gone.reason, "initials": gone.initials}
        yield text(desk.say("decision.gone", **said), STRONG)


def month_pdf(desk: Desk, name: str) -> bytes:
    """Return the report of a month. Raises RecordsError."""
    say = desk.say
    with desk.records() as records:
        month = month_of(records, name)
    head = tuple(say(f"records.{column}") for column in ("when", "what", "call", "findings", "instrument"))
    lines = [_line(hit, desk) for hit in month.hits]
    gone = [text(f"{when(one.at)}  {one.code}: {one.reason} ({one.initials})") for one in month.discards]
    story: list[Flowable] = [
        text(say("report.month", month=name), TITLE),
        table([("", ""), *_sums(month, desk)], (0.5, 0.5)),
        *([text(say("report.first_lines", count=len(lines), total=month.lines))] if len(lines) < month.lines else []),
        table([head, *lines], (0.2, 0.25, 0.17, 0.2, 0.18)) if lines else text(say("report.no_readings")),
        text(say("records.discards"), HEAD),
        *(gone or [text(say("site.nothing_yet"))]),
    ]
    return built(story, desk, say("report.month", month=name))


def _sums(month: Month, desk: Desk) -> list[tuple[str, str]]:
    say = desk.say
    calls = [(f"{say('records.call')}: {shown.call_of(call, desk.words)}", str(n)) for call, n in month.calls.items()]
    return [
        (say("report.count_readings"), str(month.readings)),
        (say("report.count_failed"), str(month.failed)),
        (say("report.count_discards"), str(len(month.discards))),
        *calls,
    ]


def _line(hit: Hit, desk: Desk) -> tuple[str, ...]:
    say, words = desk.say, desk.words
    family = words.get(f"families.{hit.family}", say("words.family_open"))
    what = f"{family}, {shown.size_of(hit.size, words)}" if hit.number else say("records.error")
    kinds = [words.get(f"findings.{kind}", kind) for kind in json.loads(hit.findings or "[]")]
    call = shown.call_of(hit.call, words) if hit.call else hit.error_kind or ""
    return when(hit.read_at), what, call, ", ".join(kinds), hit.instrument or ""


def _entry(entry: Any, desk: Desk) -> str:
    """Return a line of the timeline in words."""
    say, words, f = desk.say, desk.words, entry.facts
    family = words.get(f"families.{f.get('family')}", say("words.family_open"))
    what = f"{family}, {shown.size_of(f.get('size'), words)}"
    if entry.kind == "reading":
        words_of = say("timeline.reading", number=f["reading_id"], what=what, call=shown.call_of(f["call"], words))
    elif entry.kind == "judgement":
        name = "timeline.confirmed" if f["said"] == "confirmed" else "timeline.corrected"
        words_of = say(name, initials=f["initials"], number=f["reading_id"], what=what)
    elif entry.kind == "event":
        done = say(f"instruments.{f['done']}")
        name = "timeline.event_cycle" if f["cycle"] else "timeline.event"
        words_of = say(name, done=done, cycle=f["cycle"], initials=f["initials"])
    elif entry.kind == "decision":
        words_of = say(
            "timeline.decision", initials=f["initials"], decision=say(f"decision.{f['decision'].replace(' ', '_')}")
        )
    elif entry.kind == "discard":
        words_of = say("timeline.discard", reason=f["reason"], initials=f["initials"])
    else:
        words_of = say("timeline.added")
    return f"{words_of}; {say('timeline.note', note=f['note'])}" if f.get("note") else words_of
