"""What a phone on the local network reaches: pair, take a photo, see its reading. No record, no other page, no interface.

It is an application of its own on a socket of its own; the desk itself stays on this computer alone. A phone sees the jobs that it
sent and nothing else. Plain HTTP: whoever listens in the network can read along, which the desk's page says.
"""

from __future__ import annotations

import asyncio
from importlib.resources import files
from typing import Any

from fastapi import FastAPI
from starlette.concurrency import run_in_threadpool
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import FileResponse, RedirectResponse, Response

from vision.desk import shown
from vision.desk.access import photos_of
from vision.desk.answers import Answers
from vision.desk.guard import Guard
from vision.desk.intake import take_in
from vision.desk.jobs import Job
from vision.desk.pairing import SESSION_S, Session
from vision.desk.problems import explain_problems
from vision.desk.settings import MEGABYTE, MOST_PHOTO_MB, Desk
from vision.desk.share import Share
from vision.records.faults import RecordsError
from vision.records.readings import reading

SEE_OTHER = 303
COOKIE = "flutegauge-phone"
STATIC = {"desk.css": "text/css", "reading.css": "text/css", "phone.js": "text/javascript", "icon.svg": "image/svg+xml"}
WRONG_PAUSE_S = 0.5
MOST_PHONE_PHOTOS = 6


def make_phone_app(desk: Desk, share: Share) -> FastAPI:
    """Return the application that phones reach. ``desk`` has its bench."""
    answers = Answers(desk)
    hosts = {f"{share.host}:{share.port}"}
    most = (MOST_PHOTO_MB + 1) * MEGABYTE
    guard = Middleware(Guard, port=share.port, most_bytes=most, refuse=answers.refusal, hosts=hosts)
    app = FastAPI(openapi_url=None, docs_url=None, redoc_url=None, middleware=[guard])
    _pairing(app, share, answers, desk)
    _photos(app, share, answers, desk)
    explain_problems(app, desk, answers)
    return app


def _pairing(app: FastAPI, share: Share, answers: Answers, desk: Desk) -> None:
    @app.get("/")
    def start(request: Request) -> Response:
        session = _session(request, share)
        if session is None:
            return answers.page(request, "phone_pair", problem=None, phone_token="")
        return answers.page(request, "phone_photo", problem=None, phone_token=session.token)

    @app.post("/pair")
    async def pair(request: Request) -> Response:
        async with request.form(max_files=0, max_fields=4) as form:
            typed = str(form.get("code") or "")[:40]
        outcome, key = share.pairing.pair(typed)
        if outcome != "paired":
            await asyncio.sleep(WRONG_PAUSE_S)
            problem = desk.say(f"phone.{outcome}")
            return answers.page(request, "phone_pair", status=403, problem=problem, phone_token="")
        answer = RedirectResponse("/", SEE_OTHER)
        answer.set_cookie(COOKIE, key, max_age=int(SESSION_S), httponly=True, samesite="strict")
        return answer

    @app.get("/static/{name}")
    def static(name: str) -> Response:
        if name not in STATIC:
            raise RecordsError("unknown", desk.say("problem.not_found"))
        return FileResponse(str(files("vision.desk") / "static" / name), media_type=STATIC[name])


def _photos(app: FastAPI, share: Share, answers: Answers, desk: Desk) -> None:
    @app.post("/photos")
    async def photos(request: Request) -> Response:
        session = _needed(request, share, desk)
        arrived, form = await photos_of(request, desk, session.token)
        if len(arrived) > MOST_PHONE_PHOTOS or not share.pairing.may_send(session, max(len(arrived), 1)):
            return answers.page(request, "phone_photo", status=429, problem=desk.say("phone.too_many"), phone_token=session.token)
        wishes = {"held": form.get("held", "")}
        job = await run_in_threadpool(take_in, desk, arrived, wishes)
        session.jobs.append(job.id)
        return RedirectResponse(f"/jobs/{job.id}", SEE_OTHER)

    @app.get("/jobs/{name}")
    def job(request: Request, name: str) -> Response:
        session = _needed(request, share, desk)
        known = desk.bench.job(name) if desk.bench and name in session.jobs else None
        if known is None:
            raise RecordsError("unknown", desk.say("problem.not_found"))
        return answers.page(request, "phone_job", phone_token=session.token, **_job(desk, known))


def _session(request: Request, share: Share) -> Session | None:
    return share.pairing.session(request.cookies.get(COOKIE))


def _needed(request: Request, share: Share, desk: Desk) -> Session:
    """The session of a phone that was let in. Raises RecordsError of kind 'unknown', as for any page that is not there."""
    session = _session(request, share)
    if session is None:
        raise RecordsError("unknown", desk.say("phone.not_paired"))
    return session


def _job(desk: Desk, job: Job) -> dict[str, Any]:
    read = []
    with desk.records() as records:
        for number in job.readings:
            kept = reading(records, number)
            for one in kept.photo["instruments"]:
                rows = shown.key_rows(shown.rows_of(one, desk.words))
                call = shown.call_of(one["condition"]["call"], desk.words)
                read.append((shown.name_of(one, desk.words), rows, one, call, shown.found_in(one, desk.words)))
            if kept.error_message:
                job_error = f"{kept.file}: {kept.error_message}"
                if job_error not in job.problems:
                    job.problems.append(job_error)
    return {"running": job.state in ("waiting", "reading"), "read": read, "problems": list(job.problems)}


