"""Photos in the records: stored once by their content's hash, without place and names, whole on the disk before their row."""

from __future__ import annotations

import hashlib
import io
import os
import sqlite3
import warnings
from dataclasses import dataclass
from pathlib import Path

import pillow_heif
from PIL import Image

from vision.exif import CameraInfo, recorded
from vision.photo import FORMATS
from vision.records.clock import now
from vision.records.database import Records, transaction
from vision.records.faults import RecordsError, explained
from vision.records.strip_photo import stripped

CACHE = "cache"


@dataclass(frozen=True)
class PhotoFile:
    """A kept photo. ``removed_at`` tells when the picture itself was deleted under the retention rule."""

    sha256: str
    name: str
    ending: str
    bytes: int
    width_px: int | None
    height_px: int | None
    camera_make: str | None
    camera_model: str | None
    f35_mm: float | None
    added_at: str
    removed_at: str | None


def keep_photo(records: Records, data: bytes, name: str) -> PhotoFile:
    """Keep a photo; the same content twice is kept once. Raises PhotoError for what is no photo, RecordsError."""
    clean, ending = stripped(data)
    digest = hashlib.sha256(clean).hexdigest()
    path = _path(records, digest, ending)
    with explained(path):
        _write_durably(path, clean)
    size, camera = _described(clean)
    with transaction(records) as db:
        old = db.execute("SELECT removed_at FROM photo WHERE sha256 = ?", (digest,)).fetchone()
        if old is None:
            values = (digest, name, ending, len(clean), *size, camera.make, camera.model, camera.f35_mm, now())
            db.execute("INSERT INTO photo VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, NULL)", values)
            _meet_camera(db, camera)
        elif old[0] is not None:
            db.execute("UPDATE photo SET removed_at = NULL WHERE sha256 = ?", (digest,))
    return photo(records, digest)


def photo(records: Records, sha256: str) -> PhotoFile:
    """Return a kept photo. Raises RecordsError of kind 'unknown'."""
    row = records.db.execute("SELECT * FROM photo WHERE sha256 = ?", (sha256,)).fetchone()
    if row is None:
        raise RecordsError("unknown", f"no photo {sha256[:12]} is kept: choose one from the records")
    return PhotoFile(**dict(row))


def photo_path(records: Records, sha256: str) -> Path | None:
    """Return where a photo lies; None when it was removed under the retention rule. Raises RecordsError."""
    kept = photo(records, sha256)
    path = _path(records, kept.sha256, kept.ending)
    return path if kept.removed_at is None and path.is_file() else None


def drop_unread(records: Records, *, sha256: str) -> bool:
    """Drop a photo that no reading and no waiting entry speaks of; tell whether it was dropped."""
    with transaction(records) as db:
        row = db.execute(
            "DELETE FROM photo WHERE sha256 = ? AND NOT EXISTS (SELECT 1 FROM reading WHERE photo_sha256 = photo.sha256) "
            "AND NOT EXISTS (SELECT 1 FROM waiting WHERE photo_sha256 = photo.sha256) RETURNING ending",
            (sha256,),
        ).fetchone()
    if row is None:
        return False
    path = _path(records, sha256, row["ending"])
    with explained(path):
        path.unlink(missing_ok=True)
    return True


def copies_of(records: Records, sha256: str) -> str:
    """Return how the names of smaller copies of a photo begin, in the folder CACHE: they go when the photo goes."""
    photo(records, sha256)
    return f"{sha256[:24]}-"


def _path(records: Records, digest: str, ending: str) -> Path:
    return records.photos / digest[:2] / f"{digest}.{ending}"


def _write_durably(path: Path, data: bytes) -> None:
    """Write a file so that after a crash it is whole or absent: draft, flush to the disk, rename, flush the folder."""
    if path.is_file() and path.stat().st_size == len(data):
        return
    path.parent.mkdir(parents=True, exist_ok=True)
    draft = path.with_name(f".{path.name}.{os.getpid()}.draft")
    try:
        with draft.open("wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        draft.replace(path)
    finally:
        draft.unlink(missing_ok=True)
    _flush_folder(path.parent)


def _flush_folder(folder: Path) -> None:
    if os.name != "posix":  # elsewhere a folder cannot be opened
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _described(data: bytes) -> tuple[tuple[int | None, int | None], CameraInfo]:
    """Return width and height as stored, and what the camera recorded; nothing for a picture that does not open."""
    pillow_heif.register_heif_opener()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # size and damage are judged when the photo is read
        try:
            with Image.open(io.BytesIO(data), formats=FORMATS) as image:
                return image.size, recorded(image)[0]
        except (OSError, SyntaxError, ValueError, Image.DecompressionBombError):
            return (None, None), CameraInfo()


def _meet_camera(db: sqlite3.Connection, camera: CameraInfo) -> None:
    if not (camera.make or camera.model):
        return
    key = (camera.make or "", camera.model or "", camera.f35_mm or 0.0)
    db.execute(
        "INSERT INTO camera (make, model, f35_mm, first_at, last_at, photos) VALUES (?, ?, ?, ?, ?, 1) "
        "ON CONFLICT (make, model, f35_mm) DO UPDATE SET last_at = excluded.last_at, photos = photos + 1",
        (*key, now(), now()),
    )
