"""Pages: choose photos, watch them being read, see a reading, say what a person sees."""

from __future__ import annotations

import time
from typing import Annotated, Any

from fastapi import APIRouter, Path
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from vision.desk import asked
from vision.desk.access import form_of, photos_of
from vision.desk.answers import THEMES, Answers
from vision.desk.intake import cancel as end_job
from vision.desk.intake import drop_waiting, left_over, read_again, read_waiting, take_in
from vision.desk.jobs import Job
from vision.desk.pictures import part, whole
from vision.desk.reading_page import comparison_page, drawing_for, overview_page, reading_page
from vision.desk.settings import MEGABYTE, MOST_PHOTO_MB, MOST_PHOTOS, Desk
from vision.net import versions
from vision.reading import FAMILIES
from vision.records.faults import RecordsError
from vision.records.history import judge
from vision.records.instruments import instrument
from vision.records.readings import assign, examined, reading
from vision.records.reread import MOST_DUE, due, pairs
from vision.records.search import Filter, find
from vision.records.search_instruments import codes_in_use
from vision.report.document import version

Number = Annotated[int, Path(ge=1)]
SEE_OTHER = 303
JPEG = "image/jpeg"


def routes(desk: Desk, answers: Answers) -> APIRouter:
    """Return the routes of this group; none of them is part of the programme interface."""
    router = APIRouter(include_in_schema=False)
    _start(router, desk, answers)
    _jobs(router, desk, answers)
    _readings(router, desk, answers)
    _again(router, desk, answers)
    _persons(router, desk)
    return router


def job_state(desk: Desk, job: Job) -> dict[str, Any]:
    """Return how far a job is, for pages and programmes."""
    usual = desk.bench.usual_s() if desk.bench else None
    until = job.ended or time.monotonic()
    return {
        "id": job.id,
        "state": job.state,
        "number": job.at + 1,
        "total": len(job.tasks),
        "elapsed_s": round(until - job.began, 1) if job.began else 0.0,
        "usual_s": None if usual is None else round(usual, 1),
        "readings": list(job.readings),
        "problems": list(job.problems),
    }


def known_job(desk: Desk, name: str) -> Job:
    """Return a job. Raises RecordsError of kind 'unknown'."""
    job = desk.bench.job(name) if desk.bench else None
    if job is None:
        raise RecordsError("unknown", desk.say("job.unknown", name=name[:16]))
    return job


def _start(router: APIRouter, desk: Desk, answers: Answers) -> None:
    @router.get("/")
    def start(request: Request) -> Response:
        with desk.records() as records:
            latest = find(records, Filter(), limit=5)[0]
            codes = codes_in_use(records)
            unread = left_over(desk, records)
        limits = {"most_mb": MOST_PHOTO_MB, "most_photos": MOST_PHOTOS, "megabyte": MEGABYTE}
        samples = [path.stem for path in desk.sample_photos()]
        return answers.page(request, "start", latest=latest, codes=codes, unread=unread, samples=samples, limits=limits)

    @router.post("/photos")
    async def photos(request: Request) -> Response:
        arrived, form = await photos_of(request, desk)
        job = await run_in_threadpool(take_in, desk, arrived, form)
        return RedirectResponse(f"/jobs/{job.id}", SEE_OTHER)

    @router.post("/samples")
    async def sample(request: Request) -> Response:
        form = await form_of(request, desk)
        known = {path.stem: path for path in desk.sample_photos()}
        path = known.get(str(form.get("sample")))
        if path is None:
            raise RecordsError("unknown", desk.say("problem.not_found"))
        wishes = {"held": "1"} if "-flat" in path.stem else {}  # so they were rendered: 'flat' lies level
        data = await run_in_threadpool(path.read_bytes)
        job = await run_in_threadpool(take_in, desk, [(path.name, data)], wishes)
        return RedirectResponse(f"/jobs/{job.id}", SEE_OTHER)

    @router.post("/waiting")
    async def left(request: Request) -> Response:
        form = await form_of(request, desk)
        if form.get("drop"):
            await run_in_threadpool(drop_waiting, desk)
            return RedirectResponse("/", SEE_OTHER)
        job = await run_in_threadpool(read_waiting, desk)
        return RedirectResponse(f"/jobs/{job.id}", SEE_OTHER)

    @router.post("/theme")
    async def theme(request: Request) -> Response:
        form = await form_of(request, desk)
        back = str(form.get("back") or "/")
        answer = RedirectResponse(back if back.startswith("/") and not back.startswith("//") else "/", SEE_OTHER)
        wanted = str(form.get("theme"))
        answer.set_cookie(
            "theme", wanted if wanted in THEMES else "auto", max_age=10**8, httponly=True, samesite="strict"
        )
        return answer


def _jobs(router: APIRouter, desk: Desk, answers: Answers) -> None:
    @router.get("/jobs/{name}")
    def job(request: Request, name: str) -> Response:
        known = known_job(desk, name)
        state = job_state(desk, known)
        tray = "-".join(map(str, state["readings"])) if all(task.settings.get("tray") for task in known.tasks) else ""
        if state["state"] == "done" and tray and not state["problems"]:
            return RedirectResponse(f"/trays/{tray}", SEE_OTHER)
        if state["state"] == "done" and len(state["readings"]) == 1 and not state["problems"]:
            return RedirectResponse(f"/readings/{state['readings'][0]}", SEE_OTHER)
        return answers.page(request, "job", job=state, tray=tray)

    @router.post("/jobs/{name}/cancel")
    async def cancel(request: Request, name: str) -> Response:
        await form_of(request, desk)
        known = known_job(desk, name)
        await run_in_threadpool(end_job, desk, known)
        return RedirectResponse(f"/jobs/{name}", SEE_OTHER)


def _readings(router: APIRouter, desk: Desk, answers: Answers) -> None:
    @router.get("/readings/{number}")
    def one(request: Request, number: Number) -> Response:
        with desk.records() as records:
            kept = reading(records, number)
            if len(kept.photo["instruments"]) == 1:
                page = reading_page(records, desk.words, kept, kept.photo["instruments"][0]["id"])
                return answers.page(request, "reading", **page)
            return answers.page(request, "overview", **overview_page(records, desk.words, kept))

    @router.get("/readings/{number}/{which}")
    def one_of(request: Request, number: Number, which: Number) -> Response:
        with desk.records() as records:
            return answers.page(
                request, "reading", **reading_page(records, desk.words, reading(records, number), which)
            )

    @router.get("/readings/{number}/{which}/picture.jpg")
    def picture(number: Number, which: Number) -> Response:
        with desk.records() as records:
            kept = reading(records, number)
            drawn = drawing_for(records, kept, which)
            if drawn is None or kept.photo_sha256 is None:
                raise RecordsError("unknown", desk.say("reading.picture_none"))
            return Response(part(records, kept.photo_sha256, drawn.crop), media_type=JPEG)

    @router.get("/photos/{sha256}.jpg")
    def photo(sha256: str) -> Response:
        with desk.records() as records:
            return Response(whole(records, sha256), media_type=JPEG)


def _again(router: APIRouter, desk: Desk, answers: Answers) -> None:
    @router.get("/compare/{old}/{new}")
    def compare(request: Request, old: Number, new: Number) -> Response:
        with desk.records() as records:
            page = comparison_page(desk.words, reading(records, old), reading(records, new))
        return answers.page(request, "compare", **page)

    @router.get("/again")
    def outdated(request: Request) -> Response:
        with desk.records() as records:
            waiting = due(records, version(), versions())
            return answers.page(request, "again", due=waiting, pairs=pairs(records), most=MOST_PHOTOS, most_due=MOST_DUE)

    @router.post("/again")
    async def all_again(request: Request) -> Response:
        await form_of(request, desk)
        with desk.records() as records:
            waiting = due(records, version(), versions())
        if not waiting:
            raise RecordsError("unknown", desk.say("again.none"))
        job = await run_in_threadpool(read_again, desk, waiting)
        return RedirectResponse(f"/jobs/{job.id}", SEE_OTHER)

    @router.post("/readings/{number}/again")
    async def again(request: Request, number: Number) -> Response:
        await form_of(request, desk)
        job = await run_in_threadpool(read_again, desk, [number])
        return RedirectResponse(f"/jobs/{job.id}", SEE_OTHER)


def _persons(router: APIRouter, desk: Desk) -> None:
    @router.post("/readings/{number}/{which}/judge")
    async def judged(request: Request, number: Number, which: Number) -> Response:
        form = await form_of(request, desk)
        correcting = form.get("kind") == "corrected"
        family = asked.one_of(form, "family", FAMILIES) if correcting else None
        size = asked.whole(form, "size", 1, 200) if correcting else None
        note = asked.text(form, "note") if correcting else None
        if correcting and family is None and size is None and note is None:
            raise asked.AskedError("correction")
        with desk.records() as records:
            judge(
                records,
                examined(records, number, which)[0].id,
                str(form.get("initials") or ""),
                family=family,
                size=size,
                note=note,
            )
        return RedirectResponse(f"/readings/{number}/{which}#person", SEE_OTHER)

    @router.post("/readings/{number}/{which}/instrument")
    async def meant(request: Request, number: Number, which: Number) -> Response:
        form = await form_of(request, desk)
        code = asked.text(form, "code", 24)
        with desk.records() as records:
            one = examined(records, number, which)[0]
            assign(records, one.id, instrument(records, code).id if code else None)
        return RedirectResponse(f"/readings/{number}/{which}#which", SEE_OTHER)
