"""The photos that a person named: is one of them there twice, and what is each to be called."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from itertools import combinations
from pathlib import Path

from vision.errors import UsageError

ENDINGS = (".avif", ".bmp", ".heic", ".heif", ".jpeg", ".jpg", ".png", ".tif", ".tiff", ".webp")


def given_once(photos: Sequence[Path]) -> None:
    """Refuse one photo named twice: it would count its instruments twice, or make u smaller without knowing more. Raises UsageError."""
    for first, second in same_photos(photos):
        raise UsageError(f"{_both(first, second)}: name each photo once, or another photo in its place")


def same_photos(photos: Sequence[Path]) -> list[tuple[Path, Path]]:
    """Pairs of files that hold the very same bytes; only files of one size are read."""
    there = [photo for photo in photos if photo.is_file()]
    return [pair for pair in combinations(there, 2) if pair[0].stat().st_size == pair[1].stat().st_size and len({*map(_hash, pair)}) == 1]


def shown_names(photos: Sequence[Path]) -> list[str]:
    """What to call each photo: its file's name, with its folder where two have the same name, with its number where even that repeats."""
    names = [photo.name for photo in photos]
    longer = [name if names.count(name) == 1 else f"{photo.parent.name}/{name}" for photo, name in zip(photos, names, strict=True)]
    return [name if longer.count(name) == 1 else f"{name} [{k}]" for k, name in enumerate(longer, 1)]


def _both(first: Path, second: Path) -> str:
    if first.resolve() == second.resolve():
        return f"{first} is named twice"
    return f"{first} and {second} are one and the same photo"


def _hash(photo: Path) -> str:
    with photo.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
