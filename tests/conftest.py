"""What every test needs before NumPy is imported (one BLAS thread, since many small fits only wait for more), and desks with records."""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from invented_records import client, fill
from starlette.testclient import TestClient


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder of invented records."""
    folder = tmp_path_factory.mktemp("desk") / "records"
    fill(folder)
    return folder


@pytest.fixture(scope="module")
def desk(filled: Path) -> Iterator[TestClient]:
    """For tests that change nothing."""
    with client(filled) as opened:
        yield opened


@pytest.fixture
def own(filled: Path, tmp_path: Path) -> Iterator[TestClient]:
    """For tests that change something."""
    shutil.copytree(filled, tmp_path / "records")
    with client(tmp_path / "records") as opened:
        yield opened
