"""Pages: search, export, backup, rule for old photos; sheets, cameras and checks; tags; about."""

from __future__ import annotations

import tempfile
from dataclasses import asdict
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

from fastapi import APIRouter
from starlette.background import BackgroundTask
from starlette.requests import Request
from starlette.responses import FileResponse, RedirectResponse, Response

from calib.errors import CalibError
from calib.prints import load_history
from calib.sheet import sheets
from vision.camera_file import folder as cameras_folder
from vision.camera_file import kept_profiles
from vision.desk import asked
from vision.desk.access import form_of
from vision.desk.answers import Answers
from vision.desk.sent import discards_csv, lines_csv, named, tables_zip
from vision.desk.settings import Desk
from vision.desk.tag_print import tags_pdf
from vision.desk.tag_wish import labels_for, tags_given
from vision.errors import FlutegaugeError
from vision.reading import FAMILIES
from vision.records import retention
from vision.records.backup import backup
from vision.records.clock import now
from vision.records.database import Records
from vision.records.equipment import (
    Verification,
    add_verification,
    cameras,
    keep_prints,
    keep_profiles,
    keep_site_results,
    prints,
    profiles,
    site_results,
    verifications,
)
from vision.records.export import KINDS
from vision.records.faults import RecordsError
from vision.records.history import discards
from vision.records.instruments import NewInstrument, add_instrument, checked_code, is_known, kits
from vision.records.search import MOST_COUNTED, find
from vision.records.search_instruments import codes_in_use
from vision.report.words import MEASURED
from vision.verification_file import ENDING

SEE_OTHER = 303
PAGE = 30


def routes(desk: Desk, answers: Answers) -> APIRouter:
    """Return the routes of this group."""
    router = APIRouter(include_in_schema=False)
    _search(router, desk, answers)
    _files(router, desk)
    _equipment(router, desk, answers)
    _tags(router, desk, answers)

    @router.get("/about")
    def about(request: Request) -> Response:
        schema = request.app.openapi()
        calls = [
            (method.upper(), path, what.get("summary", ""))
            for path, methods in schema["paths"].items()
            for method, what in methods.items()
        ]
        return answers.page(request, "about", calls=calls, folder=str(desk.folder))

    return router


def _search(router: APIRouter, desk: Desk, answers: Answers) -> None:
    @router.get("/records")
    def records_page(request: Request) -> Response:
        query = request.query_params
        wanted, offset = asked.wanted(query), asked.whole(query, "offset", 0, 10**9) or 0
        before, after = asked.text(query, "before", 40), asked.text(query, "after", 40)
        with desk.records() as records:
            hits, total = find(records, wanted, limit=PAGE + 1, before=before, after=after)
            more, newer = len(hits) > PAGE, after is not None
            hits = (hits[1:] if newer else hits[:-1]) if more else hits
            return answers.page(
                request, "records", hits=hits, total=total, offset=offset, page=PAGE, wanted=wanted,
                older=newer or more, newer=more if newer else before is not None,
                asked=urlencode({name: value for name, value in asdict(wanted).items() if value is not None}),
                families=FAMILIES, calls=asked.CALLS, codes=codes_in_use(records), discards=discards(records, limit=PAGE),
                days=retention.keep_days(records), due=len(retention.due(records, limit=MOST_COUNTED + 1)),
                kinds=KINDS, folder=str(desk.folder), month=now()[:7],
            )  # fmt: skip

    @router.get("/records.csv")
    def lines(request: Request) -> Response:
        return lines_csv(desk, asked.wanted(request.query_params))

    @router.get("/discards.csv")
    def log() -> Response:
        return discards_csv(desk)

    @router.post("/records/rule")
    async def rule(request: Request) -> Response:
        form = await form_of(request, desk)
        with desk.records() as records:
            if form.get("apply"):
                retention.apply(records)
            else:
                retention.set_keep_days(records, asked.whole(form, "days", 1, 36_500))
        return RedirectResponse("/records#keep", SEE_OTHER)


def _files(router: APIRouter, desk: Desk) -> None:
    @router.get("/backup.zip")
    def whole_backup() -> Response:
        place = tempfile.TemporaryDirectory(prefix="flutegauge-")
        target = Path(place.name) / "backup.zip"
        with desk.records() as records:
            backup(records, target)
        name = f"flutegauge-backup-{now()[:10]}.zip"
        return FileResponse(target, filename=name, background=BackgroundTask(place.cleanup))

    @router.get("/export/{kind}.zip")
    def tables(kind: str) -> Response:
        return tables_zip(desk, kind, f"flutegauge-{kind}-{now()[:10]}.zip")


def _equipment(router: APIRouter, desk: Desk, answers: Answers) -> None:
    @router.get("/equipment")
    def page(request: Request) -> Response:
        with desk.records() as records:
            problem = _take_over(records, desk)
            return answers.page(
                request, "equipment", prints=prints(records), cameras=cameras(records), checks=verifications(records),
                profiles=profiles(records), site=site_results(records), names=[name for name, _, _ in MEASURED], problem=problem,
            )  # fmt: skip

    @router.post("/equipment/checks")
    async def check(request: Request) -> Response:
        form = await form_of(request, desk)
        numbers: dict[str, Any] = {
            name: asked.needed(form, name, 0.0, 1000.0) for name in ("known", "known_u", "value", "u")
        }
        reference, name = (
            asked.text(form, "reference", 120) or "",
            asked.one_of(form, "name", tuple(n for n, _, _ in MEASURED)) or "",
        )
        with desk.records() as records:
            add_verification(
                records,
                Verification(
                    reference, name, initials=str(form.get("initials") or ""), note=asked.text(form, "note"), **numbers
                ),
            )
        return RedirectResponse("/equipment#checks", SEE_OTHER)


def _take_over(records: Records, desk: Desk) -> str | None:
    """Copy the user's print checks and camera profiles into the records; return why that cannot be, if so."""
    try:
        keep_prints(records, [check for sheet in sheets() for check in load_history(sheet, desk.prints)])
        keep_profiles(records, [profile for _, profile in kept_profiles(desk.cameras)])
        keep_site_results(records, sorted((desk.cameras or cameras_folder()).glob(f"*{ENDING}")))
    except (CalibError, FlutegaugeError) as error:
        if isinstance(error, RecordsError):
            raise
        return str(error)
    return None


def _tags(router: APIRouter, desk: Desk, answers: Answers) -> None:
    @router.get("/tags")
    def page(request: Request) -> Response:
        with desk.records() as records:
            return answers.page(request, "tags", given=tags_given(records), kits=[k.code for k in kits(records)])

    @router.post("/tags")
    async def made(request: Request) -> Response:
        form = await form_of(request, desk)
        codes = [checked_code(code) for code in str(form.get("codes") or "").replace(",", " ").split()]
        with desk.records() as records:
            if form.get("add"):
                for code in dict.fromkeys(codes):
                    if not is_known(records, code):
                        add_instrument(records, NewInstrument(code))
            labels = labels_for(records, codes, asked.text(form, "kit", 24), asked.whole(form, "slots", 0, 60) or 0)
        return Response(tags_pdf(labels, desk.say), media_type="application/pdf", headers=named("flutegauge-tags.pdf"))
