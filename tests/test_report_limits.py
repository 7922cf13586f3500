"""Limits in words: what a verdict rests on, never a word of clearance, and what is only remembered is said to be so."""

from __future__ import annotations

import io
from dataclasses import replace

from invented_readings import k_file, reading
from rich.console import Console
from test_report_table import CLEARANCE

from vision.conformity import judge_reading
from vision.quantity import Quantity
from vision.reading import Choice
from vision.report.limits import limit_lines
from vision.report.table import print_reading


def large(d0_mm: float) -> str:
    """The lines of a size 80 whose D0 was measured well."""
    one = replace(k_file(), size=Choice(80, 0.99), d0_mm=Quantity(d0_mm, 0.001), d16_mm=None)
    return "\n".join(limit_lines(judge_reading(one)))


def test_limit_source_and_margin_of_each_verdict() -> None:
    lines = list(limit_lines(k_file()))

    assert lines[0] == "judged as size 25, named with 97 %; stated only where the value lies 2 u clear of a limit"
    assert "D0: within, 5.6 u inside 0.230 to 0.270 mm (> 99 % for lying inside)" in lines
    source = next(line for line in lines if line.startswith("D0, D16: ±0.02 mm: "))
    assert "JIS T 5419:1995" in source
    assert source.endswith("(read)")


def test_why_nothing_is_judged_is_said() -> None:
    lines = "\n".join(limit_lines(k_file()))

    assert "tip angle: not judged: the tip angle is not measured; its limits would be 60.0 to 90.0 deg" in lines
    assert "taper: not judged: no text with a limit of the taper was read" in lines


def test_where_texts_differ_both_are_named_and_the_remembered_one_is_marked() -> None:
    between, beyond = large(0.83), large(0.845)

    assert "D0: undecided, 10.0 u beyond 0.780 to 0.820 mm" in between
    assert "±0.04 mm, later editions of ISO 3630-1, files above size 60 (remembered, NOT read)" in between
    assert "D0: outside, 5.0 u beyond ±0.04 mm, the wider of two limits" in beyond


def test_shown_on_request_and_never_as_a_clearance() -> None:
    shown = []
    for why in (False, True):
        out = io.StringIO()
        print_reading(reading(), Console(file=out, width=80, markup=False), why=why)
        shown.append(" ".join(out.getvalue().split()))

    assert "JIS T 5419:1995" not in shown[0]
    assert "JIS T 5419:1995" in shown[1]
    assert "size limits: within (0.230 to 0.270)" in shown[0]
    assert CLEARANCE.findall(shown[1]) == []
