"""Pages: the two steps of setting up that take photos, the camera and the verification on site."""

from __future__ import annotations

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, RedirectResponse, Response

from vision.commands.camera import LEAST_PHOTOS, PICTURES, summary
from vision.desk import asked, setup_camera, setup_verify
from vision.desk.access import form_of, photos_of
from vision.desk.answers import Answers
from vision.desk.settings import Desk
from vision.desk.setup_bench import SetupBench
from vision.nominal import SIZES
from vision.records.faults import RecordsError
from vision.verification_file import KINDS

SEE_OTHER = 303


def routes(desk: Desk, answers: Answers, bench: SetupBench) -> APIRouter:
    """Return the routes of this group."""
    router = APIRouter(include_in_schema=False)
    _camera(router, desk, answers, bench)
    _verify(router, desk, answers, bench)

    @router.get("/setup/doing")
    def doing() -> Response:
        now = bench.doing
        return JSONResponse({"words": now.words, "at": now.at, "of": now.of})

    return router


def _camera(router: APIRouter, desk: Desk, answers: Answers, bench: SetupBench) -> None:
    @router.get("/setup/camera")
    def page(request: Request) -> Response:
        views = setup_camera.state(desk)
        lines = [] if views.draft is None else summary(views.draft).splitlines()[1:]
        pictures = [name for name in PICTURES if setup_camera.picture(desk, name) is not None]
        return answers.page(
            request, "setup_camera", views=views, lines=lines, pictures=pictures, doing=bench.doing, least=LEAST_PHOTOS
        )  # fmt: skip

    @router.post("/setup/camera/photos")
    async def photos(request: Request) -> Response:
        files, _ = await photos_of(request, desk)
        setup_camera.add(desk, bench, files)
        return _back("camera")

    @router.post("/setup/camera/drop")
    async def drop(request: Request) -> Response:
        form = await form_of(request, desk)
        setup_camera.drop(desk, bench, asked.text(form, "file", 12) or "")
        return _back("camera")

    @router.post("/setup/camera/again")
    async def again(request: Request) -> Response:
        await form_of(request, desk)
        setup_camera.again(desk)
        return _back("camera")

    @router.post("/setup/camera/keep")
    async def keep(request: Request) -> Response:
        form = await form_of(request, desk)
        setup_camera.keep(desk, asked.text(form, "profile", 40) or "", replace=form.get("replace") == "1")
        return RedirectResponse("/setup#camera", SEE_OTHER)

    @router.get("/setup/camera/picture/{name}")
    def picture(name: str) -> Response:
        path = setup_camera.picture(desk, name)
        if path is None:
            raise RecordsError("unknown", desk.say("problem.not_found"))
        return FileResponse(path, media_type="image/png")


def _verify(router: APIRouter, desk: Desk, answers: Answers, bench: SetupBench) -> None:
    @router.get("/setup/verify")
    def page(request: Request) -> Response:
        return answers.page(
            request, "setup_verify", under=setup_verify.state(desk), trouble=setup_verify.trouble(desk), doing=bench.doing,
            rows=range(1, setup_verify.ROWS + 1), kinds=KINDS, sizes=SIZES,
        )  # fmt: skip

    @router.post("/setup/verify/begin")
    async def begin(request: Request) -> Response:
        setup_verify.begin(desk, await form_of(request, desk))
        return _back("verify")

    @router.post("/setup/verify/photos")
    async def photos(request: Request) -> Response:
        files, form = await photos_of(request, desk)
        setup_verify.add(desk, bench, files, held=form.get("held") == "1")
        return _back("verify")

    @router.post("/setup/verify/result")
    async def result(request: Request) -> Response:
        await form_of(request, desk)
        setup_verify.work_out(desk, bench)
        return _back("verify")

    @router.post("/setup/verify/again")
    async def again(request: Request) -> Response:
        await form_of(request, desk)
        setup_verify.again(desk)
        return _back("verify")

    @router.get("/setup/verify/page.pdf")
    def pdf() -> Response:
        path = setup_verify.place(desk) / setup_verify.PAGE
        if not path.is_file():
            raise RecordsError("unknown", desk.say("problem.not_found"))
        return FileResponse(path, media_type="application/pdf", filename="verification.pdf")


def _back(step: str) -> Response:
    return RedirectResponse(f"/setup/{step}", SEE_OTHER)
