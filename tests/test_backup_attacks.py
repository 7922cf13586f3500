"""Backups that somebody has built to reach outside, to swell, or to say nonsense: nothing is restored from them."""

from __future__ import annotations

import hashlib
import json
import time
import zipfile
from pathlib import Path

import pytest

from vision.records.backup import FORMAT, LIST, restore
from vision.records.faults import RecordsError


def packed(path: Path, files: dict[str, bytes], listed: object) -> Path:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as target:
        for name, data in files.items():
            target.writestr(name, data)
        target.writestr(LIST, json.dumps(listed))
    return path


def listing(files: dict[str, bytes]) -> dict[str, object]:
    return {"format": FORMAT, "files": {name: hashlib.sha256(data).hexdigest() for name, data in files.items()}}


@pytest.mark.parametrize("name", ["../evil", "/evil", "photos/../../evil", "photos\\..\\evil", "evil/x", "."])
def test_a_backup_that_reaches_outside_restores_nothing(tmp_path: Path, name: str) -> None:
    files = {"records.sqlite": b"x", name: b"evil"}
    with pytest.raises(RecordsError) as raised:
        restore(packed(tmp_path / "b.zip", files, listing(files)), tmp_path / "in" / "records")

    assert raised.value.kind in ("not-ours", "damaged")
    assert not (tmp_path / "in" / "records").exists()
    assert list(tmp_path.rglob("evil*")) == []


def test_a_backup_that_swells_is_refused_before_it_is_unpacked(tmp_path: Path) -> None:
    files = {"records.sqlite": bytes(60_000_000)}
    path = packed(tmp_path / "b.zip", files, listing(files))
    began = time.monotonic()
    with pytest.raises(RecordsError, match="would unpack to 60 MB"):
        restore(path, tmp_path / "records")

    assert time.monotonic() - began < 6.0
    assert not (tmp_path / "records").exists()


@pytest.mark.parametrize(
    "listed", [[], 7, {}, {"format": FORMAT}, {"format": FORMAT, "files": []}, {"format": FORMAT, "files": {"records.sqlite": 7}}]
)
def test_a_backup_whose_list_is_nonsense_is_refused(tmp_path: Path, listed: object) -> None:
    with pytest.raises(RecordsError):
        restore(packed(tmp_path / "b.zip", {"records.sqlite": b"x"}, listed), tmp_path / "records")
