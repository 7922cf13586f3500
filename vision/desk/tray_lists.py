"""The lists of what a tray must hold: TOML files in the folder 'lists' beside the records."""

from __future__ import annotations

import os
import re
from pathlib import Path

from vision.desk.settings import Desk
from vision.records.database import LISTS
from vision.records.faults import RecordsError
from vision.tray.kit import Kit, kit_text, parse_kit, read_kit

NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9_ -]{0,39}")


def names(desk: Desk) -> list[str]:
    """Return the kept lists by name."""
    return sorted(path.stem for path in (desk.folder / LISTS).glob("*.toml"))


def kept(desk: Desk, name: str) -> Kit:
    """Return a kept list. Raises RecordsError of kind 'unknown', UsageError for a damaged file."""
    if name not in names(desk):
        raise RecordsError("unknown", desk.say("lists.unknown", name=name[:40]))
    return read_kit(desk.folder / LISTS / f"{name}.toml")


def keep(desk: Desk, name: str, rows: bytes, suffix: str = ".csv") -> Kit:
    """Check a list and keep it, in place of one of that name. Raises RecordsError, UsageError, OSError."""
    if not NAME.fullmatch(name) or name == "new":
        raise RecordsError("invalid", desk.say("lists.name_wrong", name=name[:40]))
    kit = parse_kit(rows, suffix, name)
    return keep_kit(desk, Kit(name, kit.items))


def keep_kit(desk: Desk, kit: Kit) -> Kit:
    """Write a list that was checked; the file appears whole or not at all. Raises OSError."""
    folder = desk.folder / LISTS
    folder.mkdir(parents=True, exist_ok=True)
    draft = folder / f".{kit.name}.draft"
    draft.write_text(kit_text(kit), encoding="utf-8")
    os.replace(draft, folder / f"{kit.name}.toml")
    return kit


def drop(desk: Desk, name: str) -> None:
    """Delete a list. Raises RecordsError of kind 'unknown', OSError."""
    kept(desk, name)
    (desk.folder / LISTS / f"{name}.toml").unlink()


def invented(desk: Desk) -> dict[str, Path]:
    """Return the invented lists that came with the programme."""
    folder = None if desk.samples is None else desk.samples.parent / "kits"
    files = [] if folder is None or not folder.is_dir() else sorted(folder.iterdir())
    return {path.stem: path for path in files if path.suffix in (".toml", ".csv")}
