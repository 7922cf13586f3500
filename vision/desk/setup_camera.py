"""Step 3 of setting up: photos of the empty sheet in a folder, what was seen in each, and the draft profile that they give.

Everything lies in files, so the step goes on where it was left. ``views.json`` holds one entry a photo, in the order they came.
"""

from __future__ import annotations

import json
import re
import shutil
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from vision.camera_file import ENDING, read_profile
from vision.camera_file import folder as cameras_folder
from vision.camera_profile import CameraProfile
from vision.commands.camera import LEAST_PHOTOS, PICTURES
from vision.desk import asked
from vision.desk.settings import MEGABYTE, MOST_PHOTO_MB, Desk
from vision.desk.setup_bench import SetupBench, Step
from vision.desk.setup_worker import DRAFT
from vision.errors import UsageError
from vision.records.faults import RecordsError

Json = dict[str, Any]
LIST, TROUBLE = "views.json", "trouble.txt"
MOST_VIEWS = 40
PHOTO = re.compile(r"view-\d{1,3}")


@dataclass(frozen=True)
class Views:
    """What this step has: ``views`` with name, file and what was seen or the problem; the draft and why it cannot be kept."""

    views: tuple[Json, ...]
    draft: CameraProfile | None
    trouble: str | None


def place(desk: Desk) -> Path:
    """The folder of this step."""
    return desk.folder / "setup" / "camera"


def state(desk: Desk) -> Views:
    """Return what is there. A damaged file counts as none: the photos are still there."""
    folder, trouble = place(desk), _text(place(desk) / TROUBLE)
    try:
        draft = read_profile(folder / DRAFT) if (folder / DRAFT).is_file() else None
    except UsageError as error:
        draft, trouble = None, str(error)
    return Views(tuple(_listed(folder)), draft, trouble)


def add(desk: Desk, bench: SetupBench, photos: Sequence[tuple[str | None, bytes]]) -> None:
    """Keep photos and look at each, then at all together. Raises RecordsError."""
    folder, views = place(desk), _listed(place(desk))
    if not photos:
        raise RecordsError("invalid", desk.say("upload.none"))
    if len(views) + len(photos) > MOST_VIEWS:
        raise RecordsError("invalid", desk.say("setup.views_many", count=len(views) + len(photos), most=MOST_VIEWS))
    folder.mkdir(parents=True, exist_ok=True)
    number = max((int(one["file"].rpartition("-")[2]) for one in views), default=0)
    steps = []
    for given, data in photos:
        number += 1
        name, file = asked.safe_name(given, number), f"view-{number}"
        if len(data) > MOST_PHOTO_MB * MEGABYTE:
            size = f"{len(data) / MEGABYTE:.0f}"
            raise RecordsError("invalid", desk.say("upload.too_large", name=name, size=size, most=MOST_PHOTO_MB))
        (folder / file).write_bytes(data)
        views.append({"name": name, "file": file, "seen": None, "problem": None})
        steps.append(_look(desk, name, file))
    _write(folder, views)
    bench.add([*steps, _all(desk, bench)])


def drop(desk: Desk, bench: SetupBench, file: str) -> None:
    """Take a photo out; the rest is worked out anew."""
    folder = place(desk)
    views = [one for one in _listed(folder) if one["file"] != file]
    if PHOTO.fullmatch(file):
        (folder / file).unlink(missing_ok=True)
    _write(folder, views)
    bench.add([_all(desk, bench)])


def again(desk: Desk) -> None:
    """Let all photos and the draft go."""
    shutil.rmtree(place(desk), ignore_errors=True)


def keep(desk: Desk, name: str, *, replace: bool) -> None:
    """Keep the draft under a name. Raises RecordsError."""
    draft = place(desk) / DRAFT
    if not draft.is_file() or state(desk).trouble:
        raise RecordsError("invalid", desk.say("setup.no_draft"))
    safe = re.sub(r"[^\w.+-]+", "-", name).strip("-.")
    if not safe:
        raise asked.AskedError("empty", "profile")
    target = (desk.cameras or cameras_folder()) / f"{safe}{ENDING}"
    if target.exists() and not replace:
        raise RecordsError("conflict", desk.say("setup.profile_there", name=safe))
    target.parent.mkdir(parents=True, exist_ok=True)
    shutil.copyfile(draft, target)


def picture(desk: Desk, name: str) -> Path | None:
    """One of the draft's two pictures."""
    path = place(desk) / name
    return path if name in PICTURES and path.is_file() else None


def _look(desk: Desk, name: str, file: str) -> Step:
    def told(answer: Json | None) -> None:
        views = _listed(place(desk))
        for one in views:
            if one["file"] == file:
                one["seen"] = None if answer is None else answer.get("done")
                problem = desk.say("job.crashed") if answer is None else answer.get("problem")
                one["problem"] = problem and problem.removeprefix(f"{file}: ")
        _write(place(desk), views)

    return Step(desk.say("setup.looking", name=name), {"do": "view", "path": str(place(desk) / file), "prints": _prints(desk)}, told)


def _all(desk: Desk, bench: SetupBench) -> Step:
    """Look again which photos are good once it is this step's turn; with too few the draft goes."""
    folder = place(desk)
    asking: Json = {"do": "profile", "folder": str(folder), "name": "draft", "prints": _prints(desk)}

    def told(_: Json | None) -> None:
        paths = [str(folder / one["file"]) for one in _listed(folder) if one["seen"]]
        if len(paths) < LEAST_PHOTOS:
            for name in (DRAFT, TROUBLE, *PICTURES):
                (folder / name).unlink(missing_ok=True)
            return
        bench.add([Step(desk.say("setup.working_out", count=len(paths)), asking | {"paths": paths}, kept)])

    def kept(answer: Json | None) -> None:
        done = {} if answer is None else answer.get("done") or {}
        trouble = desk.say("job.crashed") if answer is None else answer.get("problem") or done.get("vague")
        (folder / TROUBLE).write_text(trouble or "", encoding="utf-8")

    return Step(desk.say("setup.putting_together"), {"do": "nothing", "prints": None}, told)


def _prints(desk: Desk) -> str | None:
    return None if desk.prints is None else str(desk.prints)


def _listed(folder: Path) -> list[Json]:
    try:
        found = json.loads((folder / LIST).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return []
    return [one for one in found if PHOTO.fullmatch(one["file"])]


def _write(folder: Path, views: list[Json]) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    fresh = folder / f"{LIST}.new"
    fresh.write_text(json.dumps(views), encoding="utf-8")
    fresh.replace(folder / LIST)


def _text(path: Path) -> str | None:
    try:
        return path.read_text(encoding="utf-8") or None
    except OSError:
        return None
