"""`flutegauge sheet` writes the scale sheet, window card or tray mat; `flutegauge sheet check` keeps the real lengths of a print."""

from __future__ import annotations

import argparse
import datetime as dt
import math
from pathlib import Path

from calib.errors import CalibError
from calib.prints import CALLIPER_U_MM, STEEL_RULER_U_MM, PrintCheck, save, scale_of
from calib.sheet import Sheet, cards, every_sheet, mats, sheets
from vision.commands.outputs import new_file
from vision.errors import UsageError

MIN_DPI, MAX_DPI, USUAL_DPI = 72.0, 2400.0, 600.0
TOOL_U_MM = {"callipers": CALLIPER_U_MM, "ruler": STEEL_RULER_U_MM}


def write_sheet(arguments: argparse.Namespace) -> int:
    """Write the sheet, card or mat as PDF, or as PNG of exactly the same geometry; return the exit status."""
    sheet = _sheet_for(arguments.paper, arguments.card)
    dpi = _dpi(arguments)
    ending = "png" if arguments.png else "pdf"
    target = arguments.out or Path(f"flutegauge-{sheet.id}.{ending}")
    if target.suffix.lower() != f".{ending}":
        raise UsageError(f"--out {target} does not end in .{ending}: name it so, or {_other(ending)}")
    new_file(target, overwrite=arguments.overwrite)
    from calib.draw import write_pdf, write_png  # noqa: PLC0415 - loads the PDF libraries only once all else is right

    if arguments.png:
        write_png(sheet, target, dpi)
    else:
        write_pdf(sheet, target)
    what = "window card" if sheet.windows else "tray mat" if sheet.mat else "sheet"
    print(f"{target}: {what} {sheet.id}. Print it at 100 % ('actual size'), measure its two check lines, then run:")
    print(f"  flutegauge sheet check --sheet {sheet.id} --along MM --across MM")
    return 0


def check_print(arguments: argparse.Namespace) -> int:
    """Keep the real lengths of a print's check lines; return the exit status."""
    u_mm = TOOL_U_MM[arguments.tool] if arguments.u is None else arguments.u
    check = PrintCheck(
        sheet_id=_known_id(arguments.sheet_id),
        name=arguments.name,
        along_mm=arguments.along,
        across_mm=arguments.across,
        u_mm=u_mm,
        checked_on=dt.date.today(),
        tool=arguments.tool,
    )
    try:
        kept_in = save(check, arguments.prints)
        scale = scale_of(check)
    except CalibError as error:
        raise UsageError(str(error)) from error
    print(f"Kept for sheet {check.sheet_id} in {kept_in}; earlier checks stay there as its history.")
    for name, factor, u in (("along", scale.scale_y, scale.u_y), ("across", scale.scale_x, scale.u_x)):
        print(f"  {name}: printed at {100 * factor:.2f} % of its size (u {100 * u:.2f} %)")
    return 0


def _sheet_for(paper: str, card: str | None) -> Sheet:
    """Return the newest sheet, card or mat for a paper."""
    among = {None: sheets, "window": cards, "mat": mats}[card]()
    return [sheet for sheet in among.values() if sheet.id.lower().startswith(paper)][-1]


def _known_id(sheet_id: str) -> str:
    """Return the sheet's id in its own spelling; unknown ones are refused further on, with the list of those known."""
    return next((known for known in every_sheet() if known.lower() == sheet_id.lower()), sheet_id)


def _dpi(arguments: argparse.Namespace) -> float:
    if arguments.dpi is None:
        return USUAL_DPI
    if not arguments.png:
        raise UsageError("--dpi belongs to --png; a PDF has no dots: add --png or leave --dpi out")
    dpi = float(arguments.dpi)
    if not (math.isfinite(dpi) and MIN_DPI <= dpi <= MAX_DPI):
        raise UsageError(
            f"--dpi can be {MIN_DPI:.0f} to {MAX_DPI:.0f}, got {dpi:g}: {USUAL_DPI:.0f} suits most printers"
        )
    return dpi


def _other(ending: str) -> str:
    return "leave --png out for a PDF" if ending == "png" else "add --png for a picture"
