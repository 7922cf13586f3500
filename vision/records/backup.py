"""One file with everything: the records as of one moment, every photo, every tray list, and a list of hashes; and back again."""

from __future__ import annotations

import hashlib
import json
import os
import sqlite3
import tempfile
import zipfile
import zlib
from contextlib import closing
from pathlib import Path, PurePosixPath
from typing import Any

from vision.records.clock import now
from vision.records.database import FILE, LISTS, PHOTOS, Records, check, open_records
from vision.records.empty_folder import into_empty
from vision.records.faults import RecordsError, explained
from vision.report.document import version

FORMAT = "flutegauge-backup/1"
LIST = "backup.json"
MOST_SWELLING = 100  # times its packed size; databases shrink to a third or a tenth, photos not at all
MOST_LIST_BYTES = 64 * 2**20  # half a million photos
_PIECE_BYTES = 2**20


def backup(records: Records, target: Path) -> dict[str, Any]:
    """Write a backup to a new file while the records may be in use; return its list. Raises RecordsError.

    The file appears whole or not at all; one of that name is never replaced.
    """
    if target.exists():
        raise RecordsError("not-empty", f"{target} exists already and is not replaced: name another file")
    draft = target.with_name(f".{target.name}.{os.getpid()}.draft")
    try:
        with explained(target), tempfile.TemporaryDirectory(prefix="flutegauge-") as place:
            copy = Path(place) / FILE
            with closing(sqlite3.connect(copy)) as snapshot:
                records.db.backup(snapshot)
            listed = _write(draft, copy, records.folder)
            with draft.open("rb") as file:
                os.fsync(file.fileno())
            _take_name(draft, target)
    except FileExistsError as error:
        raise RecordsError("not-empty", f"{target} exists already and is not replaced: name another file") from error
    finally:
        draft.unlink(missing_ok=True)
    return listed


def restore(source: Path, folder: Path) -> dict[str, Any]:
    """Bring a backup into an empty folder; every file's hash and the records' integrity are checked first. Raises RecordsError."""
    try:
        with zipfile.ZipFile(source) as packed, into_empty(folder) as draft:
            listed = _listed(packed, source)
            for name, digest in listed["files"].items():
                _unpack(packed, name, digest, draft, source)
            with open_records(draft) as records:
                check(records)
                records.db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    except FileNotFoundError as error:
        raise RecordsError("unknown", f"there is no file {source}: check the name") from error
    except (zipfile.BadZipFile, zlib.error, NotImplementedError, RuntimeError, KeyError, ValueError, EOFError) as error:
        raise RecordsError(
            "damaged", f"{source} is no whole backup ({error}): use another one; nothing was written"
        ) from error
    return listed


def _take_name(draft: Path, target: Path) -> None:
    """Give the draft its name; one that was taken meanwhile is not replaced. Raises FileExistsError."""
    try:
        os.link(draft, target)
    except FileExistsError:
        raise
    except OSError:  # a file system without links, as on many memory sticks
        if target.exists():
            raise FileExistsError(target) from None
        draft.rename(target)


def _write(draft: Path, copy: Path, folder: Path) -> dict[str, Any]:
    files = {FILE: copy} | {
        path.relative_to(folder).as_posix(): path
        for part in (PHOTOS, LISTS)
        for path in sorted((folder / part).rglob("*"))
        if path.is_file() and not path.is_symlink() and not path.name.startswith(".")
    }
    listed: dict[str, Any] = {"format": FORMAT, "software": version(), "made_at": now(), "files": {}}
    with zipfile.ZipFile(draft, "w") as packed:  # stored: photos do not shrink
        for name, path in files.items():
            data = path.read_bytes()
            listed["files"][name] = hashlib.sha256(data).hexdigest()
            kind = zipfile.ZIP_DEFLATED if name == FILE else zipfile.ZIP_STORED
            packed.writestr(name, data, compress_type=kind)
        packed.writestr(LIST, json.dumps(listed, indent=2))
    return listed


def _listed(packed: zipfile.ZipFile, source: Path) -> dict[str, Any]:
    info = packed.getinfo(LIST)
    _refuse_swelling(info, source)
    if info.file_size > MOST_LIST_BYTES:
        raise RecordsError("not-ours", f"{source} lists more than any backup of ours holds; nothing was written")
    listed = json.loads(packed.read(LIST))
    if not isinstance(listed, dict) or listed.get("format") != FORMAT:
        found = listed.get("format") if isinstance(listed, dict) else None
        raise RecordsError("not-ours", f"{source} is of the format {found!r}, needs {FORMAT!r}")
    files = listed.get("files")
    if not isinstance(files, dict) or FILE not in files or not all(isinstance(one, str) for one in files.values()):
        raise RecordsError("damaged", f"{source} lists no files: use another one; nothing was written")
    return listed


def _unpack(packed: zipfile.ZipFile, name: str, digest: str, draft: Path, source: Path) -> None:
    path = PurePosixPath(name)
    if path.is_absolute() or ".." in path.parts or "\\" in name or not path.parts or path.parts[0] not in (FILE, PHOTOS, LISTS):
        raise RecordsError("not-ours", f"{source} holds a file named '{name}', which no backup of ours does")
    target = draft.joinpath(*path.parts)
    _refuse_swelling(packed.getinfo(name), source)
    found = hashlib.sha256()
    with explained(target):
        target.parent.mkdir(parents=True, exist_ok=True)
        with packed.open(name) as stored, target.open("wb") as file:
            while piece := stored.read(_PIECE_BYTES):
                found.update(piece)
                file.write(piece)
    if found.hexdigest() != digest:
        raise RecordsError(
            "damaged", f"{source}: {name} is not what was backed up: use another backup; nothing was written"
        )


def _refuse_swelling(info: zipfile.ZipInfo, source: Path) -> None:
    """Refuse what would unpack to far more than it is: no backup of ours does, and it could fill the disk."""
    if info.file_size > MOST_SWELLING * max(info.compress_size, 4096):
        raise RecordsError(
            "not-ours",
            f"{source}: {info.filename} would unpack to {info.file_size / 1e6:.0f} MB, more than {MOST_SWELLING} times its size, "
            "which no backup of ours does; nothing was written",
        )
