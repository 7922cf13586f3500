"""Page: setting up, step by step. Each step is done when its result is kept, so it can be left and taken up at any time."""

from __future__ import annotations

import datetime as dt
import tempfile
from pathlib import Path
from typing import Any

from fastapi import APIRouter
from starlette.background import BackgroundTask
from starlette.requests import Request
from starlette.responses import FileResponse, RedirectResponse, Response

from calib.errors import CalibError
from calib.prints import CALLIPER_U_MM, STEEL_RULER_U_MM, PrintCheck, load_history, save, scale_of
from calib.sheet import sheets
from vision.camera_file import ENDING as PROFILE_ENDING
from vision.camera_file import folder as cameras_folder
from vision.camera_file import kept_profiles
from vision.desk import asked
from vision.desk.access import form_of
from vision.desk.answers import Answers
from vision.desk.settings import Desk
from vision.records.faults import RecordsError
from vision.verification_file import ENDING, read_result

SEE_OTHER = 303
TOOL_U_MM = {"callipers": CALLIPER_U_MM, "ruler": STEEL_RULER_U_MM}
LINE_MM = (100.0, 180.0)  # the check lines have 140; whatever lies nearer is judged by the print check itself
PDF = "application/pdf"


def routes(desk: Desk, answers: Answers) -> APIRouter:
    """Return the routes of this group."""
    router = APIRouter(include_in_schema=False)

    @router.get("/setup")
    def page(request: Request) -> Response:
        try:
            made = _state(desk)
        except CalibError as error:
            raise RecordsError("invalid", str(error)) from error
        return answers.page(request, "setup", sheets=tuple(sheets()), tools=tuple(TOOL_U_MM), **made)

    @router.get("/setup/sheet/{name}.pdf")
    def sheet(name: str) -> Response:
        known = sheets().get(name)
        if known is None:
            raise RecordsError("unknown", desk.say("problem.not_found"))
        from calib.draw import write_pdf  # noqa: PLC0415 - loads the PDF library

        place = tempfile.TemporaryDirectory(prefix="flutegauge-")
        target = Path(place.name) / "sheet.pdf"
        write_pdf(known, target)
        return FileResponse(target, media_type=PDF, filename=f"flutegauge-{name}.pdf", background=BackgroundTask(place.cleanup))

    @router.post("/setup/check")
    async def check(request: Request) -> Response:
        form = await form_of(request, desk)
        tool = asked.one_of(form, "tool", tuple(TOOL_U_MM)) or "callipers"
        made = PrintCheck(
            sheet_id=asked.one_of(form, "sheet", tuple(sheets())) or next(iter(sheets())),
            name=asked.text(form, "print", 60) or "",
            along_mm=asked.needed(form, "along", *LINE_MM),
            across_mm=asked.needed(form, "across", *LINE_MM),
            u_mm=TOOL_U_MM[tool],
            checked_on=dt.date.today(),
            tool=tool,
        )
        try:
            save(made, desk.prints)
        except CalibError as error:
            raise RecordsError("invalid", str(error)) from error
        return RedirectResponse("/setup#camera", SEE_OTHER)

    return router


def _state(desk: Desk) -> dict[str, Any]:
    """What is kept of each step. Raises CalibError, UsageError for damaged files."""
    latest = [history[-1] for sheet in sheets() if (history := load_history(sheet, desk.prints))]
    checked = [(one, 100.0 * scale_of(one).scale_y, 100.0 * scale_of(one).scale_x) for one in latest]
    profiles = [(path.name.removesuffix(PROFILE_ENDING), profile) for path, profile in kept_profiles(desk.cameras)]
    results = [read_result(path) for path in sorted((desk.cameras or cameras_folder()).glob(f"*{ENDING}"))]
    done = (bool(checked), bool(profiles), bool(results))
    following = next((number for number, one in enumerate(done) if not one), len(done))
    return {"checked": checked, "profiles": profiles, "results": results, "next_step": following}
