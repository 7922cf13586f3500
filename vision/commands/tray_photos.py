"""Reads the photos of a tray, one after another, with progress; what could be read is kept whatever happens to the others."""

from __future__ import annotations

import argparse
import warnings
from collections.abc import Mapping, Sequence
from pathlib import Path

from rich.console import Console

from vision.commands.camera_choice import chosen_cameras
from vision.commands.given_photos import shown_names
from vision.commands.outputs import picture_folder, picture_names
from vision.commands.progress import waiting
from vision.errors import FlutegaugeError
from vision.photo import load_photo
from vision.pipeline import read_photo
from vision.reading import PhotoReading
from vision.report.words import plain
from vision.together import Looked
from vision.tray.looked import TrayPhoto, tray_photo


def read_trays(photos: Sequence[Path], arguments: argparse.Namespace) -> list[TrayPhoto]:
    """Read every photo; one that cannot be examined comes with its error. Two of one name are told apart, or they would be one photo."""
    cameras = chosen_cameras(arguments.camera)
    progress = Console(stderr=True, markup=False, highlight=False, emoji=False)
    read = []
    for number, (photo, name) in enumerate(zip(photos, shown_names(photos), strict=True), 1):
        kept: list[Looked] = []
        with waiting(f"reading {plain(photo.name)} ({number} of {len(photos)})", progress):
            try:
                reading = read_photo(photo, given=None, prints=arguments.prints, held=False, keep=kept, cameras=cameras)
            except FlutegaugeError as error:
                reading = PhotoReading(photo.name, ("internal", str(error)), None)
        renamed = PhotoReading(name, reading.error, reading.scale, reading.instruments, reading.notes)
        read.append(tray_photo(renamed, kept[0] if kept else None))
    return read


def partial_of(photos: Sequence[TrayPhoto]) -> str | None:
    """Why what was read is not everything, None when it is."""
    failed = [photo for photo in photos if photo.reading.error is not None]
    return "; ".join(f"{photo.file} could not be examined: {photo.retake}" for photo in failed) or None


def planned_pictures(arguments: argparse.Namespace) -> dict[Path, Path]:
    """Where each photo's picture goes, checked before any work. Raises UsageError."""
    if arguments.picture is None:
        return {}
    named = zip(arguments.photos, picture_names(arguments.photos), strict=True)
    targets = {photo: arguments.picture / f"{name}-tray.png" for photo, name in named}
    existing = [target for target in targets.values() if target.exists()]
    picture_folder(arguments.picture, existing, overwrite=arguments.overwrite, inputs=arguments.photos)
    return targets


def draw_pictures(
    targets: Mapping[Path, Path],
    read: Sequence[TrayPhoto],
    photos: Sequence[Path],
    marks: Mapping[tuple[str, int], str],
    said: Sequence[str],
    cautions: Sequence[str],
) -> None:
    """Draw the photos that could be examined."""
    if not targets:
        return
    from vision.tray.picture import tray_figure  # noqa: PLC0415 - loads the drawing library

    for path, one in zip(photos, read, strict=True):
        if one.reading.error is None:
            own = {number: mark for (photo, number), mark in marks.items() if photo == one.file}
            with warnings.catch_warnings():  # a name in letters that the font lacks is drawn as boxes
                warnings.filterwarnings("ignore", message="Glyph .* missing from")
                tray_figure(load_photo(path), one.reading, own, said, cautions).savefig(targets[path])
            print(f"picture: {plain(str(targets[path]))}")
