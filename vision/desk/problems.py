"""Every fault ends in a sentence: which answer each kind of error gets; unexpected ones are logged by their kind alone."""

from __future__ import annotations

import logging
from collections.abc import Callable

from fastapi import FastAPI
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request
from starlette.responses import Response

from vision.desk.access import ExpiredError
from vision.desk.answers import STATUS, Answers
from vision.desk.asked import AskedError
from vision.desk.guard import part_of
from vision.desk.settings import Desk
from vision.errors import FlutegaugeError, PhotoError
from vision.records.faults import RecordsError, explained

log = logging.getLogger("flutegauge.desk")
Told = tuple[int, str, str]  # status, kind, sentence


def explain_problems(app: FastAPI, desk: Desk, answers: Answers) -> None:
    """Register an answer for every kind of error."""
    for kind in (
        RecordsError,
        AskedError,
        FlutegaugeError,
        ExpiredError,
        HTTPException,
        RequestValidationError,
        ValueError,
        OverflowError,
        OSError,
    ):
        app.add_exception_handler(kind, _answering(answers, desk, told))
    app.add_exception_handler(ClientDisconnect, lambda _, __: Response(status_code=400))  # nobody is left to read it
    app.add_exception_handler(Exception, _answering(answers, desk, _unexpected))


def told(desk: Desk, error: Exception) -> Told:  # noqa: PLR0911 - one line a kind
    """Return status, kind and sentence for an error that was foreseen."""
    say = desk.say
    if isinstance(error, FlutegaugeError):
        return _of_ours(error)
    if isinstance(error, AskedError):
        field = desk.words.get(f"fields.{error.field}", error.field)
        return 400, "invalid", say(f"asked.{error.sentence}", field=field, **error.filled)
    if isinstance(error, ExpiredError):
        return 403, "expired", say("problem.expired")
    if isinstance(error, HTTPException):
        return _of_http(desk, error)
    if isinstance(error, OSError):
        return _of_disk(desk, error)
    if isinstance(error, OverflowError):  # a number in an address that no row can have
        return 404, "not-found", desk.say("problem.not_found")
    return 422, "invalid", say("problem.form", why=_first(error))


def _answering(
    answers: Answers, desk: Desk, tell: Callable[[Desk, Exception], Told]
) -> Callable[[Request, Exception], Response]:
    def answer(request: Request, error: Exception) -> Response:
        if tell is _unexpected:
            log.error("fault %s in %s", type(error).__name__, part_of(request.url.path))
        return answers.problem(request, *tell(desk, error))

    return answer


def _of_ours(error: FlutegaugeError) -> Told:
    if isinstance(error, RecordsError):
        return STATUS[error.kind], error.kind, error.message
    return 400, error.kind if isinstance(error, PhotoError) else "internal", str(error)


def _of_http(desk: Desk, error: HTTPException) -> Told:
    if error.status_code == 404:
        return 404, "not-found", desk.say("problem.not_found")
    if error.status_code == 405:
        return 405, "invalid", desk.say("problem.method")
    return error.status_code, "invalid", desk.say("problem.form", why=error.detail)


def _of_disk(desk: Desk, error: OSError) -> Told:
    try:
        with explained(desk.folder):
            raise error
    except RecordsError as records_error:
        return told(desk, records_error)


def _unexpected(desk: Desk, error: Exception) -> Told:
    return 500, "internal", desk.say("problem.inside", name=type(error).__name__)


def _first(error: Exception) -> str:
    """Return the first thing that is wrong with a request, in words."""
    if isinstance(error, RequestValidationError) and error.errors():
        first = error.errors()[0]
        return f"{'.'.join(str(part) for part in first['loc'][1:])}: {first['msg']}"
    return str(error)
