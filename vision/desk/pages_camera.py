"""Pages: the live camera with its coach, and the combined reading that a guided run ends in."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Path
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from vision.desk import asked, shown
from vision.desk.access import form_of, photos_of
from vision.desk.answers import Answers
from vision.desk.before_photo import first_lines
from vision.desk.live_process import LiveEye
from vision.desk.live_runs import LiveRun, LiveRuns, lenses
from vision.desk.live_told import told
from vision.desk.settings import Desk
from vision.live.guide import PHOTOS
from vision.live.judge import LEAST_PX_PER_MM, ORDER, least_width_px
from vision.records.combined import combined
from vision.records.faults import RecordsError
from vision.records.search_instruments import codes_in_use

Json = dict[str, Any]
Number = Annotated[int, Path(ge=1, lt=2**63)]
MOST_FRAME_BYTES = 12 * 2**20


def routes(desk: Desk, answers: Answers) -> APIRouter:
    """Return the routes of this group."""
    runs = LiveRuns(desk.eye or LiveEye(desk.say("camera.eye_gone")))
    router = APIRouter(include_in_schema=False)
    _page(router, desk, answers)
    _runs(router, desk, runs)
    _combined(router, desk, answers)
    return router


def _page(router: APIRouter, desk: Desk, answers: Answers) -> None:
    @router.get("/camera")
    def camera(request: Request) -> Response:
        with desk.records() as records:
            codes = codes_in_use(records)
        return answers.page(
            request, "camera", codes=codes, plans=tuple(PHOTOS), cameras=tuple(lenses(desk)), checks=ORDER,
            least_width=round(least_width_px()), least_scale=round(LEAST_PX_PER_MM),
        )  # fmt: skip


def _runs(router: APIRouter, desk: Desk, runs: LiveRuns) -> None:
    @router.post("/camera/runs")
    async def begin(request: Request) -> Response:
        form = await form_of(request, desk)
        return JSONResponse(_state(await run_in_threadpool(runs.begin, desk, form), desk))

    @router.get("/camera/runs/{name}")
    def state(name: str) -> Response:
        return JSONResponse(_state(runs.known(desk, name), desk))

    @router.post("/camera/runs/{name}/frame")
    async def frame(request: Request, name: str) -> Response:
        run, (data, form) = runs.known(desk, name), await _one(request, desk)
        if len(data) > MOST_FRAME_BYTES:
            raise RecordsError("invalid", desk.say("camera.frame_large"))
        finer = asked.number(form, "finer", 0.1, 20.0) or 1.0
        look, advice, spent = await run_in_threadpool(runs.watch, run, data, finer)
        return JSONResponse(told(look, advice, desk.say) | {"ms": spent})

    @router.post("/camera/runs/{name}/photo")
    async def photo(request: Request, name: str) -> Response:
        run, (data, _) = runs.known(desk, name), await _one(request, desk)
        await run_in_threadpool(runs.take, desk, run, data)
        return JSONResponse(_state(run, desk))

    @router.post("/camera/runs/{name}/finish")
    async def finish(request: Request, name: str) -> Response:
        await form_of(request, desk)
        run = runs.known(desk, name)
        await run_in_threadpool(runs.finish, desk, run)
        return JSONResponse(_state(run, desk))


def _combined(router: APIRouter, desk: Desk, answers: Answers) -> None:
    @router.get("/combined/{number}")
    def page(request: Request, number: Number) -> Response:
        with desk.records() as records:
            kept = combined(records, number)
            first = first_lines(records, desk.words, kept.one["condition"], None)
        one, words = kept.one, desk.words
        rows = shown.rows_of(one, words)
        d0 = [(name, None if value is None else shown.texts(value)) for name, value in zip(one["photos"], one["d0_each_mm"], strict=True)]
        return answers.page(
            request, "combined", kept=kept, one=one, name=shown.name_of(one, words), rows=rows, key=shown.key_rows(rows),
            sure=shown.sure_of(one, words), call=shown.call_of(one["condition"]["call"], words), found=shown.found_in(one, words),
            first=first, visible=shown.visible_in(one, words), each=d0, readings=kept.readings,
        )  # fmt: skip


async def _one(request: Request, desk: Desk) -> tuple[bytes, dict[str, str]]:
    """The one picture of a form whose token is ours. Raises ExpiredError, RecordsError."""
    files, form = await photos_of(request, desk)
    if len(files) != 1:
        raise RecordsError("invalid", desk.say("upload.none"))
    return files[0][1], form


def _state(run: LiveRun, desk: Desk) -> Json:
    """How far a run is: each photo with its reading, and the combined reading once it is there."""
    photos = []
    for number, job in enumerate(run.jobs, start=1):
        waits = job.state in ("waiting", "reading")
        words = "photo_waits" if waits else "photo_read" if job.readings else "photo_failed"
        photos.append({"words": desk.say(f"camera.{words}", number=number), "reading": job.readings[0] if job.readings else None})
    jobs = (*run.jobs, *run.combining)
    numbers = [number for job in run.combining for number in job.combined]
    problems = [line for job in jobs for line in job.problems]
    busy = any(job.state in ("waiting", "reading") for job in jobs)
    return {
        "id": run.id,
        "plan": run.run.plan,
        "taken": len(run.jobs),
        "wanted": PHOTOS[run.run.plan],
        "complete": run.run.complete,
        "photos": photos,
        "problems": problems,
        "busy": busy,
        "combining": bool(run.combining),
        "combined": numbers[-1] if numbers else None,
    }
