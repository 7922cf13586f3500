"""Fills a folder in one step: it must be empty or missing, and holds all of it or nothing afterwards."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from vision.records.faults import RecordsError, explained


@contextmanager
def into_empty(folder: Path) -> Iterator[Path]:
    """Give a draft folder beside ``folder``; what was put there moves over when the block ends well. Raises RecordsError."""
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise RecordsError(
            "not-empty", f"{folder} is not empty, and nothing in it is touched: name a new or an empty folder"
        )
    with explained(folder):
        folder.parent.mkdir(parents=True, exist_ok=True)
        draft = Path(tempfile.mkdtemp(prefix=f".{folder.name}.", dir=folder.parent))
    try:
        yield draft
        with explained(folder):
            if folder.exists():
                folder.rmdir()
            draft.rename(folder)
    finally:
        shutil.rmtree(draft, ignore_errors=True)
