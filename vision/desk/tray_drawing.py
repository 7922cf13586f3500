"""A kept tray photo -> what its picture needs: a numeral with its mark for each instrument, clear of the metal."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from vision.desk.drawing import path
from vision.desk.pictures import upright_px
from vision.desk.reading_page import has_photo
from vision.records.database import Records
from vision.records.readings import KeptReading, examined, trace
from vision.tray.places import body_of, label_places

DISC = 0.022  # of the picture's width


@dataclass(frozen=True)
class Label:
    """One instrument's text, where it stands, and the leader to its metal."""

    number: int
    text: str
    words: str
    at: tuple[float, float]
    leader: str
    axis: str


@dataclass(frozen=True)
class TrayDrawing:
    """One photo with its labels; ``radius`` of their discs in px."""

    reading: int
    file: str
    sha256: str
    size: tuple[int, int]
    radius: float
    labels: tuple[Label, ...]


def tray_drawing(records: Records, kept: KeptReading, marks: Mapping[int, tuple[str, str]]) -> TrayDrawing | None:
    """Draw one photo; ``marks``: number -> mark and words. None where the picture is gone or could not be examined."""
    if kept.photo_sha256 is None or kept.error_kind is not None or not has_photo(records, kept):
        return None
    size = upright_px(records, kept.photo_sha256)
    if size is None:
        return None
    found: list[Mapping[str, Any]] = kept.photo["instruments"]
    lines = [(trace(records, examined(records, kept.id, one["id"])[0].id) or {}).get("axis_px", []) for one in found]
    bodies = [
        body_of(np.array(line), one["handle_px"], one["box_px"], one["local_px_per_mm"]) for one, line in zip(found, lines, strict=True)
    ]
    radius = DISC * size[0]
    labels = [
        _label(one["id"], body, place, marks.get(one["id"], ("", "")))
        for one, body, place in zip(found, bodies, label_places(bodies, radius, size), strict=True)
    ]
    return TrayDrawing(kept.id, kept.file, kept.photo_sha256, size, round(radius, 1), tuple(labels))


def _label(number: int, body: Any, place: Any, mark: tuple[str, str]) -> Label:
    start = body[int(np.linalg.norm(body - place, axis=1).argmin())]
    at = (round(float(place[0]), 1), round(float(place[1]), 1))
    return Label(number, f"{number}{mark[0]}", mark[1], at, path(np.array([start, place])), path(np.asarray(body)))
