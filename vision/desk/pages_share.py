"""Page: phones as cameras. Shows the code while sharing is on, makes a new one, ends sharing."""

from __future__ import annotations

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from vision.desk.access import form_of
from vision.desk.answers import Answers
from vision.desk.settings import Desk
from vision.desk.share import squares

SEE_OTHER = 303


def routes(desk: Desk, answers: Answers) -> APIRouter:
    """Return the routes of this group."""
    router = APIRouter(include_in_schema=False)

    @router.get("/phone")
    def phone(request: Request) -> Response:
        share = desk.share
        held = None if share is None else share.pairing.code()
        shown = None if share is None or held is None else (held[0], round(held[1]), squares(f"{share.address}#{held[0]}"))
        return answers.page(request, "phone", sharing=share, held=shown)

    @router.post("/phone/code")
    async def code(request: Request) -> Response:
        await form_of(request, desk)
        if desk.share is not None and desk.share.pairing.on:
            desk.share.pairing.new_code()
        return RedirectResponse("/phone", SEE_OTHER)

    @router.post("/phone/stop")
    async def stop(request: Request) -> Response:
        await form_of(request, desk)
        if desk.share is not None:
            desk.share.pairing.stop()
        return RedirectResponse("/phone", SEE_OTHER)

    return router
