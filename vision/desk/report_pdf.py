"""Reports as PDF, black on white: a reading, an instrument's life, a month. Meaning is in words, shapes and letters."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any
from xml.sax.saxutils import escape

from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.platypus import Flowable, KeepTogether, Paragraph, SimpleDocTemplate, Spacer, Table

from vision.desk import shown
from vision.desk.answers import when
from vision.desk.month import month_of
from vision.desk.pages_instruments import life_of
from vision.desk.pdf_drawing import PhotoDrawing, PlotDrawing
from vision.desk.pdf_fonts import BOLD, PLAIN
from vision.desk.pictures import part
from vision.desk.reading_page import reading_page
from vision.desk.settings import Desk
from vision.records.clock import now
from vision.records.instruments import instrument
from vision.records.readings import reading
from vision.report.cautions import SHORT
from vision.report.document import version

MARGIN_MM = 16.0
WIDTH = A4[0] - 2 * MARGIN_MM * mm - 12.0  # a frame keeps 6 points free on either side
BODY = ParagraphStyle("body", fontName=PLAIN, fontSize=9.5, leading=12.5)
STRONG = ParagraphStyle("strong", BODY, fontName=BOLD, fontSize=11.5, leading=14.5, spaceAfter=2)
HEAD = ParagraphStyle("head", BODY, fontName=BOLD, fontSize=12, leading=15, spaceBefore=8, spaceAfter=3)
TITLE = ParagraphStyle("title", BODY, fontName=BOLD, fontSize=18, leading=22, spaceAfter=4)
RULES = [
    ("LINEBELOW", (0, 0), (-1, -1), 0.3, "#777777"),
    ("LINEBELOW", (0, 0), (-1, 0), 1.0, "#000000"),
    ("VALIGN", (0, 0), (-1, -1), "TOP"),
    ("LEFTPADDING", (0, 0), (-1, -1), 0),
    ("TOPPADDING", (0, 0), (-1, -1), 1.5),
    ("BOTTOMPADDING", (0, 0), (-1, -1), 1.5),
]


def reading_pdf(desk: Desk, number: int, which: int) -> bytes:
    """Return the report of one instrument in one reading. Raises RecordsError."""
    say = desk.say
    with desk.records() as records:
        kept = reading(records, number)
        page = reading_page(records, desk.words, kept, which)
        drawing = page["drawing"]
        data = (
            part(records, kept.photo_sha256, drawing.crop)
            if drawing and page["has_photo"] and kept.photo_sha256
            else None
        )
    one, condition = page["one"], page["one"]["condition"]
    of = say("reading.of", file=kept.file, when=when(kept.read_at))
    meant = f"; {say('which.is', code=page['instrument'].code)}" if page["instrument"] else ""
    call = "; ".join((page["call"], *condition.get("reasons", ())))
    story: list[Flowable] = [
        _text(page["name"], TITLE),
        _text(of + meant),
        Spacer(1, 4),
        _text(f"{say('reading.call')}: {call}", STRONG),
        _text(f"{say('reading.limits')}: {condition['limits']}", STRONG),
    ]
    place = say("reading.place_unit")
    story += [
        _text(
            f"{f.letter}  {f.kind}: {f.strength}, {f.where[0]:.1f} to {f.where[1]:.1f} {place}, {say('words.sure', percent=f.percent)}"
        )
        for f in page["found"]
    ]
    if drawing is not None:
        story += [Spacer(1, 5), PhotoDrawing(drawing, data, WIDTH), Spacer(1, 6)]
    if page["plots"]:
        plots = [PlotDrawing(plot, WIDTH / 2 - 6) for plot in page["plots"]]
        story.append(Table([plots], colWidths=[WIDTH / 2] * len(plots), style=[("LEFTPADDING", (0, 0), (-1, -1), 0)]))
    story += _numbers(page["rows"], say)
    story += _evidence(page, one, say)
    story += _visible(page, say)
    story += _judged(page, desk, say)
    story += _cautions(kept.document.get("cautions") or SHORT, say)
    story.append(
        _text(
            say("reading.software", version=kept.software)
            + "; "
            + ", ".join(f"{n} {h}" for n, h in kept.models.items())
        )
    )
    return _built(story, desk, say("report.reading", number=number))


def instrument_pdf(desk: Desk, code: str) -> bytes:
    """Return the report of an instrument's life. Raises RecordsError."""
    say, words = desk.say, desk.words
    with desk.records() as records:
        life = life_of(records, desk, instrument(records, code))
    one, counts = life["one"], life["counts"]
    bought = ", ".join(
        part
        for part in (
            one.family and words.get(f"families.{one.family}", one.family),
            one.size and shown.size_of(one.size, words),
        )
        if part
    )
    facts = [
        (say("instruments.what"), bought or say("site.not_stated")),
        (say("instruments.material"), one.material or say("site.not_stated")),
        (say("instruments.single_use"), say("site.yes") if one.single_use else say("site.no")),
        (say("instruments.kit"), life["kit"] or say("site.none")),
    ]
    story: list[Flowable] = [_text(say("report.instrument", code=code), TITLE), _table([("", ""), *facts], (0.3, 0.7))]
    story.append(_text(say("instruments.count", **{name: counts[name] for name in ("used", "cleaned", "sterilised")})))
    if one.single_use and counts["used"]:
        story.append(_text(say("instruments.single_use_used", used=counts["used"]), STRONG))
    if life["discarded"]:
        gone = life["discarded"]
        story.append(
            _text(
                say("decision.gone", code=code, when=when(gone.at), reason=gone.reason, initials=gone.initials), STRONG
            )
        )
    story += [KeepTogether([Spacer(1, 4), PlotDrawing(plot, WIDTH * 0.6)]) for plot in life["plots"]]
    story.append(_text(say("instruments.timeline"), HEAD))
    story.append(
        _table(
            [(say("records.at"), say("records.what")), *((when(e.at), _entry(e, desk)) for e in life["entries"])],
            (0.22, 0.78),
        )
    )
    return _built(story, desk, say("report.instrument", code=code))


def month_pdf(desk: Desk, name: str) -> bytes:
    """Return the report of a month. Raises RecordsError."""
    say, words = desk.say, desk.words
    with desk.records() as records:
        month = month_of(records, name)
    rows = [
        (say("report.count_readings"), str(month.readings)),
        (say("report.count_failed"), str(month.failed)),
        (say("report.count_discards"), str(len(month.discards))),
        *((f"{say('records.call')}: {shown.call_of(call, words)}", str(times)) for call, times in month.calls.items()),
    ]
    story: list[Flowable] = [_text(say("report.month", month=name), TITLE), _table([("", ""), *rows], (0.5, 0.5))]
    head = tuple(say(f"records.{name}") for name in ("when", "what", "call", "findings", "instrument"))
    lines = [
        (
            when(hit.read_at),
            f"{words.get(f'families.{hit.family}', say('words.family_open'))}, {shown.size_of(hit.size, words)}"
            if hit.number
            else say("records.error"),
            shown.call_of(hit.call, words) if hit.call else hit.error_kind or "",
            (hit.findings or "").strip("[]").replace('"', ""),
            hit.instrument or "",
        )
        for hit in month.hits
    ]
    story.append(_table([head, *lines], (0.2, 0.25, 0.17, 0.2, 0.18)) if lines else _text(say("report.no_readings")))
    story.append(_text(say("records.discards"), HEAD))
    story += [_text(f"{when(d.at)}  {d.code}: {d.reason} ({d.initials})") for d in month.discards] or [
        _text(say("site.nothing_yet"))
    ]
    return _built(story, desk, say("report.month", month=name))


def _numbers(rows: Sequence[Any], say: Any) -> list[Flowable]:
    head = tuple(say(f"reading.{name}") for name in ("quantity", "value", "u", "limits_of", "largest"))
    lines = [
        (
            r.words,
            f"{r.value} {r.unit}",
            r.u,
            f"{r.verdict or ''} {f'({r.limits})' if r.limits else ''}",
            r.parts[0].label if r.parts else "",
        )
        if r.value is not None
        else (r.words, say("reading.not_measured"), "", "", "")
        for r in rows
    ]
    return [
        _text(say("reading.measured"), HEAD),
        _table([head, *lines], (0.2, 0.22, 0.13, 0.25, 0.2)),
        _text(say("reading.u_means")),
    ]


def _evidence(page: dict[str, Any], one: dict[str, Any], say: Any) -> list[Flowable]:
    made: list[Flowable] = [_text(say("reading.evidence"), HEAD)]
    for sure in page["sure"]:
        how = say("words.sure", percent=sure.percent) if sure.percent else ""
        why = f"{say('reading.evidence_from')} {'; '.join(sure.evidence)}" if sure.evidence else ""
        else_ = (
            f"{say('reading.others') if sure.decided else say('reading.others_open')}: {sure.others}"
            if sure.others
            else ""
        )
        made.append(_text("; ".join(part for part in (f"{sure.what}: {sure.value}", how, why, else_) if part)))
    return made + [_text(f"{say('reading.notes')}: {note}") for note in one["notes"]]


def _visible(page: dict[str, Any], say: Any) -> list[Flowable]:
    visible = page["visible"]
    made = [_text(say("reading.visible"), HEAD), _text(say("reading.seen_share", share=visible.share))]
    if visible.smallest:
        made.append(_text(f"{say('reading.smallest')}: {'; '.join(visible.smallest)}."))
    if visible.not_at_all:
        made.append(_text(f"{say('reading.invisible')}: {', '.join(visible.not_at_all)}."))
    made.append(_text(say("reading.always_hidden")))
    if page["advice"]:
        made.append(_text(say("reading.advice"), HEAD))
        made += [_text(f"- {say(f'advice.{name}', **filled)}") for name, filled in page["advice"]]
    return made


def _judged(page: dict[str, Any], desk: Desk, say: Any) -> list[Flowable]:
    made: list[Flowable] = [_text(say("person.title"), HEAD)]
    for said in page["judgements"]:
        parts = [say(f"person.{said.kind}", initials=said.initials, when=when(said.at))]
        if said.family:
            parts.append(say("person.as_family", family=desk.words.get(f"families.{said.family}", said.family)))
        if said.size is not None:
            parts.append(say("person.as_size", size=said.size))
        made.append(_text("; ".join([*parts, *([said.note] if said.note else [])])))
    return made if page["judgements"] else [*made, _text(say("person.nobody"))]


def _cautions(lines: Sequence[str], say: Any) -> list[Flowable]:
    return [_text(say("reading.cautions"), HEAD), *(_text(f"- {line}") for line in lines)]


def _entry(entry: Any, desk: Desk) -> str:
    """Return a line of the timeline in words."""
    say, words, f = desk.say, desk.words, entry.facts
    family = words.get(f"families.{f.get('family')}", say("words.family_open"))
    what = f"{family}, {shown.size_of(f.get('size'), words)}"
    if entry.kind == "reading":
        text = say("timeline.reading", number=f["reading_id"], what=what, call=shown.call_of(f["call"], words))
    elif entry.kind == "judgement":
        name = "timeline.confirmed" if f["said"] == "confirmed" else "timeline.corrected"
        text = say(name, initials=f["initials"], number=f["reading_id"], what=what)
    elif entry.kind == "event":
        done = say(f"instruments.{f['done']}")
        name = "timeline.event_cycle" if f["cycle"] else "timeline.event"
        text = say(name, done=done, cycle=f["cycle"], initials=f["initials"])
    elif entry.kind == "decision":
        text = say(
            "timeline.decision", initials=f["initials"], decision=say(f"decision.{f['decision'].replace(' ', '_')}")
        )
    elif entry.kind == "discard":
        text = say("timeline.discard", reason=f["reason"], initials=f["initials"])
    else:
        text = say("timeline.added")
    return f"{text}; {say('timeline.note', note=f['note'])}" if f.get("note") else text


def _text(text: str, style: ParagraphStyle = BODY) -> Paragraph:
    return Paragraph(escape(text), style)


def _table(rows: Sequence[Sequence[str]], shares: Sequence[float]) -> Table:
    cells = [[_text(cell) for cell in row] for row in rows]
    if not any(rows[0]):
        cells = cells[1:]
    return Table(cells, colWidths=[share * WIDTH for share in shares], style=RULES, repeatRows=1 if any(rows[0]) else 0)


def _built(story: list[Flowable], desk: Desk, title: str) -> bytes:
    say, stream = desk.say, io.BytesIO()
    made_at = say("report.made", version=version(), when=when(now()))

    def foot(canvas: Any, document: Any) -> None:
        canvas.setFont(BOLD, 9)
        canvas.drawString(MARGIN_MM * mm, 11 * mm, say("site.limits"))
        canvas.setFont(PLAIN, 8)
        canvas.drawString(MARGIN_MM * mm, 7 * mm, f"{made_at}; {say('report.page', number=document.page)}")

    template = SimpleDocTemplate(
        stream, pagesize=A4, leftMargin=MARGIN_MM * mm, rightMargin=MARGIN_MM * mm, topMargin=14 * mm, bottomMargin=18 * mm,
        title=title, author="Flutegauge", invariant=1,
    )  # fmt: skip
    template.build(story, onFirstPage=foot, onLaterPages=foot)
    return stream.getvalue()
