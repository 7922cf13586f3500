"""The trays of a class -> CSV, and what may stand for a student: a code, never a name."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence

from vision.errors import UsageError
from vision.tray.check import Checked

CODE = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,15}")


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
