"""How numbers and fixed words reach people: digits by one rule, honest percentages, nothing that could mislead."""

from __future__ import annotations

from dataclasses import replace

import pytest
from invented_readings import condition, k_file, quiet_reamer

from vision.quantity import Quantity
from vision.reading import FAMILIES, Choice, Finding
from vision.report import cautions, words


@pytest.mark.parametrize(
    ("value", "u", "shown"),
    [
        (0.25312, 0.00304, ("0.2531", "0.0030")),
        (100.02147, 0.00035, ("100.02147", "0.00035")),  # JCGM 100:2008, 7.2.2 prints this mass as 100.02147(35) g
        (205.4, 15.3, ("205", "15")),
        (12345.0, 678.0, ("12340", "680")),
        (84.2, 0.05, ("84.200", "0.050")),
        (-0.1449, 0.021, ("-0.145", "0.021")),
        (16.0, 0.0, ("16", "0")),
        (1.0, 0.0996, ("1.00", "0.10")),
    ],
)
def test_digits(value: float, u: float, shown: tuple[str, str]) -> None:
    assert words.quantity_texts(Quantity(value, u)) == shown


@pytest.mark.parametrize(
    ("probability", "shown"), [(1.0, "100 %"), (0.999, "> 99 %"), (0.97, "97 %"), (0.001, "< 1 %"), (0.0, "0 %")]
)
def test_percent_never_rounds_to_certainty(probability: float, shown: str) -> None:
    assert words.percent(probability) == shown


def test_every_family_has_words() -> None:
    assert set(words.FAMILY_WORDS) == {*FAMILIES, None}


def test_names() -> None:
    assert words.name_text(k_file()) == "K-file, size 25"
    assert words.name_text(quiet_reamer()) == "family not decided, size not decided"
    assert words.size_text(6) == "06"


def test_runners_up_come_likeliest_first() -> None:
    choice = Choice("k-file", 0.7, {"reamer": 0.1, "hedstroem-file": 0.2})

    assert words.others_text(choice, families=True) == "Hedstroem file: 20 %, reamer: 10 %"


def test_finding_in_words() -> None:
    wide = Finding("unwound", 2.1, 4.6, Quantity(205.0, 15.0), "deg of twist lost", 0.99)
    point = Finding("kinked", 3.0, 3.02, Quantity(15.0, 2.0), "deg as projected", 0.9)

    assert words.finding_text(wide) == "unwound: 205 (u 15) deg of twist lost, 2.1 to 4.6 mm from the tip"
    assert words.finding_text(point) == "kinked: 15.0 (u 2.0) deg as projected, at 3.0 mm from the tip"


def test_control_characters_are_made_visible() -> None:
    assert words.plain("a\x1b[2Jb\nc") == "a\\x1b[2Jb\\x0ac"
    assert words.plain("Größe 25 µm") == "Größe 25 µm"


def test_limits_line_says_what_could_have_been_seen() -> None:
    line = cautions.limits_line(condition("nothing seen"))

    assert line.startswith("this photo cannot clear it")
    assert "50 % of the way round" in line
    assert "unwound 40 deg of twist lost over 3 mm" in line
    assert "tip-lost 0.2 mm" in line


def test_limits_line_when_nothing_could_have_been_seen() -> None:
    line = cautions.limits_line(replace(condition("look again"), smallest_visible={}))

    assert "no damage of any kind could have been told" in line


def test_the_caution_on_broach_sizes_comes_with_broaches_only() -> None:
    broach = replace(k_file(), family=Choice("barbed-broach", 0.9))
    doubtful = replace(k_file(), family=Choice(None, 0.6, {"reamer": 0.6, "barbed-broach": 0.4}))

    assert cautions.BROACH in cautions.shown_with((broach,))
    assert cautions.BROACH in cautions.shown_with((doubtful,))
    assert cautions.BROACH not in cautions.shown_with((k_file(),))
