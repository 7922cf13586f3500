"""Rows of barbs are looked for on what shows barbs in its outline, and on what is a broach by its faces alone."""

from __future__ import annotations

import pytest

from vision.judged import _has_barbs
from vision.named import FAMILIES, SECTIONS, Named


def names(family: str) -> Named:
    return Named({one: 0.93 if one == family else 0.01 for one in FAMILIES}, dict.fromkeys(SECTIONS, 0.25))


@pytest.mark.parametrize(
    ("section", "family", "barbed"),
    [
        ("barbed", None, True),
        ("plain", "barbed-broach", True),  # most of its barbs lie flat, or are gone
        ("plain", "plugger", False),
        ("plain", None, False),
        ("groove", "barbed-broach", False),
    ],
)
def test_where_rows_of_barbs_are_looked_for(section: str, family: str | None, barbed: bool) -> None:
    assert _has_barbs(section, None if family is None else names(family)) == barbed
