"""Templates -> responses: every page gets the words, the token and the brightness; problems get a page or JSON."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Callable
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response

from vision.desk.settings import MOST_REQUEST_MB, Desk
from vision.desk.wording import said_or
from vision.records.search import MOST_COUNTED
from vision.report.cautions import SHORT
from vision.report.document import version

THEMES = ("auto", "light", "dark")
STATUS = {
    "locked": 503,
    "disk-full": 507,
    "newer": 500,
    "damaged": 500,
    "not-ours": 500,
    "refused": 500,
    "conflict": 409,
    "unknown": 404,
    "invalid": 400,
    "not-empty": 409,
}
Render = Callable[..., HTMLResponse]


class Answers:
    """Makes the pages of one desk."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self._templates = Environment(
            loader=PackageLoader("vision.desk"), autoescape=select_autoescape(default=True), undefined=StrictUndefined,
            trim_blocks=True, lstrip_blocks=True,
        )  # fmt: skip
        self._templates.globals |= {"say": desk.say, "words": desk.words, "version": version(), "themes": THEMES}
        self._templates.globals["cautions"] = SHORT
        self._templates.globals["share"] = desk.share
        self._templates.globals["word"] = lambda name, otherwise: said_or(desk.words, name, otherwise)
        self._templates.filters |= {"when": when, "from_json": json.loads}
        self._templates.filters["counted"] = lambda total, most=MOST_COUNTED: counted(desk, total, most)

    def page(self, request: Request, template: str, /, *, status: int = 200, **filled: Any) -> HTMLResponse:
        """Render a template as a page."""
        theme = request.cookies.get("theme", "auto")
        here = request.url.path
        html = self._templates.get_template(f"{template}.html").render(
            theme=theme if theme in THEMES else "auto", here=here, token=self._desk.token, **filled
        )
        return HTMLResponse(html, status)

    def text(self, template: str, /, **filled: Any) -> str:
        """Render a template that stands on its own, for instance a report."""
        return self._templates.get_template(f"{template}.html").render(**filled)

    def problem(self, request: Request, status: int, kind: str, message: str) -> Response:
        """Answer with what went wrong, as JSON to a programme and as a page to a person."""
        if request.url.path.startswith("/api/") or "text/html" not in request.headers.get("accept", "text/html"):
            return JSONResponse({"error": {"kind": kind, "message": message}}, status)
        return self.page(request, "problem", status=status, message=message)

    def refusal(self, status: int, kind: str, accept: str) -> Response:
        """Answer a request that was not let in; it may come from anywhere, so nothing of it is used."""
        message = self._desk.say(f"problem.{kind}", most=MOST_REQUEST_MB)
        if "text/html" not in accept:
            return JSONResponse({"error": {"kind": kind.replace("_", "-"), "message": message}}, status)
        html = self._templates.get_template("problem.html").render(theme="auto", here="/", token="", message=message)
        return HTMLResponse(html, status)


def counted(desk: Desk, total: int, most: int) -> str:
    """Return how many there are, where counting stopped at ``most``."""
    return str(total) if total <= most else desk.say("site.more_than", most=f"{most:,}")


def when(stamp: str | None) -> str:
    """Return a moment of the records on this computer's clock: '2026-03-01 09:30'."""
    if not stamp:
        return ""
    if "T" not in stamp:
        return stamp
    moment = dt.datetime.strptime(stamp, "%Y-%m-%dT%H:%M:%SZ").replace(tzinfo=dt.UTC)
    return moment.astimezone().strftime("%Y-%m-%d %H:%M")
