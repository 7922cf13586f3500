"""Reports as one HTML file each: nothing to load, picture and plots inside, legible in black and white."""

from __future__ import annotations

import base64
from importlib.resources import files
from typing import Any

from vision.desk.answers import Answers
from vision.desk.month import month_of
from vision.desk.pages_instruments import life_of
from vision.desk.pictures import part
from vision.desk.reading_page import reading_page
from vision.desk.settings import Desk
from vision.records.clock import now
from vision.records.instruments import instrument
from vision.records.readings import reading


def reading_html(desk: Desk, answers: Answers, number: int, which: int) -> str:
    """Return the report of one instrument in one reading. Raises RecordsError."""
    with desk.records() as records:
        kept = reading(records, number)
        page = reading_page(records, desk.words, kept, which)
        picture = None
        if page["drawing"] is not None and page["has_photo"]:
            assert kept.photo_sha256 is not None  # noqa: S101 - has_photo says so
            data = base64.b64encode(part(records, kept.photo_sha256, page["drawing"].crop)).decode("ascii")
            picture = f"data:image/jpeg;base64,{data}"
    return answers.text("report_reading", picture=picture, **page, **_common())


def instrument_html(desk: Desk, answers: Answers, code: str) -> str:
    """Return the report of an instrument's life. Raises RecordsError."""
    with desk.records() as records:
        page = life_of(records, desk, instrument(records, code))
    return answers.text("report_instrument", **page, **_common())


def month_html(desk: Desk, answers: Answers, name: str) -> str:
    """Return the report of a month. Raises RecordsError."""
    with desk.records() as records:
        made = month_of(records, name)
    return answers.text("report_month", month=made, **_common())


def _common() -> dict[str, Any]:
    style = (files("vision.desk") / "static" / "report.css").read_text(encoding="utf-8")
    return {"style": style, "made_at": now()}
