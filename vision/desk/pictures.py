"""Kept photos -> JPEG files that a browser shows: the whole, small, or a part at full size. Made once, kept in a cache folder."""

from __future__ import annotations

import io
from pathlib import Path

from PIL import Image

from vision.photo import load_photo
from vision.records.database import Records
from vision.records.faults import RecordsError, explained
from vision.records.photos import CACHE, copies_of, photo, photo_path

WHOLE_PX, PART_PX = 1600, 3000
QUALITY = 88
MOST_COPIES = 600  # some 200 MB
Box = tuple[int, int, int, int]


def upright_px(records: Records, sha256: str) -> tuple[int, int] | None:
    """Return width and height of the upright photo; None when the picture is gone."""
    path = photo_path(records, sha256)
    if path is None:
        return None
    known = _cache(records, sha256, "size")
    if known.is_file():
        width, height = known.read_text(encoding="ascii").split()
        return int(width), int(height)
    shown = load_photo(path)
    _keep(known, f"{shown.width_px} {shown.height_px}".encode())
    return shown.width_px, shown.height_px


def whole(records: Records, sha256: str) -> bytes:
    """Return the whole photo, upright, at most WHOLE_PX a side, as JPEG. Raises RecordsError or PhotoError."""
    return _made(records, sha256, None, WHOLE_PX)


def part(records: Records, sha256: str, box: Box) -> bytes:
    """Return a part of the upright photo (x, y, width, height in px), at most PART_PX a side, as JPEG."""
    return _made(records, sha256, box, PART_PX)


def _made(records: Records, sha256: str, box: Box | None, most_px: int) -> bytes:
    path = photo_path(records, sha256)
    if path is None:
        raise RecordsError(
            "unknown", f"the picture {photo(records, sha256).name} was removed under the rule for old photos"
        )
    target = _cache(records, sha256, "whole.jpg" if box is None else "-".join(map(str, box)) + ".jpg")
    if target.is_file():
        return target.read_bytes()
    shown = Image.fromarray(load_photo(path).rgb)
    if box is not None:
        x, y, width, height = box
        shown = shown.crop((x, y, x + width, y + height))
    shown.thumbnail((most_px, most_px))
    made = io.BytesIO()
    shown.save(made, "JPEG", quality=QUALITY)
    _keep(target, made.getvalue())
    return made.getvalue()


def _cache(records: Records, sha256: str, name: str) -> Path:
    return records.folder / CACHE / (copies_of(records, sha256) + name)


def _keep(path: Path, data: bytes) -> None:
    """Keep for the next time; a full disk costs only that."""
    try:
        with explained(path):
            path.parent.mkdir(exist_ok=True)
            draft = path.with_name(f".{path.name}.draft")
            draft.write_bytes(data)
            draft.replace(path)
            copies = sorted(path.parent.iterdir(), key=lambda copy: copy.stat().st_mtime)
            for old in copies[:-MOST_COPIES]:
                old.unlink(missing_ok=True)
    except RecordsError:
        path.unlink(missing_ok=True)
