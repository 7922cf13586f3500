"""The trays of a class -> CSV, and what may stand for a student: a code, never a name."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence
from pathlib import Path

from vision.errors import UsageError
from vision.tray.check import Checked

CODE = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,15}")


def codes_in(path: Path) -> dict[str, str]:
    """Code of each photo's name, from a CSV with the columns photo and code, as spreadsheets write it. Raises UsageError."""
    if not path.is_file():
        raise UsageError(f"--codes: found no file {path}, needs a CSV with the columns photo and code")
    try:
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as error:
        raise UsageError(f"--codes: {path} is no UTF-8 text: save it as 'CSV UTF-8'") from error
    first = text.partition("\n")[0]
    rows = list(csv.DictReader(io.StringIO(text), delimiter=";" if first.count(";") > first.count(",") else ","))
    if not rows or not {"photo", "code"} <= set(rows[0]):
        raise UsageError(f"--codes: {path} needs the columns photo and code in its first line, and a line for each photo")
    given = [(str(row["photo"] or "").strip(), str(row["code"] or "").strip()) for row in rows if str(row["photo"] or "").strip()]
    twice = next((photo for photo, _ in given if [one for one, _ in given].count(photo) > 1), None)
    if twice is not None:
        raise UsageError(f"--codes: {path} has two lines for {twice}: which code is right? leave one line for each photo")
    return dict(given)


def proved_codes(codes: Sequence[str]) -> list[str]:
    """The same codes. Raises UsageError where one is none, or stands for two photos."""
    wrong = [code for code in codes if not CODE.fullmatch(code)]
    if wrong:
        raise UsageError(f"{wrong[0]!r} is no code: 1 to 16 letters, digits, - or _; no names. Name each photo by a code, or give each one")
    twice = [code for code in codes if list(codes).count(code) > 1]
    if twice:
        raise UsageError(f"the code {twice[0]} stands for two photos: give each its own")
    return list(codes)


def class_csv(trays: Sequence[tuple[str, str, Checked | None, str | None]]) -> str:
    """One line for every position of every tray."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["code", "photo", "outcome", "asked", "slot", "number", "why"])
    for code, photo, checked, retake in trays:
        if checked is None:
            writer.writerow([code, photo, "not examined", "", "", "", retake])
            continue
        for row in checked.rows:
            asked, slot = (row.position.name, row.position.slot or "") if row.position else ("", "")
            writer.writerow([code, photo, row.outcome, asked, slot, row.seen.best.number if row.seen else "", row.why])
    return out.getvalue()
