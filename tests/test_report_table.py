"""The terminal table: readable at 80 columns and when piped, nothing by colour alone, never a word of clearance."""

from __future__ import annotations

import io
import re
from dataclasses import replace

import pytest
from invented_readings import failed, quiet_reamer, reading
from rich.console import Console

from vision.quantity import Quantity
from vision.reading import PhotoReading, ScaleReading
from vision.report.table import print_cautions, print_reading

ANSI = re.compile(r"\x1b\[([0-9;]*)m")
CLEARANCE = re.compile(
    r"\b(safe|ok|okay|pass(ed)?|approved|cleared|good|healthy|usable|sound|reuse)\b|[✓✔☑✅👍]", re.IGNORECASE
)


def printed(*readings: PhotoReading, width: int = 80, terminal: bool = False) -> str:
    out = io.StringIO()
    console = Console(
        file=out, width=width, force_terminal=terminal, color_system="truecolor" if terminal else None, markup=False
    )
    for one in readings:
        print_reading(one, console)
    print_cautions(readings, console)
    return out.getvalue()


@pytest.mark.parametrize("width", [60, 80, 100])
def test_fits_the_width_with_every_number_whole(width: int) -> None:
    lines = printed(reading(), failed(), width=width).splitlines()

    assert max(len(line) for line in lines) <= width
    for number in ("0.2531 mm", "u 0.0030", "25.020 mm", "u 0.080", "28.80 deg"):
        assert any(number in line for line in lines)


def test_numbers_then_how_sure_then_why_on_one_line() -> None:
    lines = printed(reading()).splitlines()
    d0 = next(line for line in lines if line.startswith("D0"))
    family = next(line for line in lines if line.startswith("family"))

    assert re.match(r"D0 +0\.2531 mm +u 0\.0030 +size limits: within", d0)
    assert re.match(r"family +K-file +98 % +else reamer: 2 %", family)


def test_what_was_not_measured_is_said_with_its_reason() -> None:
    text = printed(reading())

    assert re.search(r"tip width +not measured", text)
    assert "tip width not measured: the end is out of focus" in text
    assert re.search(r"size \(ISO\) +not decided +could be 06: 50 %, 08: 50 %", text)


def test_findings_call_and_limits() -> None:
    text = " ".join(printed(reading()).split())

    assert "unwound: 205 (u 15) deg of twist lost, 2.1 to 4.6 mm from the tip; 99 % sure" in text
    assert "call discard - 205 deg of twist lost" in text
    assert text.count("limits this photo cannot clear it") == 2, "with every call, also with 'discard'"


def test_same_words_with_and_without_colour() -> None:
    plain, styled = printed(reading(), failed()), printed(reading(), failed(), terminal=True)

    assert "\x1b" not in plain
    assert ANSI.sub("", styled) == plain


def test_nothing_is_coloured_at_all() -> None:
    codes = {code for found in ANSI.findall(printed(reading(), terminal=True)) for code in found.split(";") if code}

    assert codes <= {"0", "1", "4"}, "bold and underline only"


@pytest.mark.parametrize("call", ["discard", "nothing seen"])
def test_limits_carry_the_weight_of_the_call(call: str) -> None:
    number = 0 if call == "discard" else 1
    styled = printed(replace(reading(), instruments=(reading().instruments[number],)), terminal=True)
    weights = {
        label: "\x1b[1m" in next(line for line in styled.splitlines() if ANSI.sub("", line).startswith(label))
        for label in ("call", "limits")
    }

    assert weights["call"] == weights["limits"] == (call == "discard")


def test_no_word_of_clearance_anywhere() -> None:
    quiet = replace(reading(), instruments=(quiet_reamer(),))

    assert CLEARANCE.findall(printed(reading(), quiet, failed())) == []


def test_cautions_come_once_a_run() -> None:
    text = printed(reading(), reading("b.jpg"))

    assert text.count("BEFORE sterilising") == 1
    assert text.count("Nickel-titanium") == 1


def test_a_photo_not_examined_is_one_sentence() -> None:
    assert "not examined (no-file): found no file gone.jpg: check the name" in printed(failed())


def test_scale_line_says_where_it_came_from() -> None:
    unchecked = ScaleReading("sheet", "A4-1", False, Quantity(60.0, 0.3), None, Quantity(120.0, 5.0))
    stated = ScaleReading("given", None, None, Quantity(60.0, 0.6), None, None)

    assert "print NOT checked" in printed(replace(reading(), scale=unchecked))
    assert "camera 120.0 mm (u 5.0) above the sheet" in " ".join(printed(replace(reading(), scale=unchecked)).split())
    assert "as stated on the command line" in printed(replace(reading(), scale=stated))


def test_a_file_name_can_neither_style_nor_overwrite_the_report() -> None:
    text = printed(replace(failed(), file="[bold red]x[/]\x1b[2J.jpg"))

    assert "[bold red]x[/]\\x1b[2J.jpg" in text
    assert "\x1b" not in text


def test_no_instrument() -> None:
    assert "no instrument found" in printed(replace(reading(), instruments=()))
