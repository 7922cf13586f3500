"""The report of a reading as PDF, black on white. Meaning is in words, shapes and letters."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from reportlab.platypus import Flowable, Spacer, Table

from vision.desk.answers import when
from vision.desk.pdf_drawing import PhotoDrawing, PlotDrawing
from vision.desk.pdf_pages import HEAD, STRONG, TITLE, WIDTH, built, table, text
from vision.desk.pictures import part
from vision.desk.reading_page import reading_page
from vision.desk.settings import Desk
from vision.records.readings import KeptReading, reading
from vision.report.cautions import SHORT


def reading_pdf(desk: Desk, number: int, which: int) -> bytes:
    """Return the report of one instrument in one reading. Raises RecordsError."""
    say = desk.say
    with desk.records() as records:
        kept = reading(records, number)
        page = reading_page(records, desk.words, kept, which)
        shows = page["drawing"] is not None and page["has_photo"] and kept.photo_sha256
        photo = part(records, str(kept.photo_sha256), page["drawing"].crop) if shows else None
    story: list[Flowable] = [
        *_head(page, kept, say),
        *_pictures(page, photo),
        *_numbers(page["rows"], say),
        *_evidence(page, page["one"], say),
        *_visible(page, say),
        *_judged(page, desk, say),
        *_cautions(kept.document.get("cautions") or SHORT, say),
    ]
    models = ", ".join(f"{name} {digest}" for name, digest in kept.models.items())
    story.append(text(f"{say('reading.software', version=kept.software)}; {models}"))
    return built(story, desk, say("report.reading", number=number))


def _head(page: dict[str, Any], kept: KeptReading, say: Any) -> Iterator[Flowable]:
    """What it is, the call, its limits in the same weight, the findings."""
    condition = page["one"]["condition"]
    meant = f"; {say('which.is', code=page['instrument'].code)}" if page["instrument"] else ""
    yield text(page["name"], TITLE)
    yield text(say("reading.of", file=kept.file, when=when(kept.read_at)) + meant)
    yield Spacer(1, 4)
    for line in page["first"]:
        yield text(f"{say('reading.first')} {line}")
    yield text(f"{say('reading.call')}: {'; '.join((page['call'], *condition.get('reasons', ())))}", STRONG)
    yield text(f"{say('reading.limits')}: {condition['limits']}", STRONG)
    for found in page["found"]:
        where = f"{found.where[0]:.1f}–{found.where[1]:.1f} {say('reading.place_unit')}"
        sure = say("words.sure", percent=found.percent)
        yield text(f"{found.letter}  {found.kind}: {found.strength}, {where}, {sure}")


def _pictures(page: dict[str, Any], photo: bytes | None) -> Iterator[Flowable]:
    if page["drawing"] is not None:
        yield Spacer(1, 5)
        yield PhotoDrawing(page["drawing"], photo, WIDTH)
        yield Spacer(1, 6)
    if page["plots"]:
        plots = [PlotDrawing(plot, WIDTH / 2 - 6) for plot in page["plots"]]
        yield Table([plots], colWidths=[WIDTH / 2] * len(plots), style=[("LEFTPADDING", (0, 0), (-1, -1), 0)])


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
        text(say("reading.measured"), HEAD),
        table([head, *lines], (0.2, 0.22, 0.13, 0.25, 0.2)),
        text(say("reading.u_means")),
    ]


def _evidence(page: dict[str, Any], one: dict[str, Any], say: Any) -> list[Flowable]:
    made: list[Flowable] = [text(say("reading.evidence"), HEAD)]
    for sure in page["sure"]:
        how = say("words.sure", percent=sure.percent) if sure.percent else ""
        why = f"{say('reading.evidence_from')} {'; '.join(sure.evidence)}" if sure.evidence else ""
        else_ = (
            f"{say('reading.others') if sure.decided else say('reading.others_open')}: {sure.others}"
            if sure.others
            else ""
        )
        made.append(text("; ".join(part for part in (f"{sure.what}: {sure.value}", how, why, else_) if part)))
    return made + [text(f"{say('reading.notes')}: {note}") for note in one["notes"]]


def _visible(page: dict[str, Any], say: Any) -> list[Flowable]:
    visible = page["visible"]
    made = [text(say("reading.visible"), HEAD), text(say("reading.seen_share", share=visible.share))]
    if visible.smallest:
        made.append(text(f"{say('reading.smallest')}: {'; '.join(visible.smallest)}."))
    if visible.not_at_all:
        made.append(text(f"{say('reading.invisible')}: {', '.join(visible.not_at_all)}."))
    made.append(text(say("reading.always_hidden")))
    if page["advice"]:
        made.append(text(say("reading.advice"), HEAD))
        made += [text(f"- {say(f'advice.{name}', **filled)}") for name, filled in page["advice"]]
    return made


def _judged(page: dict[str, Any], desk: Desk, say: Any) -> list[Flowable]:
    made: list[Flowable] = [text(say("person.title"), HEAD)]
    for said in page["judgements"]:
        parts = [say(f"person.{said.kind}", initials=said.initials, when=when(said.at))]
        if said.family:
            parts.append(say("person.as_family", family=desk.words.get(f"families.{said.family}", said.family)))
        if said.size is not None:
            parts.append(say("person.as_size", size=said.size))
        made.append(text("; ".join([*parts, *([said.note] if said.note else [])])))
    return made if page["judgements"] else [*made, text(say("person.nobody"))]


def _cautions(lines: Sequence[str], say: Any) -> list[Flowable]:
    return [text(say("reading.cautions"), HEAD), *(text(f"- {line}") for line in lines)]
