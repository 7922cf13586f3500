"""The check piece in words: value, u and E_n as a laboratory shows a check standard."""

from __future__ import annotations

from collections.abc import Iterator

from vision.reading import CheckReading
from vision.report.words import quantity_texts


def check_lines(check: CheckReading) -> Iterator[str]:
    """Yield what was known, what was measured, the bias with E_n, and what was done about it."""
    known, known_u = quantity_texts(check.known_mm)
    measured, measured_u = quantity_texts(check.measured_mm)
    bias, bias_u = quantity_texts(check.bias_mm)
    sign = "+" if check.bias_mm.value > 0.0 else ""
    yield f"known {known} mm (u {known_u}), measured {measured} mm (u {measured_u})"
    yield f"bias {sign}{bias} mm (u {bias_u}), E_n {check.e_n:+.2f}: {_meaning(check)}"
    yield (
        "its bias was taken off the widths of every instrument (--correct)"
        if check.corrected
        else "nothing was corrected by it"
    )


def _meaning(check: CheckReading) -> str:
    if abs(check.e_n) <= 1.0:
        return "no further off than U of both explains (|E_n| up to 1)"
    return "further off than U of both explains (|E_n| above 1): doubt every width in this photo"
