"""One photo of a batch, and how a process that reads some is set up; imports nothing heavy, so that processes start quickly."""

from __future__ import annotations

import multiprocessing
import os
import threading
from dataclasses import dataclass

ONE_THREAD = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")


@dataclass(frozen=True)
class Item:
    """One photo: where it lies (a path or an fsspec address) and the name it goes by in the results."""

    place: str
    name: str


def in_one_thread() -> None:
    """Set this process up to use one thread; call it before the libraries are loaded."""
    for name in ONE_THREAD:
        os.environ[name] = "1"


def as_reader() -> None:
    """Set this process up to read photos for the one that started it: one thread, and no life without it."""
    in_one_thread()
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()  # also where it was killed: then nobody else would end this process
        os._exit(1)
