"""Pages: the list of instruments, one instrument's life, uses and cycles, decisions."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from vision.desk import asked
from vision.desk.access import form_of
from vision.desk.answers import Answers
from vision.desk.plots import trend_plot
from vision.desk.settings import Desk
from vision.reading import FAMILIES
from vision.records.database import Records
from vision.records.faults import ConflictError
from vision.records.history import DECISIONS, EVENTS, add_event, decide, discarded
from vision.records.instruments import (
    MATERIALS,
    Instrument,
    NewInstrument,
    add_instrument,
    change_instrument,
    instrument,
    kit,
    kit_code,
    kits,
)
from vision.records.readings import assign, examined_by_id
from vision.records.search_instruments import count_instruments, list_instruments
from vision.records.tags import tag_of
from vision.records.timeline import TRENDS, counts, timeline, trend
from vision.report.words import MEASURED

SEE_OTHER = 303
PAGE = 50
CONFLICT = 409


def routes(desk: Desk, answers: Answers) -> APIRouter:
    """Return the routes of this group."""
    router = APIRouter(include_in_schema=False)
    _lists(router, desk, answers)
    _changes(router, desk, answers)
    _events(router, desk)
    return router


def life_of(records: Records, desk: Desk, one: Instrument) -> dict[str, Any]:
    """Return everything the page and the report of one instrument show."""
    titles = {name: f"{desk.words[f'words.{name}']}, {unit}" for name, _, unit in MEASURED if name in TRENDS}
    plots = [trend_plot(name, titles[name], trend(records, one.id, name)) for name in TRENDS]
    return {
        "one": one,
        "kit": kit_code(records, one.kit_id),
        "entries": timeline(records, one.id)[::-1],
        "plots": [plot for plot in plots if plot],
        "counts": {"used": 0, "cleaned": 0, "sterilised": 0} | counts(records, one.id),
        "discarded": discarded(records, one.id),
        "tag": tag_of(records, one.id),
    }


def _lists(router: APIRouter, desk: Desk, answers: Answers) -> None:
    @router.get("/instruments")
    def instruments(request: Request, text: str = "") -> Response:
        text, query = text[:60], request.query_params
        after, before = asked.text(query, "after", 24), asked.text(query, "before", 24)
        with desk.records() as records:
            listed = list_instruments(records, text, limit=PAGE + 1, after=after, before=before)
            total = count_instruments(records, text)
        more, backward = len(listed) > PAGE, before is not None and after is None
        listed = (listed[1:] if backward else listed[:-1]) if more else listed
        earlier, later = (more, True) if backward else (after is not None, more)
        return answers.page(request, "instruments", listed=listed, text=text, total=total, earlier=earlier, later=later)

    @router.get("/instruments/new")
    def new(request: Request, code: str = "", examined_id: int | None = None) -> Response:
        empty = NewInstrument(code[:24])
        with desk.records() as records:
            if examined_id is not None:
                read = examined_by_id(records, examined_id)
                empty = NewInstrument(code[:24], read.family, read.size)
            return answers.page(request, "instrument_form", **_form(records, empty, None, examined_id))

    @router.get("/instruments/{code}")
    def one(request: Request, code: str) -> Response:
        with desk.records() as records:
            known = instrument(records, code)
            return answers.page(
                request, "instrument", events=EVENTS, decisions=DECISIONS, **life_of(records, desk, known)
            )

    @router.get("/instruments/{code}/change")
    def change(request: Request, code: str) -> Response:
        with desk.records() as records:
            known = instrument(records, code)
            return answers.page(request, "instrument_form", **_form(records, known, known, None))


def _changes(router: APIRouter, desk: Desk, answers: Answers) -> None:
    @router.post("/instruments/new")
    async def add(request: Request) -> Response:
        form = await form_of(request, desk)
        with desk.records() as records:
            made = add_instrument(records, asked.instrument(form, _kit(records, form)))
            read = asked.whole(form, "examined_id", 1, 10**9)
            if read is None:
                return RedirectResponse(f"/instruments/{made.code}", SEE_OTHER)
            assign(records, read, made.id)
            shown = examined_by_id(records, read)
        return RedirectResponse(f"/readings/{shown.reading_id}/{shown.number}#which", SEE_OTHER)

    @router.post("/instruments/{code}/change")
    async def change(request: Request, code: str) -> Response:
        form = await form_of(request, desk)
        with desk.records() as records:
            known = instrument(records, code)
            wanted = asked.instrument(form, _kit(records, form))
            try:
                made = change_instrument(records, known.id, wanted, edition=asked.whole(form, "edition", 1, 10**9) or 0)
            except ConflictError as conflict:  # what was typed stays in the form, beside what is kept now
                page = _form(records, wanted, known, None) | {"conflict": conflict.message}
                return answers.page(request, "instrument_form", status=CONFLICT, **page)
        return RedirectResponse(f"/instruments/{made.code}", SEE_OTHER)


def _events(router: APIRouter, desk: Desk) -> None:
    @router.post("/instruments/{code}/events")
    async def event(request: Request, code: str) -> Response:
        form = await form_of(request, desk)
        with desk.records() as records:
            add_event(
                records, instrument(records, code).id, str(form.get("kind")), str(form.get("initials") or ""),
                cycle=asked.text(form, "cycle", 24), note=asked.text(form, "note"),
            )  # fmt: skip
        return RedirectResponse(f"/instruments/{code}#timeline", SEE_OTHER)

    @router.post("/instruments/{code}/decisions")
    async def decision(request: Request, code: str) -> Response:
        form = await form_of(request, desk)
        with desk.records() as records:
            decide(
                records, instrument(records, code).id, str(form.get("decision")), str(form.get("initials") or ""),
                examined_id=asked.whole(form, "examined_id", 1, 10**9), note=asked.text(form, "note"),
            )  # fmt: skip
        return RedirectResponse(f"/instruments/{code}#timeline", SEE_OTHER)


def _form(records: Records, typed: NewInstrument, kept: Instrument | None, examined_id: int | None) -> dict[str, Any]:
    return {
        "typed": typed,
        "kept": kept,
        "examined_id": examined_id,
        "kits": kits(records),
        "families": FAMILIES,
        "materials": MATERIALS,
        "conflict": None,
    }


def _kit(records: Records, form: Mapping[str, Any]) -> int | None:
    code = asked.text(form, "kit", 24)
    return None if code is None else kit(records, code, make=True).id
