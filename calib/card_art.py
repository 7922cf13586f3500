"""Three small views of the window card in use: along the instrument, across it, and with the slot. Not to scale."""

from calib.elements import Point, Rect
from calib.howto_art import (
    HANDLE_MM,
    SHAFT_MM,
    SHEET_MM,
    box,
    draw_instrument,
    draw_paper,
    head,
    note,
    pointer,
)
from calib.pen import Pen

GLASS_MM = 1.6
GLASS_GREY, PILE_GREY, WEIGHT_GREY = 0.93, 0.85, 0.7
ALONG_WIDTH_MM, ACROSS_WIDTH_MM, SLOT_WIDTH_MM = 88.0, 68.0, 76.0


def draw_along(pen: Pen, origin_mm: Point) -> None:
    """Side view of station 2: card on glass, handle free beyond the edge, shank held down on the bridge, screen below."""
    x_mm, y_mm = origin_mm
    top_mm, edge_mm, screen_mm = y_mm + 27.0, x_mm + 66.0, y_mm + 55.0
    head(pen, (x_mm, y_mm), "Station 2, edge: seen from the side")
    _camera(pen, (x_mm + 34.0, y_mm + 4.0))
    _glass(pen, x_mm + 2.0, edge_mm, top_mm)
    draw_paper(pen, x_mm + 2.0, x_mm + 18.0, top_mm)
    draw_paper(pen, edge_mm - 7.0, edge_mm, top_mm)
    axis_mm = top_mm - SHEET_MM - SHAFT_MM / 2
    draw_instrument(pen, tip_mm=x_mm + 23.0, handle_mm=edge_mm + 1.0, axis_mm=axis_mm)
    _weight(pen, edge_mm - 6.5, edge_mm - 1.0, axis_mm)
    _screen(pen, x_mm + 10.0, edge_mm - 2.0, screen_mm)
    note(pen, (x_mm + 47.0, y_mm + 7.0), "small weight or tape: holds the smooth")
    note(pen, (x_mm + 47.0, y_mm + 9.8), "shank down on the bridge")
    pointer(pen, (edge_mm - 4.0, y_mm + 10.8), axis_mm - SHAFT_MM / 2 - 4.0)
    note(pen, (x_mm, y_mm + 17.0), "card, window cut out")
    pointer(pen, (x_mm + 10.0, y_mm + 18.0), top_mm - SHEET_MM)
    note(pen, (x_mm + 25.0, y_mm + 34.0), "clear glass carries the shaft")
    note(pen, (edge_mm + 2.0, y_mm + 34.0), "handle hangs free")
    note(pen, (x_mm + 10.0, screen_mm + 5.0), "white screen, 70 to 140 mm below, longer than the window")


def draw_across(pen: Pen, origin_mm: Point) -> None:
    """View along the shaft: how wide the lit patch may be, where the room's light comes from, what carries the glass."""
    x_mm, y_mm = origin_mm
    top_mm, screen_mm, middle_mm = y_mm + 27.0, y_mm + 55.0, x_mm + 36.0
    head(pen, (x_mm, y_mm), "The same, seen from the handle's end")
    _camera(pen, (middle_mm, y_mm + 4.0))
    for x0_mm in (x_mm + 4.0, x_mm + 58.0):
        pen.polyline(box(x0_mm, top_mm + GLASS_MM, x0_mm + 10.0, screen_mm + 1.0), fill=PILE_GREY)
    _glass(pen, x_mm + 4.0, x_mm + 68.0, top_mm)
    draw_paper(pen, x_mm + 8.0, middle_mm - 3.0, top_mm)
    draw_paper(pen, middle_mm + 3.0, x_mm + 64.0, top_mm)
    pen.rounded(Rect(middle_mm - 0.6, top_mm - 1.3, middle_mm + 0.6, top_mm - 0.1), 0.6, fill=0.3)
    half_mm = 0.45 * (screen_mm - top_mm)
    _screen(pen, middle_mm - half_mm, middle_mm + half_mm, screen_mm)
    for side in (-1.0, 1.0):
        pen.polyline(((middle_mm, top_mm), (middle_mm + side * half_mm, screen_mm)), width_mm=0.1, dash_mm=(0.8, 0.8))
    _span(pen, (middle_mm + 19.0, top_mm), (middle_mm + 19.0, screen_mm))
    note(pen, (middle_mm + 15.0, y_mm + 43.0), "d")
    note(pen, (x_mm + 4.0, screen_mm + 5.0), "lit patch: 0.9 d wide or less, the rest covered with black")
    note(pen, (x_mm + 15.5, top_mm + 5.0), "piles of books")
    note(pen, (x_mm + 15.5, top_mm + 7.8), "carry the glass")
    pen.rounded(Rect(x_mm, y_mm + 8.0, x_mm + 5.0, y_mm + 14.0), 1.0, fill=1.0)
    for drop_mm in (0.0, 2.5, 5.0):
        pen.polyline(((x_mm + 6.0, y_mm + 11.0 + drop_mm / 2), (x_mm + 18.0, y_mm + 15.0 + drop_mm)), width_mm=0.12)
    note(pen, (x_mm, y_mm + 6.0), "room light from the side")


def draw_slot(pen: Pen, origin_mm: Point) -> None:
    """Side view of station 1: on card, the handle let into the slot, the shank held down on the bridge."""
    x_mm, y_mm = origin_mm
    top_mm = y_mm + 16.0
    glass_mm = top_mm + HANDLE_MM / 2 + 0.4
    head(pen, (x_mm, y_mm), "Station 1, slot: on card 2 to 2.5 mm thick")
    for x0_mm, x1_mm in ((x_mm, x_mm + 9.0), (x_mm + 44.0, x_mm + 50.0), (x_mm + 70.0, x_mm + SLOT_WIDTH_MM)):
        pen.polyline(box(x0_mm, top_mm, x1_mm, glass_mm), fill=0.88)
        draw_paper(pen, x0_mm, x1_mm, top_mm)
    _glass(pen, x_mm, x_mm + SLOT_WIDTH_MM, glass_mm)
    axis_mm = top_mm - SHEET_MM - SHAFT_MM / 2
    draw_instrument(pen, tip_mm=x_mm + 13.0, handle_mm=x_mm + 51.0, axis_mm=axis_mm)
    _weight(pen, x_mm + 44.5, x_mm + 49.5, axis_mm)
    note(pen, (x_mm + 14.0, y_mm + 6.5), "weight on the bridge; handle clear of the glass")
    note(pen, (x_mm + 14.0, glass_mm + 5.0), "window: light")
    note(pen, (x_mm + 52.0, glass_mm + 5.0), "slot: handle")


def _camera(pen: Pen, top_mm: Point) -> None:
    x_mm, y_mm = top_mm
    pen.rounded(Rect(x_mm - 7.0, y_mm, x_mm + 7.0, y_mm + 2.0), 0.6, fill=0.6)
    pen.polyline(box(x_mm - 1.2, y_mm + 2.0, x_mm + 1.2, y_mm + 2.8), fill=0.3)


def _glass(pen: Pen, x0_mm: float, x1_mm: float, top_mm: float) -> None:
    pen.polyline(box(x0_mm, top_mm, x1_mm, top_mm + GLASS_MM), fill=GLASS_GREY)


def _weight(pen: Pen, x0_mm: float, x1_mm: float, axis_mm: float) -> None:
    pen.rounded(Rect(x0_mm, axis_mm - SHAFT_MM / 2 - 4.0, x1_mm, axis_mm - SHAFT_MM / 2), 0.6, fill=WEIGHT_GREY)


def _screen(pen: Pen, x0_mm: float, x1_mm: float, top_mm: float) -> None:
    pen.polyline(box(x0_mm, top_mm, x1_mm, top_mm + 1.2), fill=1.0, width_mm=0.3)
    count = 7
    for k in range(count):
        x_mm = x0_mm + (k + 0.5) * (x1_mm - x0_mm) / count
        pen.polyline(((x_mm, top_mm - 0.6), (x_mm, top_mm - 2.2)), width_mm=0.12)


def _span(pen: Pen, from_mm: Point, to_mm: Point) -> None:
    """An upright dimension line with a tick at each end."""
    pen.polyline((from_mm, to_mm), width_mm=0.12)
    for x_mm, y_mm in (from_mm, to_mm):
        pen.polyline(((x_mm - 0.9, y_mm), (x_mm + 0.9, y_mm)), width_mm=0.12)
