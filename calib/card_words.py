"""Writes a window card's name, the labels of its parts, and how it is set up."""

from reportlab.lib.units import mm

from calib.card_art import ACROSS_WIDTH_MM, draw_across, draw_along, draw_slot
from calib.elements import Sheet
from calib.pen import BOLD, Pen

SMALL_PT = 6.5
BODY_PT = {"A4": 8.0, "Letter": 7.4}
LEADING = 1.2
TEXT_LEFT_MM = 9.0

PURPOSE = (
    "What it is for.",
    "On white paper a shiny wire mirrors the paper at its own edges, and they fade into it. Over a window lit from far "
    "below they stand black on white. The codes around the window carry the scale.",
)

STEPS = (
    (
        "Print at 100 %, then measure.",
        "Both check lines, with callipers (a steel ruler will do), from the middle of one end tick to the middle of the "
        "other. Then run: flutegauge sheet check",
    ),
    (
        "Cut out ONE window along its dashes: for the light.",
        "Station 2: cut along the trim line as well. Station 1: mount on card 2 to 2.5 mm thick first, then cut window and "
        "slot through both; the slot is for the handle. They are different things.",
    ),
    (
        "Lay it on clear glass, a white screen well below.",
        "Glass of a picture frame, its edges taped. Screen: a tablet or phone showing white, or lit white paper, 70 to "
        "140 mm below and right under the window. Across the instrument the lit patch must be no wider than 0.9 x its "
        "distance: cover the rest with black.",
    ),
    (
        "The window alone is not flat.",
        "On the glass the handle still lifts the shaft. Let the handle hang beyond the edge (2) or into the slot (1) and "
        "hold the smooth shank down on the bridge. Take a stop off, or slide it up to the handle.",
    ),
    (
        "Room light from the side, none from above.",
        "So dim or bright that paper and window look about equally bright. A window burnt out to plain white eats into "
        "the edges. Hold the camera square, stand back and zoom in.",
    ),
    (
        "After cleaning and drying, BEFORE sterilising.",
        "An instrument laid here is no longer sterile: it goes through the cycle again. Forceps and eye protection. Use a "
        "card once, or have it laminated matt (cut the windows afterwards) and wipe card and glass between batches.",
    ),
    (
        "Local rules come first,",
        "and the instrument's own instructions. A photo cannot clear an instrument: it can only give reasons to discard one.",
    ),
)


def draw_card_words(pen: Pen, sheet: Sheet) -> None:
    """Write and draw everything that is for the reader's eye only."""
    left_mm, right_mm = sheet.patches[0].x0_mm, sheet.block.x1_mm
    pen.text((left_mm, 14.5), f"Flutegauge window card {sheet.id}", size_pt=17, font=BOLD)
    pen.text((left_mm, 19.3), f"revision {sheet.revision}  ·  {sheet.paper} paper", size_pt=9)
    pen.text((right_mm, 14.5), "Print at 100 %", size_pt=17, font=BOLD, align="right")
    _labels(pen, sheet)
    _drawings_and_steps(pen, sheet)


def _labels(pen: Pen, sheet: Sheet) -> None:
    across, along = sheet.check_lines.across, sheet.check_lines.along
    pen.text(
        (across.start_mm[0] + 1.5, across.start_mm[1] - 1.0),
        f"check line ACROSS: {across.nominal_mm:.0f} mm",
        size_pt=SMALL_PT,
    )
    pen.text_upward(
        (along.start_mm[0] - 0.8, (along.start_mm[1] + along.end_mm[1]) / 2),
        f"check line ALONG: {along.nominal_mm:.0f} mm",
        size_pt=SMALL_PT,
    )
    cut_mm, label_mm = sheet.trim_line.start_mm[0], sheet.block.y1_mm + 3.2
    pen.text_upward((cut_mm + 2.7, sheet.block.centre_mm[1]), "cut here for station 2", size_pt=SMALL_PT)
    for lane, name in zip(sheet.lanes, ("station 1: window and slot", "station 2: window and edge"), strict=True):
        pen.text((lane.x0_mm, label_mm), name, size_pt=SMALL_PT, font=BOLD)


def _drawings_and_steps(pen: Pen, sheet: Sheet) -> None:
    left_mm, right_mm = sheet.patches[0].x0_mm + TEXT_LEFT_MM, sheet.block.x1_mm - 1.0
    size_pt, top_mm = BODY_PT[sheet.paper], sheet.block.y1_mm + 10.0
    y_mm = _entry(pen, (left_mm, top_mm), PURPOSE, right_mm - left_mm, size_pt) + 2.5
    draw_along(pen, (left_mm, y_mm))
    draw_across(pen, (right_mm - ACROSS_WIDTH_MM, y_mm))
    y_mm += 66.0
    column_mm = (right_mm - left_mm - 6.0) / 2
    draw_slot(pen, (left_mm, y_mm))
    middle = 3
    below_mm = y_mm + 30.0
    for number, step in enumerate(STEPS[:middle], start=1):
        below_mm = _entry(pen, (left_mm, below_mm), (f"{number}  {step[0]}", step[1]), column_mm, size_pt)
    x_mm = left_mm + column_mm + 6.0
    for number, step in enumerate(STEPS[middle:], start=middle + 1):
        y_mm = _entry(pen, (x_mm, y_mm), (f"{number}  {step[0]}", step[1]), column_mm, size_pt)


def _entry(pen: Pen, at_mm: tuple[float, float], words: tuple[str, str], width_mm: float, size_pt: float) -> float:
    """A bold line and a paragraph below it; returns the next baseline."""
    x_mm, y_mm = at_mm
    pen.text((x_mm, y_mm), words[0], size_pt=size_pt, font=BOLD)
    below = (x_mm, y_mm + LEADING * size_pt / mm)
    return pen.paragraph(below, words[1], width_mm=width_mm, size_pt=size_pt, leading=LEADING) + 1.0
