"""Where results go. Decided and checked before any work, so that nothing is lost and nothing is overwritten unasked."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path

from vision.errors import UsageError

HOW = "nothing was overwritten: add --overwrite to replace it, or name another place"


def new_file(target: Path, *, overwrite: bool, inputs: Sequence[Path] = ()) -> Path:
    """Return ``target`` if a file may be written there. Raises UsageError with the next step."""
    if target.is_dir():
        raise UsageError(f"{target} is a folder, needs a file's name: add the name to it")
    if not target.parent.is_dir():
        raise UsageError(f"there is no folder {target.parent}: make it first, or name another place")
    if not os.access(target.parent, os.W_OK) or (target.exists() and not target.is_file()):
        raise UsageError(f"{target} cannot be written as a file: name another place")
    _refuse_inputs([target], inputs)
    if target.exists() and not overwrite:
        raise UsageError(f"{target} exists already and {HOW}")
    return target


def new_pdf(target: Path, *, overwrite: bool, inputs: Sequence[Path] = ()) -> Path:
    """The same for a PDF, which programs know by its ending. Raises UsageError."""
    if target.suffix.lower() != ".pdf":
        raise UsageError(f"--pdf {target.name} does not end in .pdf: name it so")
    return new_file(target, overwrite=overwrite, inputs=inputs)


def write_text(target: Path, text: str, *, overwrite: bool) -> None:
    """Write a whole file in one step: after a crash it holds the old text or the new. Raises OSError."""
    draft = target.with_name(f".{target.name}.{os.getpid()}.draft")
    try:
        draft.write_text(text, encoding="utf-8")
        if not overwrite and target.exists():  # it came into being while the photos were examined
            raise FileExistsError(17, f"exists already and {HOW}", str(target))
        draft.replace(target)
    finally:
        draft.unlink(missing_ok=True)


def picture_names(photos: Sequence[Path]) -> list[str]:
    """Return a name for each photo's pictures, from its own; 'a', 'a-2', 'a-3' where names repeat."""
    names: list[str] = []
    for photo in photos:
        wanted, number = photo.stem or "photo", 1
        name = wanted
        while name.casefold() in {taken.casefold() for taken in names}:
            number += 1
            name = f"{wanted}-{number}"
        names.append(name)
    return names


def picture_folder(folder: Path, existing: Sequence[Path], *, overwrite: bool, inputs: Sequence[Path]) -> Path:
    """Return ``folder``, made if missing, if the pictures may be written there. Raises UsageError."""
    _refuse_inputs(existing, inputs)
    if existing and not overwrite:
        raise UsageError(f"{existing[0]} exists already and {HOW}")
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise UsageError(f"{folder} cannot hold pictures ({error.strerror}): name another folder") from error
    return folder


def _refuse_inputs(targets: Sequence[Path], inputs: Sequence[Path]) -> None:
    """Refuse to write over a photo that is being examined, even with --overwrite."""
    photos = {photo.resolve() for photo in inputs}
    for target in targets:
        if target.resolve() in photos:
            raise UsageError(f"{target} is one of the photos to examine and is never written over: name another place")
