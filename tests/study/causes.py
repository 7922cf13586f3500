"""One cause of error switched off at a time: the truth put in place of what one stage found, the rest left as it is.

The stages are not built to be told the truth, so it is slipped in from outside, for one reading, by replacing a function
where ``vision.instrument``, ``vision.run_on`` or ``vision.pipeline`` calls it. Only single photos of kept pictures, with their truth.
"""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, nullcontext
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any
from unittest.mock import patch

import numpy as np
from scipy.spatial import cKDTree

import vision.instrument as stages
import vision.run_on as following
from samples.bulk import over
from tests.study import rows
from tests.study.cases import Case, cases, errors, of_group
from tests.study.design import SETUPS, Item
from tests.study.measured import PRINTED
from tests.study.produce import prints_of
from tests.study.read import photo_row, truth_row
from tests.study.text_table import number, table
from vision import dimensions, pipeline
from vision.marks import Mark, Marks
from vision.pose import Height
from vision.quantity import Quantity
from vision.scale import Scale

CAUSES = ("as read", "true scale", "true height", "true end marks", "true outline", "all of them")
EXACT_MM, EXACT_PX = 0.005, 0.1
BIASES = ("CREST_THIN_PX", "SHANK_THIN_PX")  # corrections of the found outline's mean bias: the true one has none


def run_causes(folder: Path, out: Path, most: int, jobs: int, seconds: float) -> int:
    """Read each kept photo once as it is and once with every cause switched off; prints the table; returns the status."""
    until, already = time.time() + seconds, rows.done(out)
    wanted = [item for item in _kept(folder)[:most] if item.name not in already]
    failed = 0
    for one in over(partial(read_causes, folder, until), wanted, jobs):
        if one.error is not None:
            failed += 1
            print(one.item.name, one.error, file=sys.stderr, flush=True)
        elif one.result is not None:
            rows.add(out, one.result)
            print(one.item.name, file=sys.stderr, flush=True)
    print(causes_table(rows.load([out])) if out.exists() else "nothing was read")
    return 1 if failed else 0


def read_causes(folder: Path, until: float, item: Item) -> dict[str, Any] | None:
    """One row: the truth, and a reading under each cause. None when the time is up."""
    if time.time() > until:
        return None
    path = folder / f"{item.name}-0.jpg"
    truth = json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))
    prints, held = prints_of(item, folder, truth), truth["instruments"][0]["pose"] == "flat"
    found = {}
    for cause in CAUSES:
        with switched(cause, truth):
            photo = pipeline.read_photo(path, given=None, prints=prints, held=held)
        found[cause] = photo_row(photo, truth)
    return {"item": item.name, "setup": item.setup, "seed": item.seed, "held": held, "truth": truth_row(truth), "causes": found}


@contextmanager
def switched(cause: str, truth: dict[str, Any]) -> Iterator[None]:
    """Readings inside find the truth where the cause would act."""
    wanted = CAUSES[1:5] if cause == "all of them" else (cause,)
    one = truth["instruments"][0]
    axis_px: list[np.ndarray] = []
    locate, marks, height, scale = following.locate_edges, stages.read_marks, stages._height, pipeline.find_scale

    def located(*args: Any, **named: Any) -> Any:
        edges = locate(*args, **named)
        axis_px[:] = [edges.strip.axis_px]
        if "true outline" not in wanted:
            return edges
        upper, lower = true_offsets(edges.strip.axis_px, edges.strip.normal, one)
        return replace(edges, upper_px=upper, lower_px=lower, outer_px=np.stack([upper, lower]), doubt_px=0.0)

    def marked(kinds: Any, px_per_mm: float) -> Marks:
        seen = marks(kinds, px_per_mm)
        return true_marks(seen, axis_px[0], one) if "true end marks" in wanted else seen

    def high(*args: Any, **named: Any) -> Any:
        found, checked = height(*args, **named)
        return (true_height(one), checked) if "true height" in wanted else (found, checked)

    def scaled(*args: Any, **named: Any) -> Scale:
        found = scale(*args, **named)
        return true_scale(found, truth) if "true scale" in wanted else found

    unbiased = {name: 0.0 for name in BIASES if "true outline" in wanted and hasattr(dimensions, name)}
    with (
        patch.multiple(dimensions, **unbiased) if unbiased else nullcontext(),
        patch.object(following, "locate_edges", located),
        patch.object(stages, "read_marks", marked),
        patch.object(stages, "_height", high),
        patch.object(pipeline, "find_scale", scaled),
    ):
        yield


def true_offsets(axis_px: np.ndarray, normal: np.ndarray, one: dict[str, Any]) -> tuple[np.ndarray, np.ndarray]:
    """The true outline as offsets from an axis (N, 2) with unit normals, one a column; NaN beyond its ends."""
    sides = [_offsets(np.array(one["outline_px"][name])[:, 1:], axis_px, normal) for name in ("upper", "lower")]
    first, second = sides
    return (first, second) if np.nanmean(first) > np.nanmean(second) else (second, first)


def true_marks(seen: Marks, axis_px: np.ndarray, one: dict[str, Any]) -> Marks:
    """Tip, handle's front and the working part's end where they are; the front only where it was in view."""
    line = np.array(one["axis_px"])
    end = np.array([np.interp(one["working_part_mm"], line[:, 0], line[:, k]) for k in (1, 2)])
    tip, front, part = (_mark(axis_px, np.array(spot)) for spot in (one["tip_px"], one["handle_px"], end))
    covered = seen.part_end_hidden
    return replace(
        seen,
        tip=tip if one["visible"]["tip"] else seen.tip,
        front=front if one["visible"]["handle_front"] else seen.front,
        part_end=seen.part_end if covered else part,
    )


def true_height(one: dict[str, Any]) -> Height:
    """Height of the axis at tip and handle, and its sag between."""
    x, z = np.array(one["height_mm_of_x"]).T
    tip, front, middle = float(z[0]), float(z[-1]), float(np.interp(x[-1] / 2.0, x, z))
    return Height(tip, front, EXACT_MM, EXACT_MM, 0.0, "true", middle - (tip + front) / 2.0)


def true_scale(found: Scale, truth: dict[str, Any]) -> Scale:
    """The renderer's own camera and print in place of the fit."""
    matrix, stretch = np.array(truth["camera"]["matrix"]), (truth["print_scale"]["x"], truth["print_scale"]["y"])
    plane, half = matrix[:, [0, 1, 3]], float(np.hypot(*found.centre_px))
    x, y, height = truth["camera"]["position_mm"]
    old = np.array(found.print_scale)
    return replace(
        found,
        homography=plane / plane[2, 2],
        k1=truth["camera"]["k1"] * (found.radius_px / half) ** 2,
        covariance=np.zeros_like(found.covariance),
        print_u=(0.0, 0.0),
        print_scale=stretch,
        saddles_mm=found.saddles_mm / old * np.array(stretch),
        camera=replace(found.camera, foot_mm=(x, y), height_mm=Quantity(height, EXACT_MM)),
    )


def causes_table(found: Sequence[rows.Row]) -> str:
    """Median and 95th percentile of the errors' sizes under each cause, per group and quantity."""
    by_cause = {cause: _cases(found, cause) for cause in CAUSES}
    lines = []
    for group in dict.fromkeys(case.group for case in by_cause[CAUSES[0]]):
        for one in PRINTED[:7]:
            got = [np.abs(errors(of_group(by_cause[cause], group), one.name, one.factor).error) for cause in CAUSES]
            if len(got[0]) > 2:
                cells = [f"{number(_at(e, 50))} / {number(_at(e, 95))} ({len(e)})" for e in got]
                lines.append([group, f"{one.words}, {one.unit}", *cells])
    return table(("group", "quantity", *(f"{cause}: median / 95 % (n)" for cause in CAUSES)), lines)


def _at(sizes: np.ndarray, q: float) -> float | None:
    return float(np.percentile(sizes, q)) if len(sizes) else None


def _cases(found: Sequence[rows.Row], cause: str) -> list[Case]:
    return cases({**row, "photos": [row["causes"][cause]]} for row in found)


def _kept(folder: Path) -> list[Item]:
    """Items of one photo whose truth lies in the folder, the set-ups in turn."""
    names = [path.name.removesuffix("-0.json").rpartition("-") for path in sorted(folder.glob("*-0.json"))]
    items = [Item(setup, int(seed)) for setup, _, seed in names if setup in SETUPS and SETUPS[setup].photos == 1]
    place = {item: sum(other.setup == item.setup for other in items[:k]) for k, item in enumerate(items)}
    return sorted((item for item in items if not SETUPS[item.setup].stranger), key=lambda item: (place[item], item.setup))


def _mark(axis_px: np.ndarray, spot: np.ndarray) -> Mark:
    return Mark(float(_column(axis_px, spot[None])[0][0]), EXACT_PX)


def _offsets(points: np.ndarray, axis_px: np.ndarray, normal: np.ndarray) -> np.ndarray:
    column, nearest = _column(axis_px, points)
    offset = ((points - axis_px[nearest]) * normal[nearest]).sum(axis=1)
    order = np.argsort(column)
    return np.interp(np.arange(len(axis_px)), column[order], offset[order], left=np.nan, right=np.nan)


def _column(axis_px: np.ndarray, points: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Columns (with fraction) whose normals pass through the points, and the nearest whole ones."""
    _, nearest = cKDTree(axis_px).query(points)
    tangent = np.gradient(axis_px, axis=0)
    length2 = (tangent**2).sum(axis=1)
    return nearest + ((points - axis_px[nearest]) * tangent[nearest]).sum(axis=1) / length2[nearest], nearest
