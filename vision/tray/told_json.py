"""What is told of a tray's photo <-> JSON, to be kept beside the reading and sorted or checked again without measuring."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, fields
from typing import Any

from vision.reading import PhotoReading
from vision.tray.looked import TrayPhoto
from vision.tray.told import Told

Json = dict[str, Any]
PLACES = ("place_mm", "why")  # tuples, which JSON has as lists


def tray_json(photo: TrayPhoto) -> Json:
    """Sheet, why to take the photo again, which slots hold something, notes, and what is told of each instrument."""
    told = [asdict(one) for one in photo.told]
    kept = {"sheet": photo.sheet, "retake": photo.retake, "filled": list(photo.filled), "told": told}
    return kept | {"notes": list(photo.reading.notes)}


def tray_from(kept: Mapping[str, Any], file: str, error: tuple[str, str] | None) -> TrayPhoto:
    """The same photo again, without its numbers. ``file``: what to call it; ``error``: why it could not be examined."""
    told = tuple(_told(row, file) for row in kept["told"])
    reading = PhotoReading(file, error, None, notes=tuple(kept.get("notes", ())))
    return TrayPhoto(reading, told, kept["sheet"], kept["retake"], tuple(kept.get("filled", ())))


def _told(row: Mapping[str, Any], file: str) -> Told:
    known = {field.name: row[field.name] for field in fields(Told) if field.name in row}  # what newer versions added has its default
    return Told(**known | {name: None if known[name] is None else tuple(known[name]) for name in PLACES} | {"photo": file})
