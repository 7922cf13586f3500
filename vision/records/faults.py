"""What can go wrong with records, said in one plain sentence each, with the next step."""

from __future__ import annotations

import errno
import json
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager

from vision.errors import FlutegaugeError

KINDS = (
    "locked",
    "disk-full",
    "newer",
    "damaged",
    "not-ours",
    "refused",
    "conflict",
    "unknown",
    "invalid",
    "not-empty",
)
_FULL = (errno.ENOSPC, errno.EFBIG, errno.EDQUOT)


class RecordsError(FlutegaugeError):
    """Records could not be read or kept; ``kind`` is one of KINDS, the message is for people. Nothing is half written."""

    def __init__(self, kind: str, message: str) -> None:
        super().__init__(message)
        self.kind = kind
        self.message = message


class ConflictError(RecordsError):
    """Somebody changed the same thing since it was shown."""

    def __init__(self, what: str) -> None:
        super().__init__(
            "conflict",
            f"{what} was changed in another window after this one was opened; nothing was written: look at what is kept "
            "now, then make your change again",
        )


@contextmanager
def explained(where: object) -> Iterator[None]:
    """Turn what SQLite and the operating system report about ``where`` into RecordsError."""
    try:
        yield
    except sqlite3.Error as error:
        raise _of_sqlite(error, where) from error
    except (UnicodeDecodeError, json.JSONDecodeError) as error:
        raise damaged(where) from error
    except OSError as error:
        if error.errno in _FULL:
            raise disk_full(where) from error
        reason = error.strerror or error
        raise RecordsError("refused", f"{where} cannot be used ({reason}): check its permissions") from error


def disk_full(where: object) -> RecordsError:
    """Return the error for a disk without room."""
    return RecordsError(
        "disk-full",
        f"no room is left on the disk for {where}; this was not saved, what was kept before is whole: free some space",
    )


def damaged(where: object) -> RecordsError:
    """Return the error for records whose bytes are not what was written."""
    return RecordsError(
        "damaged", f"{where} is damaged: leave it as it is and restore a backup with 'flutegauge records restore'"
    )


def _of_sqlite(error: sqlite3.Error, where: object) -> RecordsError:
    name = getattr(error, "sqlite_errorname", "") or ""
    if name.startswith(("SQLITE_BUSY", "SQLITE_LOCKED")):
        return RecordsError(
            "locked",
            f"{where} is in use by another programme and did not come free; nothing was saved: close it and try again",
        )
    if name.startswith(("SQLITE_FULL", "SQLITE_IOERR_WRITE")):
        return disk_full(where)
    if name.startswith(("SQLITE_CORRUPT", "SQLITE_NOTADB")):
        return damaged(where)
    if name.startswith("SQLITE_CONSTRAINT"):
        return RecordsError("invalid", f"that does not fit the records ({error}); nothing was written")
    if name.startswith(("SQLITE_READONLY", "SQLITE_CANTOPEN", "SQLITE_PERM")):
        return RecordsError("refused", f"{where} cannot be opened for writing ({error}): check its permissions")
    return RecordsError("refused", f"{where} could not do that ({error}); nothing was written")
