"""The programme interface: the same JSON as the command line, described by /api/openapi.json.

Whatever changes something needs the header 'x-flutegauge-token'; GET /api/token gives it to programmes on this computer (a web
page of another origin can neither read that answer nor set the header).
"""

from __future__ import annotations

import asyncio
from dataclasses import asdict, replace
from typing import Annotated, Any

from fastapi import APIRouter, File, Form, Path, Query, UploadFile
from pydantic import BaseModel, Field
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from vision.desk import asked
from vision.desk.access import check_header
from vision.desk.answers import Answers
from vision.desk.intake import cancel as end_job
from vision.desk.intake import take_in
from vision.desk.jobs import Job
from vision.desk.pages_read import job_state, known_job
from vision.desk.settings import Desk
from vision.photo import NAMED
from vision.records.faults import RecordsError
from vision.records.history import add_event, decide, judge, judgements
from vision.records.instruments import NewInstrument, add_instrument, change_instrument, instrument
from vision.records.readings import assign, examined, reading, trace
from vision.records.search import MOST_COUNTED, find
from vision.records.search_instruments import list_instruments
from vision.records.timeline import timeline
from vision.report.document import FORMAT

Json = dict[str, Any]
Number = Annotated[int, Path(ge=1, lt=2**63)]
Photos = Annotated[list[UploadFile], File(description=NAMED)]
HELD = Form(description="the shank was held down level")
WAIT_S, MOST_OFFSET = 0.1, 10_000


class InstrumentSent(BaseModel):
    """An instrument: its own code and what it was bought as. ``edition``: the one that is being changed."""

    code: str
    family: str | None = None
    size: int | None = Field(None, ge=1, le=200)
    length_mm: float | None = Field(None, ge=5, le=60)
    material: str | None = None
    single_use: bool = False
    slot: str | None = Field(None, max_length=12)
    note: str | None = Field(None, max_length=300)
    edition: int | None = None

    def new(self) -> NewInstrument:
        """Return it as the records take it."""
        return NewInstrument(**self.model_dump(exclude={"edition"}))


class EventSent(BaseModel):
    """A use or a step of a cycle: 'used', 'cleaned' or 'sterilised'."""

    kind: str
    initials: str
    cycle: str | None = Field(None, max_length=24)
    note: str | None = Field(None, max_length=300)


class JudgementSent(BaseModel):
    """A person's word on a reading: nothing but initials confirms it, anything else corrects it."""

    initials: str
    family: str | None = None
    size: int | None = Field(None, ge=1, le=200)
    note: str | None = Field(None, max_length=300)


class DecisionSent(BaseModel):
    """A person's decision: 'discard', 'look again' or 'back to the cycle'."""

    decision: str
    initials: str
    examined_id: int | None = Field(None, ge=1, lt=2**63)
    note: str | None = Field(None, max_length=300)


def routes(desk: Desk, answers: Answers) -> APIRouter:  # noqa: ARG001 - every group is made alike
    """Return the routes of this group."""
    router = APIRouter(prefix="/api")
    _measuring(router, desk)
    _reading(router, desk)
    _writing(router, desk)
    return router


def merged(documents: list[Json]) -> Json:
    """Return one document of several photos, as the command line writes it for one run."""
    first = documents[0]
    cautions = max((one.get("cautions", []) for one in documents), key=len)
    return first | {"photos": [photo for one in documents for photo in one["photos"]], "cautions": cautions}


def _measuring(router: APIRouter, desk: Desk) -> None:
    @router.get("/token", summary="the token that changing calls send as x-flutegauge-token")
    def token() -> Json:
        return {"token": desk.token}

    @router.post("/photos", status_code=202, summary="queue photos to be read; answers with the job")
    async def photos(
        request: Request,
        photos: Photos,
        held: Annotated[bool, HELD] = False,
        px_per_mm: Annotated[float | None, Form(gt=0)] = None,
        px_per_mm_u: Annotated[float | None, Form(ge=0)] = None,
        instrument: Annotated[str | None, Form(description="code of the instrument")] = None,
    ) -> Json:
        job = await _taken(request, desk, photos, _wishes(held, px_per_mm, px_per_mm_u, instrument))
        return job_state(desk, job)

    @router.post(
        "/measure", summary="read photos, wait, and answer with the document that 'flutegauge measure --json' writes"
    )
    async def measure(
        request: Request,
        photos: Photos,
        held: Annotated[bool, HELD] = False,
        px_per_mm: Annotated[float | None, Form(gt=0)] = None,
        px_per_mm_u: Annotated[float | None, Form(ge=0)] = None,
    ) -> Response:
        job = await _taken(request, desk, photos, _wishes(held, px_per_mm, px_per_mm_u, None))
        while job.state in ("waiting", "reading"):
            await asyncio.sleep(WAIT_S)
        if not job.readings:
            raise RecordsError("refused", " ".join(job.problems) or desk.say("job.cancelled"))
        return JSONResponse(await run_in_threadpool(_documents, desk, job))

    @router.get("/jobs/{name}", summary="how far a job is")
    def job(name: str) -> Json:
        return job_state(desk, known_job(desk, name))

    @router.delete("/jobs/{name}", summary="cancel a job now")
    async def cancel(request: Request, name: str) -> Json:
        check_header(request, desk)
        known = known_job(desk, name)
        await run_in_threadpool(end_job, desk, known)
        return job_state(desk, known)


def _documents(desk: Desk, job: Job) -> Json:
    with desk.records() as records:
        return merged([reading(records, number).document for number in job.readings])


async def _taken(request: Request, desk: Desk, photos: list[UploadFile], wishes: Json) -> Job:
    check_header(request, desk)
    arrived = [(one.filename, await one.read()) for one in photos]
    return await run_in_threadpool(take_in, desk, arrived, wishes)


def _wishes(held: bool, scale: float | None, u: float | None, code: str | None) -> Json:
    return {
        "held": held,
        "px_per_mm": None if scale is None else str(scale),
        "px_per_mm_u": None if u is None else str(u),
        "instrument": code,
    }


def _reading(router: APIRouter, desk: Desk) -> None:
    @router.get("/readings", summary=f"search the readings, newest first; 'total' counts up to {MOST_COUNTED + 1}")
    def readings(
        request: Request,
        limit: Annotated[int, Query(ge=1, le=500)] = 50,
        offset: Annotated[int, Query(ge=0, le=MOST_OFFSET, description="for more lines use 'before'")] = 0,
        before: Annotated[str | None, Query(description="'place' of the last line that was read")] = None,
    ) -> Json:
        with desk.records() as records:
            hits, total = find(records, asked.wanted(request.query_params), limit=limit, offset=offset, before=before)
        return {"total": total, "hits": [asdict(hit) for hit in hits]}

    @router.get("/readings/{number}", summary=f"one reading: the document {FORMAT} as the command line writes it")
    def one(number: Number) -> Json:
        with desk.records() as records:
            return reading(records, number).document

    @router.get("/readings/{number}/{which}/trace", summary="outline, axis, crests and stations in px, plots in mm")
    def lines(number: Number, which: Number) -> Json:
        with desk.records() as records:
            return trace(records, examined(records, number, which)[0].id) or {}

    @router.get("/readings/{number}/{which}/judgements", summary="what people said of a reading")
    def said(number: Number, which: Number) -> list[Json]:
        with desk.records() as records:
            return [asdict(one) for one in judgements(records, examined(records, number, which)[0].id)]

    @router.get("/instruments", summary="instruments by code, with their first and last reading; the next ones: 'after' the last code")
    def instruments(
        text: Annotated[str, Query(max_length=60)] = "",
        after: Annotated[str | None, Query(max_length=24)] = None,
        limit: Annotated[int, Query(ge=1, le=500)] = 500,
    ) -> list[Json]:
        with desk.records() as records:
            return [asdict(one) for one in list_instruments(records, text, limit=limit, after=after)]

    @router.get("/instruments/{code}", summary="one instrument and its timeline")
    def life(code: str) -> Json:
        with desk.records() as records:
            known = instrument(records, code)
            return asdict(known) | {"timeline": [asdict(entry) for entry in timeline(records, known.id)]}


def _writing(router: APIRouter, desk: Desk) -> None:
    @router.post("/instruments", status_code=201, summary="add an instrument")
    def add(request: Request, sent: InstrumentSent) -> Json:
        check_header(request, desk)
        with desk.records() as records:
            return asdict(add_instrument(records, sent.new()))

    @router.put(
        "/instruments/{code}", summary="change an instrument at the edition that was read; 409 if it has moved on"
    )
    def change(request: Request, code: str, sent: InstrumentSent) -> Json:
        check_header(request, desk)
        with desk.records() as records:
            known = instrument(records, code)
            wanted = replace(sent.new(), kit_id=known.kit_id)
            return asdict(change_instrument(records, known.id, wanted, edition=sent.edition or 0))

    @router.post(
        "/instruments/{code}/events", status_code=201, summary="write down a use, a cleaning or a sterilising cycle"
    )
    def event(request: Request, code: str, sent: EventSent) -> Json:
        check_header(request, desk)
        with desk.records() as records:
            known = instrument(records, code).id
            return {"id": add_event(records, known, sent.kind, sent.initials, cycle=sent.cycle, note=sent.note)}

    @router.post("/instruments/{code}/decisions", status_code=201, summary="write down a person's decision")
    def decision(request: Request, code: str, sent: DecisionSent) -> Json:
        check_header(request, desk)
        with desk.records() as records:
            known = instrument(records, code).id
            return {
                "id": decide(records, known, sent.decision, sent.initials, examined_id=sent.examined_id, note=sent.note)
            }

    @router.post(
        "/readings/{number}/{which}/judgements", status_code=201, summary="confirm or correct a reading, beside it"
    )
    def judged(request: Request, number: Number, which: Number, sent: JudgementSent) -> Json:
        check_header(request, desk)
        with desk.records() as records:
            row = examined(records, number, which)[0].id
            return {"id": judge(records, row, sent.initials, family=sent.family, size=sent.size, note=sent.note)}

    @router.put("/readings/{number}/{which}/instrument", summary="say which instrument it is, by its code")
    def meant(request: Request, number: Number, which: Number, code: Annotated[str, Query(max_length=24)]) -> Json:
        check_header(request, desk)
        with desk.records() as records:
            assign(records, examined(records, number, which)[0].id, instrument(records, code).id)
        return {"code": code}
