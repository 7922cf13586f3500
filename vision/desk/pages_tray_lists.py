"""Pages: the lists of what a tray must hold: kept, edited, taken from a tray that lies right, brought in, taken along."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from fastapi import APIRouter
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from vision.desk import tray_lists
from vision.desk.access import form_of, photos_of
from vision.desk.answers import Answers
from vision.desk.settings import Desk
from vision.desk.tray_results import merged, tray_of
from vision.errors import UsageError
from vision.records.faults import RecordsError
from vision.tray.kit import SUFFIXES, kit_csv, kit_of, kit_text, read_kit
from vision.tray.told import ORDER

SEE_OTHER = 303
EMPTY = "family,size,length_mm,count,slots\n"


def routes(desk: Desk, answers: Answers) -> APIRouter:
    """Return the routes of this group."""
    router = APIRouter(include_in_schema=False)
    _editing(router, desk, answers)
    _making(router, desk)
    return router


def _editing(router: APIRouter, desk: Desk, answers: Answers) -> None:
    def editor(request: Request, name: str, rows: str, problem: str | None = None) -> Response:
        filled: dict[str, Any] = {"name": name, "rows": rows, "problem": problem, "families": ORDER}
        filled["is_kept"] = name in tray_lists.names(desk)
        return answers.page(request, "tray_list", status=200 if problem is None else 400, **filled)

    @router.get("/trays/list/new")
    def new(request: Request) -> Response:
        return editor(request, "", EMPTY)

    @router.get("/trays/list/{name}")
    def one(request: Request, name: str) -> Response:
        return editor(request, name, kit_csv(tray_lists.kept(desk, name)))

    @router.get("/trays/list/{name}/{kind}")
    def download(name: str, kind: str) -> Response:
        kit = tray_lists.kept(desk, name)
        if kind not in ("toml", "csv"):
            raise RecordsError("unknown", desk.say("problem.not_found"))
        made = kit_text(kit) if kind == "toml" else kit_csv(kit)
        headers = {"Content-Disposition": f'attachment; filename="{name}.{kind}"'}
        return Response(made, media_type="text/plain; charset=utf-8", headers=headers)

    @router.post("/trays/list")
    async def save(request: Request) -> Response:
        form = await form_of(request, desk)
        name, rows = " ".join(str(form.get("name", "")).split()), str(form.get("rows", ""))
        try:
            await run_in_threadpool(tray_lists.keep, desk, name, rows.encode())
        except (UsageError, RecordsError) as error:
            return editor(request, name, rows, str(error))
        return RedirectResponse(f"/trays/list/{name}", SEE_OTHER)

    @router.post("/trays/list/drop")
    async def drop(request: Request) -> Response:
        form = await form_of(request, desk)
        await run_in_threadpool(tray_lists.drop, desk, str(form.get("name", "")))
        return RedirectResponse("/trays#lists", SEE_OTHER)


def _making(router: APIRouter, desk: Desk) -> None:
    @router.post("/trays/list/bring")
    async def bring(request: Request) -> Response:
        files, form = await photos_of(request, desk)
        invented = tray_lists.invented(desk).get(str(form.get("invented", "")))
        if invented is not None:
            kit = await run_in_threadpool(read_kit, invented)
            rows, suffix, name = kit_csv(kit).encode(), ".csv", invented.stem
        elif len(files) == 1:
            given = Path(files[0][0] or "list")
            rows, suffix, name = files[0][1], given.suffix.lower(), given.stem[:40]
        else:
            raise RecordsError("invalid", desk.say("lists.no_file"))
        if suffix not in SUFFIXES:
            raise RecordsError("invalid", desk.say("lists.wrong_file", name=name[:40]))
        await run_in_threadpool(tray_lists.keep, desk, name, rows, suffix)
        return RedirectResponse(f"/trays/list/{name}", SEE_OTHER)

    @router.post("/trays/{numbers}/list")
    async def from_tray(request: Request, numbers: str) -> Response:
        form = await form_of(request, desk)
        name = " ".join(str(form.get("name", "")).split())
        with desk.records() as records:
            told = [one.best for one in merged(tray_of(desk, records, numbers), relaid=False)]
        kit, _ = kit_of(told, name, slots=form.get("slots") == "1")
        if not kit.items:
            raise RecordsError("invalid", desk.say("lists.nothing_named"))
        await run_in_threadpool(tray_lists.keep, desk, name, kit_csv(kit).encode())
        return RedirectResponse(f"/trays/list/{name}", SEE_OTHER)
