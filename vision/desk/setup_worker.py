"""The process that works for setting up: one JSON line in, one JSON line out. Results go to files, so a step can be left at any time.

In: {"do": "view", "path"}, {"do": "profile", "paths", "name", "folder"}, {"do": "reading", "session", "photo", "piece", "person",
"held", "cameras"} or {"do": "result", "session", "cameras", "pdf"}, each with "prints". Out: {"done": what was seen} or {"problem": a
sentence}. It is the code of the commands 'camera' and 'verify'.
"""

from __future__ import annotations

import json
import os
import shutil
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

Json = dict[str, Any]
DRAFT = "draft.camera.toml"
MOST_VIEWS = 60


def main() -> None:
    """Answer until standard input ends. What a library prints goes to standard error, never between answers."""
    answers = os.fdopen(os.dup(1), "w", encoding="utf-8")
    os.dup2(2, 1)
    from vision.commands import camera, verify  # noqa: F401, PLC0415 - heavy from here on

    views: Json = {}
    print(json.dumps({"ready": True}), file=answers, flush=True)
    for line in sys.stdin:
        print(json.dumps(answer(json.loads(line), views)), file=answers, flush=True)


def answer(asked: Json, views: Json) -> Json:
    """Do one thing; whatever goes wrong is a sentence. ``views``: what was made of photos before."""
    from vision.errors import FlutegaugeError, PhotoError  # noqa: PLC0415

    prints = None if asked["prints"] is None else Path(asked["prints"])
    if asked["do"] == "nothing":
        return {"done": {}}
    try:
        return {"done": {"view": _view, "profile": _profile, "reading": _reading, "result": _result}[asked["do"]](asked, prints, views)}
    except PhotoError as error:
        return {"problem": error.message}
    except FlutegaugeError as error:
        return {"problem": str(error)}
    except OSError as error:
        return {"problem": f"a file could not be read or written ({error.strerror}): check the disk"}


def _view(asked: Json, prints: Path | None, views: Json) -> Json:
    """One photo of the empty sheet: how it was taken. Its pixels are let go, they are not needed any more."""
    import numpy as np  # noqa: PLC0415

    from vision.commands.camera import take_view  # noqa: PLC0415

    path = asked["path"]
    if path not in views:
        photo, scale = take_view(Path(path), prints)
        while len(views) >= MOST_VIEWS:
            del views[next(iter(views))]
        views[path] = replace(photo, rgb=np.broadcast_to(np.zeros(3, np.uint8), photo.rgb.shape)), scale
    photo, scale = views[path]
    middle = (photo.width_px / 2.0, photo.height_px / 2.0)
    return {
        "tilt_deg": round(scale.camera.tilt_deg, 1),
        "px_per_mm": round(scale.px_per_mm_at(middle).value, 1),
        "size_px": [photo.width_px, photo.height_px],
        "checked": bool(scale.print_checked),
    }


def _profile(asked: Json, prints: Path | None, views: Json) -> Json:
    """A draft of the profile from all photos, its two pictures beside it; ``vague`` says why it cannot be kept yet."""
    from vision.camera_file import profile_text  # noqa: PLC0415
    from vision.commands.camera import draw, refuse_vague, work_out  # noqa: PLC0415
    from vision.errors import UsageError  # noqa: PLC0415

    for path in asked["paths"]:
        _view(asked | {"path": path}, prints, views)
    fit, seen, profile = work_out([views[path] for path in asked["paths"]], asked["name"])
    folder = Path(asked["folder"])
    draw(fit, seen, profile, folder)
    try:
        refuse_vague(profile)
        vague = None
    except UsageError as error:
        vague = str(error)
    draft = folder / f"{DRAFT}.new"
    draft.write_text(profile_text(profile), encoding="utf-8")
    draft.replace(folder / DRAFT)
    return {"vague": vague}


def _reading(asked: Json, prints: Path | None, views: Json) -> Json:  # noqa: ARG001
    from vision.camera_choice import Cameras  # noqa: PLC0415
    from vision.camera_file import kept_profiles  # noqa: PLC0415
    from vision.commands.verify import read_into  # noqa: PLC0415
    from vision.verification_file import read_session, session_text  # noqa: PLC0415

    cameras = Cameras(tuple(profile for _, profile in kept_profiles(_place(asked))))
    path = Path(asked["session"])
    session = read_into(
        read_session(path), Path(asked["photo"]), asked["piece"], asked["person"], held=asked["held"], prints=prints, cameras=cameras
    )
    fresh = path.with_suffix(".new")
    fresh.write_text(session_text(session), encoding="utf-8")
    fresh.replace(path)
    return {}


def _result(asked: Json, prints: Path | None, views: Json) -> Json:  # noqa: ARG001
    """The result beside the camera profiles; an earlier one stays there under its day."""
    from vision.commands.verify import one_set_up, worked_out  # noqa: PLC0415
    from vision.verification_file import ENDING, read_result, read_session, result_path, result_text  # noqa: PLC0415
    from vision.verification_pdf import write_page  # noqa: PLC0415

    session = read_session(Path(asked["session"]))
    with_what, result = one_set_up(session), worked_out(session)
    made_on = max(entry.made_on for entry in session.entries)
    target = result_path(with_what.profile, _place(asked))
    target.parent.mkdir(parents=True, exist_ok=True)
    write_page(result, with_what, made_on, Path(asked["pdf"]))
    if target.exists():
        earlier = target.name.removesuffix(ENDING) + f".{read_result(target).made_on}.earlier.toml"
        shutil.copyfile(target, target.with_name(earlier))
    target.write_text(result_text(result, with_what, made_on), encoding="utf-8")
    return {}


def _place(asked: Json) -> Path | None:
    return None if asked["cameras"] is None else Path(asked["cameras"])


if __name__ == "__main__":
    main()
