"""Writes the sheet's name, the labels of its lines and the short instructions."""

from reportlab.lib.units import mm

from calib.elements import LaneKind, Sheet
from calib.howto_art import WIDTH_MM as HOWTO_WIDTH_MM
from calib.howto_art import draw_edge_setup, draw_slot_setup
from calib.pen import BOLD, Pen

SMALL_PT = 6.5
BODY_PT = {"A4": 8.2, "Letter": 7.5}
LEADING = 1.22

INSTRUCTIONS = (
    (
        "Print at 100 %.",
        "Choose 'actual size', never 'fit to page'. Measure both check lines with callipers (a steel ruler will do), "
        "from the middle of one end tick to the middle of the other, and run: flutegauge sheet check",
    ),
    (
        "After cleaning and drying, BEFORE sterilising.",
        "Laid on paper an instrument is no longer sterile: it goes through the cycle again before it meets a patient.",
    ),
    (
        "Forceps and eye protection.",
        "Use a sheet once and throw it away, or have it laminated matt and wipe it between batches.",
    ),
    (
        "One instrument to a lane, on the white, clear of the ribbons.",
        "Keep a whole ribbon beside it in the picture.",
    ),
    (
        "Soft light, no flash; stand back and zoom in.",
        "Hold the camera square to the sheet. A close camera enlarges whatever lies above the paper.",
    ),
    (
        "Turn the instrument by a third and photograph again.",
        "One photo sees about half of it.",
    ),
    (
        "Local rules and the instrument's own instructions come first.",
        "A photo cannot clear an instrument: it can only give reasons to discard one.",
    ),
)


def draw_words(pen: Pen, sheet: Sheet) -> None:
    """Write everything that is for the reader's eye only."""
    _title(pen, sheet)
    _labels(pen, sheet)
    _instructions(pen, sheet)


def _title(pen: Pen, sheet: Sheet) -> None:
    left_mm = sheet.patches[0].x0_mm
    pen.text((left_mm, 14.5), f"Flutegauge scale sheet {sheet.id}", size_pt=17, font=BOLD)
    pen.text((left_mm, 19.3), f"revision {sheet.revision}  ·  {sheet.paper} paper", size_pt=9)
    pen.text((sheet.block.x1_mm, 14.5), "Print at 100 %", size_pt=17, font=BOLD, align="right")


def _labels(pen: Pen, sheet: Sheet) -> None:
    across, along = sheet.check_lines.across, sheet.check_lines.along
    pen.text(
        (across.start_mm[0] + 1.5, across.start_mm[1] - 1.0),
        f"check line ACROSS: {across.nominal_mm:.0f} mm",
        size_pt=SMALL_PT,
    )
    x_mm, y_mm = sheet.patches[0].x0_mm, sheet.block.y1_mm + 4.0
    for line in ("check line ALONG", "(upright, right of", f"this band): {along.nominal_mm:.0f} mm"):
        pen.text((x_mm, y_mm), line, size_pt=SMALL_PT)
        y_mm += 2.8
    trim_mm = sheet.trim_line.start_mm[0]
    pen.text_upward((trim_mm + 2.7, sheet.block.centre_mm[1]), "cut here for the edge set-up only", size_pt=SMALL_PT)


def _instructions(pen: Pen, sheet: Sheet) -> None:
    left_mm, right_mm = sheet.patches[0].x0_mm, sheet.block.x1_mm
    top_mm = max(strip.y1_mm for strip in sheet.strips) + 5.5
    drawings_mm = right_mm - HOWTO_WIDTH_MM
    size_pt = BODY_PT[sheet.paper]
    y_mm = top_mm
    for number, (head, rest) in enumerate(INSTRUCTIONS, start=1):
        pen.text((left_mm, y_mm), f"{number}", size_pt=size_pt, font=BOLD)
        pen.text((left_mm + 4, y_mm), head, size_pt=size_pt, font=BOLD)
        below = (left_mm + 4, y_mm + LEADING * size_pt / mm)
        y_mm = 0.8 + pen.paragraph(below, rest, width_mm=drawings_mm - left_mm - 10, size_pt=size_pt, leading=LEADING)
    draw_edge_setup(pen, (drawings_mm, top_mm - 2.0), _lane_names(sheet, "edge"))
    draw_slot_setup(pen, (drawings_mm, top_mm + 31.0), _lane_names(sheet, "slot"))


def _lane_names(sheet: Sheet, kind: LaneKind) -> str:
    """For instance 'lanes 13-24'; the lanes of a kind follow one another."""
    numbers = [lane.number for lane in sheet.lanes if lane.kind == kind]
    return f"lanes {min(numbers)}-{max(numbers)}"
