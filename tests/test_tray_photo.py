"""A rendered tray photo from the file to the check: found, named, in its slot; one laid into another slot is told."""

from __future__ import annotations

from pathlib import Path

import pytest
from command_line import status_of

TRAYS = Path(__file__).parent.parent / "samples" / "trays"


@pytest.fixture(scope="module")
def said(tmp_path_factory: pytest.TempPathFactory) -> str:
    """The check of five instruments on a mat, of which the list wants one in slot 9 that lies in slot 6."""
    place = tmp_path_factory.mktemp("tray")
    wanted = (TRAYS / "mat-five.toml").read_text(encoding="utf-8").replace("slots = [6]", "slots = [9]")
    (place / "list.toml").write_text(wanted, encoding="utf-8")
    with pytest.MonkeyPatch.context() as patch:
        lines: list[str] = []
        patch.setattr("builtins.print", lambda *words, **_: lines.extend(str(word) for word in words))
        asked = ("--list", place / "list.toml", "--prints", place / "none.json", "--pdf", place / "a.pdf")
        status = status_of("tray", "check", TRAYS / "mat-five.jpg", *asked)
    assert status == 0
    assert (place / "a.pdf").read_bytes().startswith(b"%PDF")
    return "\n".join(lines)


def test_what_lies_right_matches_and_nothing_is_missing_or_extra(said: str) -> None:
    assert "list five on a mat: 4 matches list, 1 wrong slot" in said


def test_an_instrument_in_another_slot_is_told_with_the_slot_it_lies_in(said: str) -> None:
    assert "wrong slot: barbed broach 30, slot 9 (number 2); lies in slot 6" in said
