"""Puts the desk together: routes by group, the guard before them, a sentence for whatever goes wrong."""

from __future__ import annotations

import contextlib
import logging
from collections.abc import AsyncIterator
from dataclasses import replace
from importlib.resources import files

from fastapi import FastAPI
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import ClientDisconnect, Request
from starlette.responses import Response
from starlette.staticfiles import StaticFiles

from vision.desk import api, pages_instruments, pages_read, pages_records, pages_reports
from vision.desk.access import ExpiredError
from vision.desk.answers import STATUS, Answers
from vision.desk.asked import AskedError
from vision.desk.guard import Guard, part_of
from vision.desk.jobs import LIMIT_S, Bench
from vision.desk.keeping import give_up, keep_answer
from vision.desk.settings import MEGABYTE, MOST_REQUEST_MB, Desk
from vision.errors import FlutegaugeError, PhotoError
from vision.records.faults import RecordsError, explained
from vision.report.document import version

log = logging.getLogger("flutegauge.desk")


def make_app(desk: Desk, *, warm: bool = True) -> FastAPI:
    """Return the desk as an ASGI app. ``warm``: start the measuring process at once."""
    bench = desk.bench or Bench(
        lambda task, answer: keep_answer(desk.folder, task, answer),
        crashed=desk.say("job.crashed"),
        too_long=desk.say("job.too_long", seconds=f"{LIMIT_S:.0f}"),
        give_up=lambda task: give_up(desk.folder, task),
    )
    desk = replace(desk, bench=bench)
    answers = Answers(desk)

    @contextlib.asynccontextmanager
    async def life(_: FastAPI) -> AsyncIterator[None]:
        if warm:
            bench.warm_up()
        yield
        bench.close()

    guard = Middleware(Guard, port=desk.port, most_bytes=MOST_REQUEST_MB * MEGABYTE, refuse=answers.refusal)
    app = FastAPI(
        title="Flutegauge desk", version=version(), openapi_url="/api/openapi.json", docs_url=None, redoc_url=None,
        middleware=[guard], lifespan=life,
    )  # fmt: skip
    for group in (pages_read, pages_instruments, pages_records, pages_reports, api):
        app.include_router(group.routes(desk, answers))
    app.mount("/static", StaticFiles(directory=str(files("vision.desk") / "static")), name="static")
    _explain_problems(app, desk, answers)
    return app


def _explain_problems(app: FastAPI, desk: Desk, answers: Answers) -> None:
    """Let every fault end in a sentence; unexpected ones are logged by their kind alone."""

    def of_records(request: Request, error: Exception) -> Response:
        assert isinstance(error, RecordsError)  # noqa: S101 - registered for these
        return answers.problem(request, STATUS[error.kind], error.kind, error.message)

    def of_photo(request: Request, error: Exception) -> Response:
        kind = error.kind if isinstance(error, PhotoError) else "internal"
        return answers.problem(request, 400, kind, str(error))

    def expired(request: Request, _: Exception) -> Response:
        return answers.problem(request, 403, "expired", desk.say("problem.expired"))

    def of_asked(request: Request, error: Exception) -> Response:
        assert isinstance(error, AskedError)  # noqa: S101 - registered for these
        field = desk.words.get(f"fields.{error.field}", error.field)
        return answers.problem(
            request, 400, "invalid", desk.say(f"asked.{error.sentence}", field=field, **error.filled)
        )

    def of_http(request: Request, error: Exception) -> Response:
        assert isinstance(error, HTTPException)  # noqa: S101 - registered for these
        message = {404: desk.say("problem.not_found"), 405: desk.say("problem.method")}.get(error.status_code)
        kind = "not-found" if error.status_code == 404 else "invalid"
        return answers.problem(request, error.status_code, kind, message or desk.say("problem.form", why=error.detail))

    def of_form(request: Request, error: Exception) -> Response:
        return answers.problem(request, 422, "invalid", desk.say("problem.form", why=_first_error(error)))

    def of_disk(request: Request, error: Exception) -> Response:
        try:
            with explained(desk.folder):
                raise error
        except RecordsError as told:
            return of_records(request, told)

    def unexpected(request: Request, error: Exception) -> Response:
        log.error("fault %s in %s", type(error).__name__, part_of(request.url.path))
        return answers.problem(request, 500, "internal", desk.say("problem.inside", name=type(error).__name__))

    def gone(_: Request, __: Exception) -> Response:
        return Response(status_code=400)  # nobody is left to read it

    app.add_exception_handler(RecordsError, of_records)
    app.add_exception_handler(FlutegaugeError, of_photo)
    app.add_exception_handler(ExpiredError, expired)
    app.add_exception_handler(AskedError, of_asked)
    app.add_exception_handler(HTTPException, of_http)
    app.add_exception_handler(RequestValidationError, of_form)
    app.add_exception_handler(ValueError, of_form)
    app.add_exception_handler(ClientDisconnect, gone)
    app.add_exception_handler(OSError, of_disk)
    app.add_exception_handler(Exception, unexpected)


def _first_error(error: Exception) -> str:
    if isinstance(error, RequestValidationError) and error.errors():
        first = error.errors()[0]
        return f"{'.'.join(str(part) for part in first['loc'][1:])}: {first['msg']}"
    return str(error)
