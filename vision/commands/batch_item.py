"""One photo of a batch, and how a process is kept to one thread; imports nothing heavy, so that processes start quickly."""

from __future__ import annotations

import os
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
