"""What the user measured on a print, and the scale of the print that follows from it.

Printers are commonly off by up to about 1 %, differently along and across the feed. One reading of each check line
removes that; what remains is the reading itself, u_mm over 140 mm.
"""

import datetime as dt
import math
from collections.abc import Iterator
from dataclasses import dataclass

from calib.errors import ImplausibleCheckError
from calib.sheet import sheet_named

CALLIPER_U_MM = 0.03
"""Standard uncertainty of one line read with callipers: their usual 0.02 to 0.03 mm error and setting the jaws to the
middle of a tick by eye. Common practice, no source."""

STEEL_RULER_U_MM = 0.15
"""The same with a steel ruler of half-millimetre marks, whose half-width 0.25 mm over the square root of 3 is 0.14 mm
(rectangular distribution, JCGM 100:2008, 4.3.7)."""

UNCHECKED_HALF_WIDTH = 0.01
"""Prints at 'actual size' are commonly within 1 % of it: 0.1 to 0.5 % on modern laser printers, up to 1 % on others
and on ink-jet printers. Common practice, no source."""

FITTED_SHARE, FITTED_OFF = 1 / 6, 0.03
"""One unchecked sheet in six is taken not to be at 100 %: fitted to the page's margins or a copy of a copy, then off by about 3 %.
Common practice, no source; so many that three u hold such a page together with the errors that every reading has."""

UNCHECKED_U = math.sqrt((1 - FITTED_SHARE) * UNCHECKED_HALF_WIDTH**2 / 3 + FITTED_SHARE * FITTED_OFF**2)
"""Standard uncertainty of the scale factor of a sheet that nobody measured, 1.3 %: the mixture of both (JCGM 100:2008, 4.3.7 and
C.2.11, of which the first gives a rectangle's standard deviation as its half-width over the square root of 3)."""

PLAUSIBLE_SHARE = 0.05
"""Lengths further off than this are slips of the pen, another line, or a page fitted to other paper."""


@dataclass(frozen=True)
class PrintCheck:
    """One measurement of both check lines of a print.

    `along_mm` and `across_mm` are the real lengths, `u_mm` the standard uncertainty of each. `name` tells which print,
    for instance the printer's place; `tool` what it was measured with.
    """

    sheet_id: str
    name: str
    along_mm: float
    across_mm: float
    u_mm: float
    checked_on: dt.date
    tool: str


@dataclass(frozen=True)
class PrintScale:
    """Real length over nominal length on the page, `x` across and `y` along the feed, with standard uncertainties.

    A nominal page position (x, y) in mm lies at (scale_x * x, scale_y * y) on the paper.
    """

    scale_x: float
    scale_y: float
    u_x: float
    u_y: float
    checked: bool


UNCHECKED = PrintScale(1.0, 1.0, UNCHECKED_U, UNCHECKED_U, checked=False)


def scale_of(check: PrintCheck) -> PrintScale:
    """The print's scale; raises ImplausibleCheckError, or UnknownSheetError."""
    lines = sheet_named(check.sheet_id).check_lines
    complaints = [
        *_complaints("along", check.along_mm, lines.along.nominal_mm),
        *_complaints("across", check.across_mm, lines.across.nominal_mm),
    ]
    if not 0 < check.u_mm < 1:
        complaints.append(
            f"u_mm: {check.u_mm:g} mm is no standard uncertainty of a check line: more than 0 and less than 1 mm is "
            f"wanted, {CALLIPER_U_MM:g} for callipers, {STEEL_RULER_U_MM:g} for a steel ruler"
        )
    if complaints:
        raise ImplausibleCheckError("; ".join(complaints))
    return PrintScale(
        scale_x=check.across_mm / lines.across.nominal_mm,
        scale_y=check.along_mm / lines.along.nominal_mm,
        u_x=check.u_mm / lines.across.nominal_mm,
        u_y=check.u_mm / lines.along.nominal_mm,
        checked=True,
    )


def _complaints(name: str, measured_mm: float, nominal_mm: float) -> Iterator[str]:
    if not abs(measured_mm - nominal_mm) <= PLAUSIBLE_SHARE * nominal_mm:  # "not <=" also catches NaN
        yield (
            f"{name}: measured {measured_mm:g} mm, line is {nominal_mm:g} mm: a print is rarely off by more than 2 %: "
            "measure again from the middle of one end tick to the middle of the other, or print again at 100 %"
        )
