"""Two small side views: how to hold an instrument's shaft level on the sheet. Drawn at 1.5 times life size."""

from calib.elements import Point, Rect
from calib.pen import BOLD, Pen

WIDTH_MM = 70.0
LABEL_PT = 6.5
SHAFT_MM = 1.2
SHEET_MM = 0.4
HANDLE_MM = 6.0


def draw_edge_setup(pen: Pen, origin_mm: Point, lanes: str) -> None:
    """Side view: the cut sheet flush with a table's edge, the handle free in the air, the shank weighed down."""
    x_mm, y_mm = origin_mm
    edge_mm, top_mm = x_mm + 48.0, y_mm + 17.0
    head(pen, (x_mm, y_mm + 2.0), f"Edge, {lanes}: trim, then lay flush with a table's edge")
    pen.polyline(box(x_mm, top_mm, edge_mm, top_mm + 7.0), fill=0.88)
    draw_paper(pen, x_mm + 3.0, edge_mm, top_mm)
    axis_mm = _axis_above(top_mm)
    draw_instrument(pen, tip_mm=x_mm + 10, handle_mm=edge_mm + 0.8, axis_mm=axis_mm)
    weight = Rect(edge_mm - 8.5, axis_mm - SHAFT_MM / 2 - 5.0, edge_mm - 2.5, axis_mm - SHAFT_MM / 2)
    pen.rounded(weight, 0.6, fill=0.7)
    note(pen, (x_mm, y_mm + 6.3), "small weight or tape on the smooth shank only")
    pointer(pen, (edge_mm - 5.5, y_mm + 7.2), weight.y0_mm)
    note(pen, (x_mm + 2.0, top_mm + 4.3), "table, sheet on it")
    note(pen, (edge_mm + 1.5, top_mm + 6.5), "handle hangs free")


def draw_slot_setup(pen: Pen, origin_mm: Point, lanes: str) -> None:
    """Side view: the sheet on card half a handle thick, the handle let into the slot, the shaft level on the sheet."""
    x_mm, y_mm = origin_mm
    table_mm = y_mm + 16.0
    top_mm = table_mm - HANDLE_MM / 2
    head(pen, (x_mm, y_mm + 2.0), f"Slot, {lanes}: mount on card 2 mm thick, cut the slot out")
    for x0_mm, x1_mm in ((x_mm + 3.0, x_mm + 46.0), (x_mm + 66.0, x_mm + WIDTH_MM)):
        pen.polyline(box(x0_mm, top_mm, x1_mm, table_mm), fill=0.88)
        draw_paper(pen, x0_mm, x1_mm, top_mm)
    pen.polyline(((x_mm, table_mm + 0.2), (x_mm + WIDTH_MM, table_mm + 0.2)), width_mm=0.4)
    axis_mm = _axis_above(top_mm)
    draw_instrument(pen, tip_mm=x_mm + 10, handle_mm=x_mm + 48, axis_mm=axis_mm)
    note(pen, (x_mm + 20.0, y_mm + 7.5), "shaft level on the sheet")
    pointer(pen, (x_mm + 38.0, y_mm + 8.4), axis_mm - SHAFT_MM / 2)
    note(pen, (x_mm + 3.0, table_mm + 3.6), "card half a handle thick, on the table")


def draw_instrument(pen: Pen, *, tip_mm: float, handle_mm: float, axis_mm: float) -> None:
    """Draw an instrument from the side: tip on the left, twisted working part, smooth shank, handle on the right."""
    blade_end_mm, half_mm = tip_mm + 24.0, SHAFT_MM / 2
    shaft = (
        (tip_mm, axis_mm),
        (blade_end_mm, axis_mm - half_mm),
        (handle_mm, axis_mm - half_mm),
        (handle_mm, axis_mm + half_mm),
        (blade_end_mm, axis_mm + half_mm),
    )
    pen.polyline(shaft, fill=1.0)
    for k in range(2, 12):
        x_mm = tip_mm + 2.0 * k
        rise_mm = half_mm * (x_mm - tip_mm) / (blade_end_mm - tip_mm)
        pen.polyline(((x_mm - 0.5, axis_mm + rise_mm), (x_mm + 0.5, axis_mm - rise_mm)))
    handle = Rect(handle_mm, axis_mm - HANDLE_MM / 2, handle_mm + 16.0, axis_mm + HANDLE_MM / 2)
    pen.rounded(handle, 1.2, fill=0.78)
    for k in range(3):
        x_mm = handle_mm + 5.0 + 3.0 * k
        pen.polyline(((x_mm, handle.y0_mm + 0.8), (x_mm, handle.y1_mm - 0.8)), grey=0.4)


def _axis_above(top_mm: float) -> float:
    """Height on the page of the axis of a shaft that lies on a sheet on `top_mm`."""
    return top_mm - SHEET_MM - SHAFT_MM / 2


def draw_paper(pen: Pen, x0_mm: float, x1_mm: float, top_mm: float) -> None:
    """Draw a sheet from the side, lying on `top_mm`."""
    y_mm = top_mm - SHEET_MM / 2
    pen.polyline(((x0_mm, y_mm), (x1_mm, y_mm)), width_mm=SHEET_MM)


def box(x0_mm: float, y0_mm: float, x1_mm: float, y1_mm: float) -> tuple[Point, ...]:
    """Give the corners of an upright rectangle."""
    return (x0_mm, y0_mm), (x1_mm, y0_mm), (x1_mm, y1_mm), (x0_mm, y1_mm)


def head(pen: Pen, left_mm: Point, words: str) -> None:
    """Write a drawing's title."""
    pen.text(left_mm, words, size_pt=LABEL_PT, font=BOLD)


def note(pen: Pen, left_mm: Point, words: str) -> None:
    """Write a label in a drawing."""
    pen.text(left_mm, words, size_pt=LABEL_PT)


def pointer(pen: Pen, top_mm: Point, to_y_mm: float) -> None:
    """Draw a thin upright line from a label to what it names."""
    pen.polyline((top_mm, (top_mm[0], to_y_mm)), width_mm=0.15)
