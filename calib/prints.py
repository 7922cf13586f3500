"""Saves and loads print checks: the one place to ask what a print's real scale is."""

from pathlib import Path

from calib.errors import ImplausibleCheckError, PrintFileError
from calib.print_check import (
    CALLIPER_U_MM,
    PLAUSIBLE_SHARE,
    STEEL_RULER_U_MM,
    UNCHECKED,
    UNCHECKED_U,
    PrintCheck,
    PrintScale,
    scale_of,
)
from calib.print_file import default_path, read_checks, write_checks
from calib.sheet import sheet_named

__all__ = [
    "CALLIPER_U_MM",
    "PLAUSIBLE_SHARE",
    "STEEL_RULER_U_MM",
    "UNCHECKED",
    "UNCHECKED_U",
    "PrintCheck",
    "PrintScale",
    "load",
    "load_history",
    "other_revisions",
    "save",
    "scale_of",
]


def save(check: PrintCheck, path: Path | None = None) -> Path:
    """Keep a check as the current one of its sheet; earlier ones stay in the file as the sheet's history.

    `path` defaults to print-checks.json in the user's configuration folder. Returns the file written. Raises
    ImplausibleCheckError or UnknownSheetError before anything is written, PrintFileError if the file is damaged (it is
    then left as it is) or out of reach.
    """
    scale_of(check)
    target = path or default_path()
    checks = dict(read_checks(target))
    checks[check.sheet_id] = (*checks.get(check.sheet_id, ()), check)
    write_checks(target, checks)
    return target


def load(sheet_id: str, path: Path | None = None) -> PrintScale:
    """The scale of the user's print of that sheet; UNCHECKED if nobody measured one.

    Raises UnknownSheetError, and PrintFileError if the file is damaged or holds lengths that cannot be.
    """
    source = path or default_path()
    history = load_history(sheet_id, source)
    if not history:
        return UNCHECKED
    try:
        return scale_of(history[-1])
    except ImplausibleCheckError as error:
        raise PrintFileError(f"print checks in {source}, sheet {sheet_id}: {error}") from error


def other_revisions(sheet_id: str, path: Path | None = None) -> tuple[str, ...]:
    """Sheets of the same kind but another revision that the file holds checks of; none where that very sheet was checked."""
    kind, checked = _kind(sheet_id), read_checks(path or default_path())
    return () if sheet_id in checked else tuple(sorted(key for key in checked if _kind(key) == kind))


def _kind(sheet_id: str) -> str:
    """A sheet's name without its revision, the digits at its end."""
    return sheet_id.rstrip("0123456789")


def load_history(sheet_id: str, path: Path | None = None) -> tuple[PrintCheck, ...]:
    """All checks of that sheet as they were typed in, oldest first; the last one counts."""
    sheet_named(sheet_id)
    return read_checks(path or default_path()).get(sheet_id, ())
