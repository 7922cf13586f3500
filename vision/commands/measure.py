"""`flutegauge measure`: examine each photo, print, write the JSON document and the pictures. No measuring happens here."""

from __future__ import annotations

import argparse
import math
import os
import sys
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from rich.console import Console

from calib.errors import CalibError
from calib.prints import load
from calib.sheet import sheets
from vision.call import Rules, Stated, own_rules, read_rules, restated
from vision.camera_choice import Cameras
from vision.commands.camera_choice import chosen_cameras
from vision.commands.check_wire import CheckWire, check_wire, compared
from vision.commands.outputs import new_file, picture_folder, picture_names, write_text
from vision.commands.progress import waiting
from vision.commands.same import asked_same, drawn_together, pictures_before, together
from vision.commands.site import with_site_check
from vision.errors import FlutegaugeError, PhotoError, UsageError
from vision.net import versions
from vision.past import against, earlier_instrument
from vision.photo import load_photo
from vision.pipeline import read_photo
from vision.reading import CombinedReading, PhotoReading
from vision.report import document, table
from vision.report.budget_table import print_budgets
from vision.report.words import plain
from vision.scale import GivenScale
from vision.together import Looked

ASSUMED_U = 0.01  # of a stated scale without a stated u: as far as prints are commonly off
MAX_WIDTH = 100
FINE, FAILED, PHOTO_FAILED = 0, 1, 2


@dataclass(frozen=True)
class Plan:
    """What the run is to do, checked before it begins; ``names`` are those of the pictures, one a photo."""

    photos: tuple[Path, ...]
    names: tuple[str, ...]
    given: GivenScale | None
    notes: tuple[str, ...]
    prints: Path | None
    held: bool
    json: Path | None
    json_to_stdout: bool
    pictures: Path | None
    overwrite: bool
    why: bool
    budget: bool
    wire: CheckWire | None
    cameras: Cameras
    same: bool
    rules: Rules
    stated: Stated
    earlier: Mapping[str, Any] | None


def measure(arguments: argparse.Namespace) -> int:
    """Run the command; return its exit status. Raises UsageError before any photo is opened."""
    plan = plan_of(arguments)
    progress = Console(stderr=True, markup=False, highlight=False, emoji=False)
    out = Console(file=sys.stderr if plan.json_to_stdout else sys.stdout, markup=False, highlight=False, emoji=False)
    out.width = min(out.width, MAX_WIDTH)
    readings, undrawn = [], False
    kept: list[Looked] = []
    for number, (photo, name) in enumerate(zip(plan.photos, plan.names, strict=True), start=1):
        with waiting(f"reading {plain(photo.name)} ({number} of {len(plan.photos)})", progress):
            reading = examine(photo, plan, kept if plan.same else None)
        readings.append(reading)
        table.print_reading(reading, out, why=plan.why)
        for one in reading.instruments if plan.budget else ():
            print_budgets(one, reading.scale, out)
        if plan.pictures is not None and reading.error is None:
            with waiting(f"drawing {plain(photo.name)}", progress):
                undrawn |= not _draw(photo, reading, name, plan, out)
    case = plan.rules, plan.stated
    combined, unmet = together(kept, held=plan.held, why=plan.why, out=out, case=case) if plan.same else (None, False)
    if combined is not None and plan.pictures is not None:
        undrawn |= not drawn_together(combined, plan.pictures, overwrite=plan.overwrite, out=out)
    table.print_cautions(readings, out)
    _write_json(readings, plan, combined)
    if unmet or any(reading.error for reading in readings):
        return PHOTO_FAILED
    return FAILED if undrawn else FINE


def plan_of(arguments: argparse.Namespace) -> Plan:
    """Check the command line against itself and the disk. Raises UsageError."""
    photos = tuple(arguments.photos)
    given, notes = _given(arguments.px_per_mm, arguments.px_per_mm_u)
    _check_prints(arguments.prints)
    to_stdout = arguments.json == "-"
    json = Path(arguments.json) if arguments.json is not None and not to_stdout else None
    if json is not None:
        new_file(json, overwrite=arguments.overwrite, inputs=photos)
    names = tuple(picture_names(photos))
    if arguments.picture is not None:
        from vision.report.picture import drawn_before  # noqa: PLC0415 - loads Matplotlib, which takes a second

        existing = [path for name in names for path in drawn_before(arguments.picture, name)]
        existing += pictures_before(arguments.picture) if arguments.same else []
        picture_folder(arguments.picture, existing, overwrite=arguments.overwrite, inputs=photos)
    return Plan(
        photos=photos,
        names=names,
        given=given,
        notes=notes,
        prints=arguments.prints,
        held=arguments.held,
        json=json,
        json_to_stdout=to_stdout,
        pictures=arguments.picture,
        overwrite=arguments.overwrite,
        why=arguments.why,
        budget=arguments.budget,
        wire=check_wire(arguments),
        cameras=chosen_cameras(arguments.camera),
        same=asked_same(arguments),
        rules=own_rules() if arguments.rules is None else read_rules(arguments.rules),
        stated=Stated(arguments.material, arguments.single_use),
        earlier=None if arguments.against is None else earlier_instrument(arguments.against),
    )


def examine(photo: Path, plan: Plan, keep: list[Looked] | None = None) -> PhotoReading:
    """Read one photo; whatever happens inside becomes an error of that photo alone. ``keep`` takes what was made of it."""
    try:
        kept: list[Looked] = []
        reading = read_photo(
            photo, given=plan.given, prints=plan.prints, held=plan.held, cameras=plan.cameras, keep=kept
        )
        if plan.wire is not None and kept:
            reading = compared(reading, kept[-1], plan.wire)
        if keep is not None:
            keep += kept
    except PhotoError as error:
        return PhotoReading(photo.name, (error.kind, error.message), None)
    except FlutegaugeError as error:  # for instance a model's file that is not the registered one
        return PhotoReading(photo.name, ("internal", str(error)), None)
    except Exception as error:  # one photo's fault must not end the others' run
        if os.environ.get("FLUTEGAUGE_TRACEBACK"):
            raise
        return PhotoReading(photo.name, ("internal", _fault(photo, error)), None)
    reading = with_site_check(reading, held=plan.held)
    notes = (*reading.notes, *plan.notes) if reading.error is None else reading.notes
    one_only = len(reading.instruments) == 1 and plan.earlier is not None
    seen = (against(reading.instruments[0], plan.earlier or {}),) if one_only else reading.instruments
    called = tuple(restated(one, plan.rules, plan.stated) for one in seen)
    return replace(reading, file=photo.name, notes=notes, instruments=called)  # results travel: the name, not the folder it lay in


def _fault(photo: Path, error: Exception) -> str:
    if isinstance(error, MemoryError):
        return (
            f"{photo.name} needs more memory than this computer has free: close other programmes or use a smaller photo"
        )
    detail = " ".join(str(error).split())[:160]
    return (
        f"{photo.name} met a fault inside the programme ({type(error).__name__}: {detail}): please report it with the "
        "photo, and photograph again meanwhile"
    )


def _given(px_per_mm: float | None, u: float | None) -> tuple[GivenScale | None, tuple[str, ...]]:
    if px_per_mm is None:
        if u is not None:
            raise UsageError("--px-per-mm-u states the uncertainty of --px-per-mm, which is not there: state both")
        return None, ()
    if not (math.isfinite(px_per_mm) and px_per_mm > 0):
        raise UsageError(f"--px-per-mm needs a number above 0, got {px_per_mm:g}")
    if u is None:
        note = f"the stated scale came without --px-per-mm-u: {100 * ASSUMED_U:.0f} % of it is assumed"
        return GivenScale(px_per_mm, ASSUMED_U * px_per_mm), (note,)
    if not (math.isfinite(u) and 0 <= u < px_per_mm):
        raise UsageError(f"--px-per-mm-u needs a number from 0 to --px-per-mm ({px_per_mm:g}), got {u:g}")
    return GivenScale(px_per_mm, u), ()


def _check_prints(prints: Path | None) -> None:
    if prints is not None and not prints.is_file():
        raise UsageError(f"--prints: found no file {prints}: 'flutegauge sheet check --prints {prints} ...' makes one")
    try:
        load(next(iter(sheets())), prints)
    except CalibError as error:
        raise UsageError(str(error)) from error


def _draw(photo: Path, reading: PhotoReading, name: str, plan: Plan, out: Console) -> bool:
    """Draw one photo's pictures; a picture that fails is said and does not cost the reading."""
    from vision.report.picture import draw  # noqa: PLC0415 - loads Matplotlib

    assert plan.pictures is not None  # noqa: S101 - the caller asked only with a folder
    try:
        wanted = {"overwrite": plan.overwrite, "budget": plan.budget, "why": plan.why}
        paths = draw(load_photo(photo), reading, plan.pictures, name=name, **wanted)
    except Exception as error:  # the numbers are measured already and must not be lost to a drawing
        if os.environ.get("FLUTEGAUGE_TRACEBACK"):
            raise
        out.print(
            f"no picture of {plain(photo.name)}: {type(error).__name__}: {plain(str(error))}; the numbers stand\n"
        )
        return False
    out.print(f"pictures: {', '.join(plain(str(path)) for path in paths)}\n", soft_wrap=True)
    return True


def _write_json(readings: list[PhotoReading], plan: Plan, combined: CombinedReading | None) -> None:
    if plan.json is None and not plan.json_to_stdout:
        return
    made = document.text(document.document(readings, versions(), () if combined is None else (combined,)))
    if plan.json is None:
        sys.stdout.write(made)
        sys.stdout.flush()
    else:
        write_text(plan.json, made, overwrite=plan.overwrite)
