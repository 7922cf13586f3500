"""Instruments whose code holds, or begins with, a text: a condition on the table ``instrument`` and what stands for its marks.

Texts of three letters and more are found by groups of three (SQLite's FTS5, trigram); shorter ones are only looked for where a code
begins, or as a whole slot.
"""

from __future__ import annotations

LETTERS = 3
NUL, IN_NONE = "\0", "\ufffd"  # FTS5 ends a text at NUL, in the middle of its quotes; no code, kit or file name holds either


def phrase(text: str) -> str | None:
    """Return a text as FTS5 takes it, every sign meaning itself; None where it is too short."""
    return '"' + text.replace(NUL, IN_NONE).replace('"', '""') + '"' if len(text) >= LETTERS else None


def code_holds(text: str) -> tuple[str, list[str]]:
    """Return the condition for a code that holds the text."""
    long = phrase(text)
    if long is None:
        return "instrument.code COLLATE NOCASE BETWEEN ? AND ?", [text, text + "\U0010ffff"]
    return "instrument.id IN (SELECT rowid FROM instrument_text WHERE instrument_text MATCH ?)", [f"code : {long}"]


def place_holds(text: str) -> tuple[str, list[str]]:
    """Return the condition for a code, kit or slot that holds the text."""
    long = phrase(text)
    if long is None:
        begins, values = code_holds(text)
        ids = f"SELECT id FROM instrument WHERE {begins} UNION SELECT id FROM instrument WHERE slot = ?"  # noqa: S608 - our own words
        return f"instrument.id IN ({ids})", [*values, text]
    return "instrument.id IN (SELECT rowid FROM instrument_text WHERE instrument_text MATCH ?)", [long]
