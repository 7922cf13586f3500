"""Reports to download: a reading, an instrument's life, a month; as PDF and as one HTML file."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path
from starlette.responses import Response

from vision.desk.answers import Answers
from vision.desk.report_html import instrument_html, month_html, reading_html
from vision.desk.report_life_pdf import instrument_pdf, month_pdf
from vision.desk.report_pdf import reading_pdf
from vision.desk.settings import Desk

Number = Annotated[int, Path(ge=1)]
PDF, HTML = "application/pdf", "text/html; charset=utf-8"


def routes(desk: Desk, answers: Answers) -> APIRouter:
    """Return the routes of this group."""
    router = APIRouter(include_in_schema=False)

    @router.get("/reports/reading-{number}-{which}.pdf")
    def of_reading_pdf(number: Number, which: Number) -> Response:
        return _file(reading_pdf(desk, number, which), PDF, f"reading-{number}-{which}.pdf")

    @router.get("/reports/reading-{number}-{which}.html")
    def of_reading_html(number: Number, which: Number) -> Response:
        return _file(reading_html(desk, answers, number, which), HTML, f"reading-{number}-{which}.html")

    @router.get("/reports/instrument-{code}.pdf")
    def of_instrument_pdf(code: str) -> Response:
        return _file(instrument_pdf(desk, code), PDF, f"instrument-{code}.pdf")

    @router.get("/reports/instrument-{code}.html")
    def of_instrument_html(code: str) -> Response:
        return _file(instrument_html(desk, answers, code), HTML, f"instrument-{code}.html")

    @router.get("/reports/month.{kind}")
    def of_month(kind: str, month: str) -> Response:
        if kind == "pdf":
            return _file(month_pdf(desk, month), PDF, f"month-{month[:7]}.pdf")
        return _file(month_html(desk, answers, month), HTML, f"month-{month[:7]}.html")

    return router


def _file(made: bytes | str, media: str, name: str) -> Response:
    return Response(made, media_type=media, headers={"Content-Disposition": f'attachment; filename="{name}"'})
