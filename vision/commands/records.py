"""`flutegauge records`: back up, restore, export, import, keep or remove old photos, check, list, report."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from pathlib import Path

from rich.console import Console

from vision.commands.progress import waiting
from vision.errors import UsageError
from vision.records import retention
from vision.records.backup import backup, restore
from vision.records.database import FILE, check, default_folder, open_records
from vision.records.export import export, import_into
from vision.records.faults import RecordsError

FINE, FAILED = 0, 1
ASKED_WRONG = {"not-empty", "not-ours", "unknown", "invalid"}


def run(action: Callable[[argparse.Namespace], str], arguments: argparse.Namespace) -> int:
    """Do one action, print what it says; return the exit status. Raises UsageError for what the command line got wrong."""
    try:
        with waiting("working on the records", Console(stderr=True)):
            said = action(arguments)
        print(said)
    except RecordsError as error:
        if error.kind in ASKED_WRONG:
            raise UsageError(error.message) from error
        print(f"flutegauge: {error.message}", file=sys.stderr)
        return FAILED
    return FINE


def folder_of(arguments: argparse.Namespace) -> Path:
    """Return the folder of the records: --data, or the user's own."""
    return arguments.data or default_folder()


def existing(arguments: argparse.Namespace) -> Path:
    """Return the folder of records that exist. Raises UsageError."""
    folder = folder_of(arguments)
    if not (folder / FILE).is_file():
        raise UsageError(f"there are no records in {folder}: 'flutegauge desk' makes them, --data names another folder")
    return folder


def back_up(arguments: argparse.Namespace) -> str:
    """Write the backup."""
    with open_records(existing(arguments)) as records:
        listed = backup(records, arguments.file)
    return f"{arguments.file}: records and {len(listed['files']) - 1} photos, as of {listed['made_at']}"


def bring_back(arguments: argparse.Namespace) -> str:
    """Restore a backup into an empty folder."""
    folder = folder_of(arguments)
    listed = restore(arguments.file, folder)
    return f"{folder}: records and {len(listed['files']) - 1} photos, as they stood at {listed['made_at']}"


def write_export(arguments: argparse.Namespace) -> str:
    """Write every table as a file."""
    with open_records(existing(arguments)) as records:
        files = export(records, arguments.folder, arguments.kind)
    return f"{arguments.folder}: {len(files)} files; pictures are not in it, 'flutegauge records backup' has them"


def read_export(arguments: argparse.Namespace) -> str:
    """Bring an export into an empty folder."""
    folder = folder_of(arguments)
    rows = import_into(arguments.folder, folder)
    return f"{folder}: {rows['reading']} readings, {rows['instrument']} instruments"


def retain(arguments: argparse.Namespace) -> str:
    """Set or follow the rule for old photos."""
    with open_records(existing(arguments)) as records:
        if arguments.photos_days is not None:
            retention.set_keep_days(records, arguments.photos_days or None)
        days = retention.keep_days(records)
        rule = "photos are kept for ever" if days is None else f"photos are kept for {days} days"
        if arguments.apply:
            return f"{rule}; {retention.apply(records)} were removed; readings, decisions and the discard log stay"
        return f"{rule}; {len(retention.due(records))} are due; --apply removes them"


def verify(arguments: argparse.Namespace) -> str:
    """Check that the records are whole."""
    folder = existing(arguments)
    with open_records(folder) as records:
        check(records)
        total = records.db.execute("SELECT count(*) FROM line").fetchone()[0]
    return f"{folder}: the file is whole; {total} lines of readings"
