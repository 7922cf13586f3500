"""The JSON file of print checks: read whole, written whole and in one step, never half.

    {"format": "flutegauge-prints/1",
     "sheets": {"A4-1": {"current": CHECK, "history": [CHECK, ...]}}}

where CHECK has the fields of PrintCheck without sheet_id, and history runs from the oldest to the one before current.
"""

import datetime as dt
import json
import os
import tempfile
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path

import platformdirs

from calib.errors import PrintFileError
from calib.print_check import PrintCheck

FORMAT = "flutegauge-prints/1"

Checks = Mapping[str, tuple[PrintCheck, ...]]
"""Per sheet id, its checks from the oldest to the current one."""


def default_path() -> Path:
    """print-checks.json in the user's configuration folder."""
    return platformdirs.user_config_path("flutegauge", appauthor=False) / "print-checks.json"


def read_checks(path: Path) -> Checks:
    """Everything in the file, nothing if there is no file. Raises PrintFileError for anything but a whole file."""
    try:
        text = path.read_text(encoding="utf-8")
    except FileNotFoundError:
        return {}
    except (OSError, UnicodeDecodeError) as error:
        raise PrintFileError(f"print checks in {path} cannot be read: {error}") from error
    try:
        return _parse(json.loads(text))
    except (ValueError, TypeError, KeyError, OverflowError, RecursionError) as error:
        raise PrintFileError(
            f"print checks in {path} are damaged ({_reason(error)}): move the file away and measure the print again"
        ) from error


def write_checks(path: Path, checks: Checks) -> None:
    """Replace the file; after a crash it holds either the old or the new text. Raises PrintFileError."""
    text = json.dumps({"format": FORMAT, "sheets": {key: _entry(kept) for key, kept in checks.items()}}, indent=2)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        _replace(path, text + "\n")
    except OSError as error:
        raise PrintFileError(f"print checks cannot be written to {path}: {error}") from error


def _replace(path: Path, text: str) -> None:
    handle, draft = tempfile.mkstemp(dir=path.parent, prefix=path.name, suffix=".draft")
    try:
        with open(handle, "w", encoding="utf-8") as stream:
            stream.write(text)
            stream.flush()
            os.fsync(stream.fileno())
        os.replace(draft, path)
    except BaseException:
        Path(draft).unlink(missing_ok=True)
        raise


def _entry(kept: tuple[PrintCheck, ...]) -> dict[str, object]:
    return {"current": _record(kept[-1]), "history": [_record(check) for check in kept[:-1]]}


def _record(check: PrintCheck) -> dict[str, object]:
    record = asdict(check)
    del record["sheet_id"]
    return record | {"checked_on": check.checked_on.isoformat()}


def _parse(document: object) -> dict[str, tuple[PrintCheck, ...]]:
    whole = _object(document, "the file")
    if whole["format"] != FORMAT:
        raise ValueError(f"format is {whole['format']!r}, this version reads {FORMAT!r}")
    return {key: _kept(key, _object(entry, key)) for key, entry in _object(whole["sheets"], "sheets").items()}


def _kept(sheet_id: str, entry: Mapping[str, object]) -> tuple[PrintCheck, ...]:
    history = entry["history"]
    if not isinstance(history, list):
        raise TypeError(f"history of {sheet_id} is no list")
    return tuple(_check(sheet_id, _object(record, sheet_id)) for record in [*history, entry["current"]])


def _check(sheet_id: str, record: Mapping[str, object]) -> PrintCheck:
    return PrintCheck(
        sheet_id=sheet_id,
        name=_text(record, "name"),
        along_mm=_number(record, "along_mm"),
        across_mm=_number(record, "across_mm"),
        u_mm=_number(record, "u_mm"),
        checked_on=dt.date.fromisoformat(_text(record, "checked_on")),
        tool=_text(record, "tool"),
    )


def _object(value: object, name: str) -> dict[str, object]:
    if not isinstance(value, dict):
        raise TypeError(f"{name} is no JSON object")
    return value


def _text(record: Mapping[str, object], field: str) -> str:
    value = record[field]
    if not isinstance(value, str):
        raise TypeError(f"{field} is no text")
    return value


def _number(record: Mapping[str, object], field: str) -> float:
    value = record[field]
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise TypeError(f"{field} is no number")
    return float(value)


def _reason(error: Exception) -> str:
    return f"no field {error}" if isinstance(error, KeyError) else str(error)
