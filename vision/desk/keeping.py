"""The measuring process's answer -> the records, with the instrument that a tag or the person named."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from vision.desk.jobs import Task
from vision.records.combined import keep_combined
from vision.records.database import open_records, transaction
from vision.records.readings import NewReading, insert_reading
from vision.records.tags import named_by
from vision.records.waiting import forget, strike_out

Json = dict[str, Any]


def keep_answer(folder: Path, task: Task, answer: Json) -> int:
    """Keep one reading and return its number. Raises RecordsError."""
    with open_records(folder) as records:
        if task.combine:
            return keep_combined(records, task.group or "", answer["document"])
        photo = answer["document"]["photos"][0]
        traces = {int(number): made for number, made in answer["traces"].items()}
        named = named_by(records, [tag["number"] for tag in answer["tags"]])
        by_tag = {tag["number"]: tag["corners_px"] for tag in answer["tags"]}
        settings = dict(task.settings) | {
            "tags": answer["tags"],
            "run": task.group,
            "kit": named.kit_code,
            "unknown_tags": list(named.unknown),
        }
        settings |= {"tray": answer["tray"]} if "tray" in answer else {}
        spots = {one: by_tag[number] for number, one in named.by_tag.items()}
        new = NewReading(
            answer["document"],
            traces,
            task.photo_sha256,
            settings,
            instruments_meant(photo["instruments"], spots, task.instrument_id),
            task.read_again_of,
        )
        with transaction(records) as db:
            number = insert_reading(db, new)
            strike_out(db, task.waiting_id)
    return number


def give_up(folder: Path, task: Task) -> None:
    """Let a photo go that could not be read to the end. Raises RecordsError."""
    with open_records(folder) as records:
        forget(records, [] if task.waiting_id is None else [task.waiting_id])


def instruments_meant(found: Sequence[Json], spots: dict[int, Any], said: int | None) -> dict[int, int]:
    """Return which instrument (id) each number in the photo is: as the person said, or as the nearest tag says.

    ``spots``: instrument's id -> its tag's corners. One instrument in the photo takes what was said or the one tag there is.
    Of several, each tag names the nearest one, and only where no other tag is nearest to the same. Things of no known
    family, for instance the label itself, count only where nothing else was found.
    """
    found = [one for one in found if one["family"]["value"] not in (None, "other")] or found
    if said is not None:
        return {found[0]["id"]: said} if len(found) == 1 else {}
    if len(found) == 1 and len(spots) == 1:
        return {found[0]["id"]: next(iter(spots))}
    nearest: dict[int, list[int]] = {}
    for instrument, corners in spots.items():
        if found:
            middle = np.mean(corners, axis=0)
            number = min(found, key=lambda one: _distance_px(one["box_px"], middle))["id"]
            nearest.setdefault(number, []).append(instrument)
    return {number: meant[0] for number, meant in nearest.items() if len(meant) == 1}


def _distance_px(box: Sequence[float], point: Any) -> float:
    """Distance of a point from a box (x, y, width, height)."""
    x, y, width, height = box
    dx = max(x - point[0], 0.0, point[0] - x - width)
    dy = max(y - point[1], 0.0, point[1] - y - height)
    return float(np.hypot(dx, dy))
