"""What is done with one photo of a batch, wherever: in a process of this computer or on a cluster's worker."""

from __future__ import annotations

import json
import tempfile
from dataclasses import replace
from pathlib import Path

import cv2

from vision.commands.batch_arguments import WEB
from vision.commands.batch_item import Item
from vision.commands.measure import Plan, examine
from vision.reading import PhotoReading
from vision.report import document


def line_of(item: Item, plan: Plan) -> str:
    """Read one photo in one thread; return its line of JSON. Never raises for a photo's sake."""
    cv2.setNumThreads(1)
    if WEB in item.place:
        return _fetched(item, plan)
    return as_line(examine(Path(item.place), plan), item)


def lost(item: Item) -> str:
    """Return the line of a photo whose reading ended its process every time."""
    message = (
        f"{item.name} ended the process that read it, twice: it may need more memory than is free; read it alone, with "
        "other programmes closed"
    )
    return as_line(PhotoReading(item.name, ("internal", message), None), item)


def as_line(reading: PhotoReading, item: Item) -> str:
    """Return the photo's part of the JSON document on one line, under the name it goes by."""
    whole = document.document([replace(reading, file=item.name)])
    return json.dumps(whole["photos"][0], ensure_ascii=False, allow_nan=False)


def _fetched(item: Item, plan: Plan) -> str:
    import fsspec  # noqa: PLC0415 - comes with the extra 'cluster'

    with tempfile.TemporaryDirectory() as folder:
        local = Path(folder) / Path(item.place).name
        try:
            with fsspec.open(item.place, "rb") as source:
                local.write_bytes(source.read())
        except (OSError, ValueError) as error:
            said = " ".join(str(error).split())[:160]
            message = f"{item.place} cannot be fetched ({type(error).__name__}: {said}): check the address and its permissions"
            return as_line(PhotoReading(item.name, ("no-file", message), None), item)
        return as_line(examine(local, plan), item)
