"""Pages: photos of a tray -> what lies where; the tray against a list; a class, one photo a student; each with its paper."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from vision.desk import tray_lists
from vision.desk.answers import Answers
from vision.desk.settings import MEGABYTE, MOST_PHOTO_MB, MOST_PHOTOS, Desk
from vision.desk.tray_drawing import TrayDrawing, tray_drawing
from vision.desk.tray_results import Tray, checked_tray, each_checked, sorted_tray, tray_of
from vision.records.database import Records
from vision.tray.check import OUTCOMES, Checked
from vision.tray.check_page import common_faults, summary
from vision.tray.class_table import class_csv, proved_codes
from vision.tray.groups import Sorted
from vision.tray.kit import Kit
from vision.tray.merged import Seen

Json = dict[str, Any]
PDF = "application/pdf"
Marks = dict[tuple[str, int], tuple[str, str]]
MARK_OF = {"matches list": "=", "damaged": "!", "undecided": "?"}  # any other outcome is marked X


def routes(desk: Desk, answers: Answers) -> APIRouter:
    """Return the routes of this group; none of them is part of the programme interface."""
    router = APIRouter(include_in_schema=False)
    _sorting(router, desk, answers)
    _checking(router, desk, answers)
    _papers(router, desk)
    return router


def _sorting(router: APIRouter, desk: Desk, answers: Answers) -> None:
    @router.get("/trays")
    def start(request: Request) -> Response:
        limits: Json = {"most_mb": MOST_PHOTO_MB, "most_photos": MOST_PHOTOS, "megabyte": MEGABYTE}
        lists: Json = {"lists": tray_lists.names(desk), "invented": tuple(tray_lists.invented(desk))}
        return answers.page(request, "trays", limits=limits, **lists)

    @router.get("/trays/{numbers}")
    def one(request: Request, numbers: str, relaid: bool = False) -> Response:
        with desk.records() as records:
            tray = tray_of(desk, records, numbers)
            made = sorted_tray(tray, relaid=relaid)
            drawings = _drawings(records, tray, _sorted_marks(made))
        page: Json = {"tray": tray, "made": made, "drawings": drawings, "relaid": relaid, "lists": tray_lists.names(desk)}
        return answers.page(request, "tray", **page)


def _checking(router: APIRouter, desk: Desk, answers: Answers) -> None:
    @router.get("/trays/{numbers}/check")
    def check(request: Request, numbers: str, list: str, relaid: bool = False) -> Response:  # noqa: A002 - the address says so
        kit = tray_lists.kept(desk, list)
        with desk.records() as records:
            tray = tray_of(desk, records, numbers)
            checked = checked_tray(tray, kit, relaid=relaid)
            drawings = _drawings(records, tray, _checked_marks(checked))
        rows = sorted(checked.rows, key=lambda row: (row.outcome == "matches list", OUTCOMES.index(row.outcome)))
        page: Json = {"tray": tray, "checked": checked, "rows": rows, "counts": summary(checked), "drawings": drawings}
        return answers.page(request, "tray_check", name=list, relaid=relaid, marks=MARK_OF, **page)

    @router.get("/trays/{numbers}/class")
    def of_class(request: Request, numbers: str, list: str) -> Response:  # noqa: A002
        kit = tray_lists.kept(desk, list)
        with desk.records() as records:
            tray = tray_of(desk, records, numbers)
        each = _by_code(tray, kit)
        faults = common_faults([checked for _, _, checked, _ in each if checked is not None])
        page: Json = {"tray": tray, "each": each, "outcomes": OUTCOMES, "faults": faults}
        return answers.page(request, "tray_class", name=list, **page)


def _papers(router: APIRouter, desk: Desk) -> None:
    @router.get("/trays/{numbers}/slip.pdf")
    def slip(numbers: str, relaid: bool = False) -> Response:
        from vision.tray.slip import write_slip  # noqa: PLC0415 - loads the PDF library

        with desk.records() as records:
            tray = tray_of(desk, records, numbers)
        return _file(lambda path: write_slip(path, sorted_tray(tray, relaid=relaid), tray.photos), f"slip-{tray.name[:40]}.pdf")

    @router.get("/trays/{numbers}/check.pdf")
    def check(numbers: str, list: str, relaid: bool = False) -> Response:  # noqa: A002
        from vision.tray.check_page import check_story  # noqa: PLC0415
        from vision.tray.pages import write_pages  # noqa: PLC0415
        from vision.tray.warned import cautions  # noqa: PLC0415

        kit = tray_lists.kept(desk, list)
        with desk.records() as records:
            tray = tray_of(desk, records, numbers)
        files, again = ", ".join(one.file for one in tray.photos), "; ".join(str(one.retake) for one in tray.retakes) or None
        left_out = [note for photo in tray.photos for note in photo.left_out]
        story = check_story(checked_tray(tray, kit, relaid=relaid), "Tray check", files, again, left_out)
        warned = cautions((one for photo in tray.photos for one in photo.told), kit)
        return _file(lambda path: write_pages(path, "Tray check", story, warned), f"tray-check-{tray.name[:40]}.pdf")

    @router.get("/trays/{numbers}/class.pdf")
    def of_class(numbers: str, list: str) -> Response:  # noqa: A002
        from vision.tray.check_page import class_story  # noqa: PLC0415
        from vision.tray.pages import write_pages  # noqa: PLC0415
        from vision.tray.warned import cautions  # noqa: PLC0415

        kit = tray_lists.kept(desk, list)
        with desk.records() as records:
            tray = tray_of(desk, records, numbers)
        each, warned = _by_code(tray, kit), cautions((one for photo in tray.photos for one in photo.told), kit)
        return _file(lambda path: write_pages(path, "Trays of the class", class_story(each), warned), "class.pdf")

    @router.get("/trays/{numbers}/class.csv")
    def table(numbers: str, list: str) -> Response:  # noqa: A002
        return Response(class_csv(_class(desk, numbers, list)), media_type="text/csv", headers=_named("class.csv"))


def _class(desk: Desk, numbers: str, name: str) -> list[tuple[str, str, Checked | None, str | None]]:
    kit = tray_lists.kept(desk, name)
    with desk.records() as records:
        return _by_code(tray_of(desk, records, numbers), kit)


def _by_code(tray: Tray, kit: Kit) -> list[tuple[str, str, Checked | None, str | None]]:
    """(code, photo, check or None, why to take the photo again) of every photo; a photo's name is its code. Raises UsageError."""
    codes = proved_codes([Path(one.file).stem for one in tray.kept])
    return [(code, photo.file, checked, photo.retake) for code, (photo, checked) in zip(codes, each_checked(tray, kit), strict=True)]


def _sorted_marks(made: Sorted) -> Marks:
    def of(one: Seen, mark: str) -> Marks:
        return {(view.photo, view.number): (mark, one.best.name) for view in one.views}

    marks: Marks = {}
    for group in made.groups:
        for one in group.members:
            marks |= of(one, group.letter)
    for one in (*made.damaged, *made.undecided):
        marks |= of(one, made.mark_of(one))
    return marks


def _checked_marks(checked: Checked) -> Marks:
    return {
        (view.photo, view.number): (MARK_OF.get(row.outcome, "X"), f"{row.outcome}: {(row.position or row.seen.best).name}")
        for row in checked.rows
        if row.seen is not None
        for view in row.seen.views
    }


def _drawings(records: Records, tray: Tray, marks: Marks) -> list[TrayDrawing]:
    made = []
    for kept, photo in zip(tray.kept, tray.photos, strict=True):
        own = {number: mark for (file, number), mark in marks.items() if file == photo.file}
        made.append(tray_drawing(records, kept, own))
    return [one for one in made if one is not None]


def _file(write: Callable[[Path], Any], name: str) -> Response:
    with tempfile.TemporaryDirectory(prefix="flutegauge-") as place:
        target = Path(place) / "page.pdf"
        write(target)
        return Response(target.read_bytes(), media_type=PDF, headers=_named(name))


def _named(name: str) -> dict[str, str]:
    return {"Content-Disposition": f'attachment; filename="{name}"'}

