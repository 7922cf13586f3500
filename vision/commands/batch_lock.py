"""One run at a time writes into a folder of results; the lock goes with its process, however that ends."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterator
from pathlib import Path

from vision.errors import UsageError


@contextlib.contextmanager
def alone(folder: Path) -> Iterator[None]:
    """Hold a folder that exists. Raises UsageError while another run writes into it; where no such lock exists, nothing is held."""
    try:
        import fcntl  # noqa: PLC0415 - not on Windows
    except ImportError:
        yield
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as error:
            raise UsageError(f"another run is writing into {folder} now: wait for its end, or name another folder") from error
        yield
    finally:
        os.close(handle)
