"""Damage study: fresh crops with one damage each, or none, read and counted. ``python -m tests.study.damage OUT.jsonl``.

Resumable: a case whose line stands in OUT is not done again. ``--jobs`` processes, ``--device cuda`` to render on a GPU. The
figures are printed from all lines of the file (``--figures`` prints only). Seeds below 5000 are for development; reported
ones start at 14000. ``--traced`` renders by the path tracer (the extra 'tracer'), which shows no dirt: a second opinion, counted apart.
"""

from __future__ import annotations

import argparse
import json
import tempfile
import time
from collections.abc import Iterator, Sequence
from functools import partial
from importlib import import_module
from pathlib import Path
from typing import Any

import numpy as np
from rich.console import Console

from samples.arrays import CPU
from samples.bodies import place
from samples.bulk import backend_named, over
from samples.photo import save
from samples.render import render
from samples.scene import Scene
from tests.study.damage_cases import DIRTY, HEALTHY, SPREAD, Case, in_view, scene_of, truth_row
from tests.study.damage_figures import print_figures
from tests.study.damage_raw import raw_of
from tests.study.damage_views import print_views
from tests.study.harm_shown import shown_px
from vision.pipeline import read_photo
from vision.reading import ConditionReading
from vision.scale import GivenScale
from vision.together import Looked

NO_PRINTS = Path("no-print-checks.json")
GIVEN_U = 0.002  # of the stated scale, as a fixed set-up has it
KINDS = (HEALTHY, *SPREAD, DIRTY)
SMALL = ("crest-chipped", "barbs-folded", "barbs-missing", DIRTY)  # may be there, and not to be seen


def main() -> None:
    """Do what is missing, then print."""
    parser = argparse.ArgumentParser(prog="python -m tests.study.damage", description=__doc__)
    parser.add_argument("out", type=Path, help="JSON lines, one a case; what is there already is kept")
    parser.add_argument("--seed", type=int, default=14000, help="first seed; reported seeds start at 14000")
    parser.add_argument("--healthy", type=int, default=100, help="healthy instruments")
    parser.add_argument("--each", type=int, default=40, help="instruments of each kind of damage, and dirty ones")
    parser.add_argument("--kinds", default=",".join(KINDS), help="which kinds")
    parser.add_argument("--views", type=int, default=1, help="photos of each instrument, turned by as many parts of a full turn")
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--device", default="cpu", choices=("cpu", "cuda", "torch-cpu"))
    parser.add_argument("--traced", type=int, default=0, metavar="PATHS", help="by the path tracer, so many paths a pixel; keep them apart")
    parser.add_argument("--seconds", type=float, default=1e9, help="begin no case later than this")
    parser.add_argument("--keep", type=Path, help="keep the photos in this folder, and read those that are there")
    parser.add_argument("--figures", action="store_true", help="print the figures of what is there; do nothing")
    asked = parser.parse_args()
    if not asked.figures:
        _do(asked)
    rows = list(lines_of(asked.out))
    print_figures([row for row in rows if row.get("view", 0) == 0])
    print_views(rows)


def _do(asked: argparse.Namespace) -> None:
    done = {(row["kind"], row["seed"], row.get("view", 0)) for row in lines_of(asked.out)}
    cases = [one for one in _cases(asked) if (one.kind, one.seed, one.view) not in done]
    console, until = Console(stderr=True), time.time() + asked.seconds
    work = partial(one_case, asked.device, asked.traced, asked.keep, until)
    with asked.out.open("a", encoding="utf-8") as out:
        for number, finished in enumerate(over(work, cases, asked.jobs, asked.device), start=1):
            if finished.error is not None:
                console.print(f"{finished.item.kind} {finished.item.seed}: {finished.error.strip().splitlines()[-1]}", markup=False)
            elif finished.result is not None:
                out.write(json.dumps(finished.result) + "\n")
                out.flush()
                console.print(f"{number} of {len(cases)}: {finished.item.kind} {finished.item.seed}", markup=False)


def _cases(asked: argparse.Namespace) -> Iterator[Case]:
    """All kinds in turn, so that a run that ends early has some of each."""
    kinds = asked.kinds.split(",")
    for k in range(max(asked.healthy, asked.each)):
        for kind in kinds:
            if k < (asked.healthy if kind == HEALTHY else asked.each):
                yield from (Case(kind, asked.seed + k, view, asked.views) for view in range(asked.views))


def lines_of(path: Path) -> Iterator[dict[str, Any]]:
    """The rows of a file of JSON lines; a last line cut short by an interruption is passed over."""
    if not path.exists():
        return
    for line in path.read_text(encoding="utf-8").splitlines():
        try:
            yield json.loads(line)
        except json.JSONDecodeError:
            continue


def one_case(device: str, traced: int, keep: Path | None, until: float, case: Case) -> dict[str, Any] | None:
    """Render (unless kept) and read one case: truth and what was said; None where time is up, or it does not lie in the crop."""
    if time.time() > until:
        return None
    scene = scene_of(case)
    if not in_view(scene):
        return None
    row = {"kind": case.kind, "seed": case.seed, "view": case.view, "views": case.views, **truth_row(scene)}
    with tempfile.TemporaryDirectory() as away:
        photo = (keep or Path(away)) / (f"{case.kind}-{case.seed}.jpg" if case.view == 0 else f"{case.kind}-{case.seed}-{case.view}.jpg")
        if not photo.exists():
            photo.parent.mkdir(parents=True, exist_ok=True)
            picture, truth = _picture(scene, device, traced)
            save(picture, truth, photo, scene)
            if case.kind in SMALL and not traced:
                row["shows_px"] = shown_px(scene, picture, lambda other: _picture(other, device, traced)[0])
        given = GivenScale(scene.camera.px_per_mm, GIVEN_U * scene.camera.px_per_mm)
        kept: list[Looked] = []
        reading = read_photo(photo, given=given, prints=NO_PRINTS, held=row["pose"] == "flat", keep=kept)
    readings = kept[0].readings if kept else ()
    found = [_said(one.condition) | {"read_family": one.family.value, "read_size": one.size.value} for one in readings]
    if not found:
        return row | {"error": reading.error, "instruments": 0}
    at = _nearest(scene, [one.box_px for one in readings])
    beside = [said["findings"] for k, said in enumerate(found) if k != at]
    return row | {"error": reading.error, "instruments": len(found), **found[at], "beside": beside, "raw": raw_of(kept[0], at)}


def _nearest(scene: Scene, boxes: Sequence[tuple[int, int, int, int]]) -> int:
    """Which reading is the instrument's: print at the crop's border, which a stated scale does not tell, may be read as another."""
    laid = scene.laid[0]
    axis = place(laid.instrument, laid.pose, CPU).axis_points(np.linspace(0.0, laid.instrument.length_mm, 60))
    px = np.asarray(scene.camera.project(axis))
    inside = [((px >= [x, y]) & (px <= [x + width, y + height])).all(axis=1).sum() for x, y, width, height in boxes]
    return int(np.argmax(inside))


def _picture(scene: Scene, device: str, traced: int) -> tuple[Any, dict[str, Any]]:
    """By the own renderer, or by the second one."""
    if not traced:
        return render(scene, backend_named(device))
    tracer, rays = import_module("samples.tracer"), import_module("samples.tracer_rays")
    picture, truth = tracer.render_traced(scene, rays.Tracing(traced, seed=scene.seed))
    return picture, truth


def _said(condition: ConditionReading) -> dict[str, Any]:
    findings = [
        {
            "kind": one.kind,
            "chance": round(one.probability, 4),
            "strength": round(one.strength.value, 2),
            "u": round(one.strength.u, 2),
            "from_mm": round(one.from_mm, 2),
            "to_mm": round(one.to_mm, 2),
        }
        for one in condition.findings
    ]
    limits = {kind: limit["value"] for kind, limit in condition.smallest_visible.items()}
    return {"call": condition.call, "reasons": list(condition.reasons), "findings": findings, "limits": limits}


if __name__ == "__main__":
    main()
