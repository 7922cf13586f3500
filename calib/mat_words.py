"""Writes a tray mat's name, its slots' numbers and marks, and the short instructions."""

from reportlab.lib.units import mm

from calib.elements import Sheet
from calib.pen import BOLD, Pen

SMALL_PT, NUMBER_PT = 6.5, 11.0
BODY_PT = {"A4": 7.6, "Letter": 7.4}
LEADING = 1.2
TICK_MM = 3.0
GAP_MM = 6.0

STEPS = (
    ("Print at 100 %, then measure.", "Both check lines, with callipers or a steel ruler. Then run: flutegauge sheet check"),
    ("Cut along the dashes only.", "Where the tray is narrower than the page. Every ribbon stays whole."),
    (
        "One instrument to a slot.",
        "On the white, handles clear of the ribbons, none on another. A list may ask for slots by these numbers.",
    ),
    (
        "After cleaning and drying, BEFORE sterilising.",
        "What lay here goes through the cycle again. Forceps and eye protection. Use a mat once.",
    ),
    ("Photograph all of it, straight from above.", "Soft light, no flash: 12 px/mm and more, that is 3600 px along the mat."),
    ("Local rules and the instruments' own instructions come first.", "A photo cannot clear an instrument."),
)


def draw_mat_words(pen: Pen, sheet: Sheet) -> None:
    """Write and draw everything that is for the reader's eye only."""
    left_mm, right_mm = sheet.block.x0_mm, sheet.block.x1_mm
    pen.text((left_mm, 14.0), f"Flutegauge tray mat {sheet.id}", size_pt=16, font=BOLD)
    pen.text((left_mm, 18.6), f"revision {sheet.revision}  ·  {sheet.paper} paper  ·  {len(sheet.lanes)} slots", size_pt=9)
    pen.text((right_mm, 14.0), "Print at 100 %", size_pt=16, font=BOLD, align="right")
    _slots(pen, sheet)
    _labels(pen, sheet)
    _steps(pen, sheet)


def _slots(pen: Pen, sheet: Sheet) -> None:
    """Numbers beside the slots, and a short mark at both ends between two slots that no ribbon parts."""
    for lane in sheet.lanes:
        pen.text((lane.x0_mm - 1.0, lane.centre_mm[1] + 1.4), str(lane.number), size_pt=NUMBER_PT, font=BOLD, align="right")
    for lane in sheet.lanes[::2]:
        for x_mm, way in ((lane.x0_mm, 1.0), (lane.x1_mm, -1.0)):
            pen.polyline(((x_mm, lane.y1_mm), (x_mm + way * TICK_MM, lane.y1_mm)), width_mm=0.3)


def _labels(pen: Pen, sheet: Sheet) -> None:
    across, along = sheet.check_lines.across, sheet.check_lines.along
    pen.text((across.start_mm[0] + 1.5, across.start_mm[1] - 1.0), f"check line ACROSS: {across.nominal_mm:.0f} mm", size_pt=SMALL_PT)
    at_mm = (along.start_mm[0] - 0.7, (along.start_mm[1] + along.end_mm[1]) / 2)
    pen.text_upward(at_mm, f"check line ALONG: {along.nominal_mm:.0f} mm", size_pt=SMALL_PT)
    pen.text_upward((sheet.trim_line.start_mm[0] + 2.7, sheet.block.centre_mm[1]), "may be cut here", size_pt=SMALL_PT)


def _steps(pen: Pen, sheet: Sheet) -> None:
    """Two columns below the slots."""
    size_pt, wide_mm = BODY_PT[sheet.paper], (sheet.block.width_mm - GAP_MM) / 2
    top_mm = sheet.patches[0].y1_mm + 4.0
    for column, steps in enumerate((STEPS[:3], STEPS[3:])):
        x_mm, y_mm = sheet.block.x0_mm + column * (wide_mm + GAP_MM), top_mm
        for number, (head, rest) in enumerate(steps, start=1 + 3 * column):
            pen.text((x_mm, y_mm), f"{number}  {head}", size_pt=size_pt, font=BOLD)
            below = (x_mm, y_mm + LEADING * size_pt / mm)
            y_mm = pen.paragraph(below, rest, width_mm=wide_mm, size_pt=size_pt, leading=LEADING) + 0.6
