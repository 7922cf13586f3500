"""Where everything lies on a window card: a sheet with two windows to cut out, for light from a screen far below.

Station 1 ends at the slot for a handle, station 2 at the trim line. At both the shank lies on a bridge of the sheet, held
down by a weight, and the working part over the window. Coded ribbons stand as close to the cuts as a knife allows.
"""

from dataclasses import dataclass
from typing import Literal

from calib.elements import CheckLine, CheckLines, Lane, Patch, Rect, Segment, Sheet, Slot, Strip, Window
from calib.layout import (
    CHECK_LINE_MM,
    IDS_PER_SHEET,
    LARGE_HALF_MM,
    LARGE_MARKER_MM,
    LARGE_SQUARE_MM,
    MARGIN_MM,
    PATCH_MM,
    PATCHES,
    SLOT_LENGTH_MM,
    SMALL_HALF_MM,
    SMALL_HEIGHT_MM,
    SMALL_MARKER_MM,
    SMALL_SQUARE_MM,
)
from calib.papers import Printed
from calib.ribbon import ribbon

# The bridge carries the shank and a weight on it. What is left of a 21 mm instrument beyond it still holds a working part
# of 16 mm, the shortest of the standard (ISO 3630-1); a 31 mm one reaches 26 to 27 mm over the window.
BRIDGE_MM = 4.0
WINDOW_LENGTH_MM = 30.0
# High enough for a size 140 shaft (1.72 mm) laid 1 mm off the middle; lower than the far row of the next ribbon allows a
# close-up 9 mm high to leave out.
WINDOW_HEIGHT_MM = 5.0
CORNER_MM = 1.0
RIM_MM = 0.6
"""Paper between a cut and the next ribbon. Half a row of black, 1 mm, follows before the first saddles: a knife that
slips by half a millimetre spoils none."""

TRIM_CLEAR_MM = 0.4
OUTER_GAP_MM = 5.0
EDGE_SQUARES, SLOT_SQUARES, END_SQUARES, OUTER_SQUARES, BAND_SQUARES = 12, 17, 5, 19, 4
FIRST_CARD_ID = 2 * IDS_PER_SHEET
IDS_PER_CARD = 72

LANE_HEIGHT_MM = WINDOW_HEIGHT_MM + 2 * RIM_MM
OUTER_MM = LANE_HEIGHT_MM / 2 + SMALL_HEIGHT_MM + OUTER_GAP_MM
"""From the stations' axis to the near side of the outer ribbons."""


@dataclass(frozen=True)
class CardPage(Printed):
    """The numbers that differ between papers, mm."""

    axis_y_mm: float
    left_mm: float
    slot_station_mm: float
    middle_band_mm: float


CARD_PAGES = (
    CardPage(
        id="A4-W1",
        paper="A4",
        revision=1,
        first_id=FIRST_CARD_ID,
        axis_y_mm=56.0,
        left_mm=8.0,
        slot_station_mm=33.0,
        middle_band_mm=98.0,
        trim_x_mm=178.0,
    ),
    CardPage(
        id="LETTER-W1",
        paper="Letter",
        revision=1,
        first_id=FIRST_CARD_ID + IDS_PER_CARD,
        axis_y_mm=55.0,
        left_mm=9.0,
        slot_station_mm=35.0,
        middle_band_mm=100.0,
        trim_x_mm=181.0,
    ),
)


def build_card(page: CardPage) -> Sheet:
    """Work out every element of one card. Markers are numbered station by station, then the large ribbons."""
    end_mm = SMALL_HEIGHT_MM + RIM_MM
    slot_window_mm = page.slot_station_mm + end_mm
    edge_window_mm = page.trim_x_mm - BRIDGE_MM - WINDOW_LENGTH_MM
    outer_mm = OUTER_SQUARES * SMALL_SQUARE_MM
    slot_x_mm = slot_window_mm + WINDOW_LENGTH_MM + BRIDGE_MM
    per_slot = 2 * (SLOT_SQUARES // 2) + END_SQUARES // 2 + 2 * (OUTER_SQUARES // 2)
    per_edge = 2 * (EDGE_SQUARES // 2) + END_SQUARES // 2 + 2 * (OUTER_SQUARES // 2)
    right_mm = round(page.trim_x_mm - TRIM_CLEAR_MM, 6)
    strips = (
        *_station(page, slot_window_mm, SLOT_SQUARES, page.slot_station_mm, page.first_id),
        *_station(page, edge_window_mm, EDGE_SQUARES, right_mm - outer_mm, page.first_id + per_slot),
        *_bands(page, page.first_id + per_slot + per_edge),
    )
    lanes = (
        _lane(page, slot_window_mm, slot_x_mm + SLOT_LENGTH_MM, number=1, kind="slot"),
        _lane(page, edge_window_mm, right_mm, number=2, kind="edge"),
    )
    half_mm = WINDOW_HEIGHT_MM / 2
    top_mm, bottom_mm = page.axis_y_mm - half_mm, page.axis_y_mm + half_mm
    reach_mm = OUTER_MM + SMALL_HEIGHT_MM
    return Sheet(
        id=page.id,
        paper=page.paper,
        revision=page.revision,
        width_mm=page.width_mm,
        height_mm=page.height_mm,
        block=Rect(page.slot_station_mm, page.axis_y_mm - reach_mm, right_mm, page.axis_y_mm + reach_mm),
        strips=strips,
        lanes=lanes,
        slots=(Slot(slot_x_mm, top_mm, slot_x_mm + SLOT_LENGTH_MM, bottom_mm, lane_number=1, radius_mm=CORNER_MM),),
        patches=_patches(page),
        check_lines=_check_lines(page, reach_mm),
        trim_line=Segment((page.trim_x_mm, MARGIN_MM), (page.trim_x_mm, page.height_mm - MARGIN_MM)),
        windows=tuple(
            Window(
                lane.x0_mm,
                top_mm,
                round(lane.x0_mm + WINDOW_LENGTH_MM, 6),
                bottom_mm,
                lane_number=lane.number,
                radius_mm=CORNER_MM,
            )
            for lane in lanes
        ),
    )


def _lane(page: CardPage, x0_mm: float, x1_mm: float, *, number: int, kind: Literal["slot", "edge"]) -> Lane:
    y0_mm = round(page.axis_y_mm - LANE_HEIGHT_MM / 2, 6)
    return Lane(round(x0_mm, 6), y0_mm, round(x1_mm, 6), round(y0_mm + LANE_HEIGHT_MM, 6), number=number, kind=kind)


def _small(x0_mm: float, y0_mm: float, squares: int, first_id: int, runs_along: Literal["x", "y"] = "x") -> Strip:
    return ribbon(
        x0_mm,
        y0_mm,
        runs_along=runs_along,
        squares=squares,
        square_mm=SMALL_SQUARE_MM,
        half_mm=SMALL_HALF_MM,
        marker_mm=SMALL_MARKER_MM,
        first_id=first_id,
    )


def _station(page: CardPage, window_mm: float, squares: int, outer_x_mm: float, first_id: int) -> tuple[Strip, ...]:
    """Ribbons above, below and at the far end of one window, and a second pair further out for a wider view."""
    near_mm = LANE_HEIGHT_MM / 2
    beside, at_end, outer = squares // 2, END_SQUARES // 2, OUTER_SQUARES // 2
    end_y_mm = page.axis_y_mm - END_SQUARES * SMALL_SQUARE_MM / 2
    return (
        _small(window_mm, page.axis_y_mm - near_mm - SMALL_HEIGHT_MM, squares, first_id),
        _small(window_mm, page.axis_y_mm + near_mm, squares, first_id + beside),
        _small(window_mm - RIM_MM - SMALL_HEIGHT_MM, end_y_mm, END_SQUARES, first_id + 2 * beside, "y"),
        _small(outer_x_mm, page.axis_y_mm - OUTER_MM - SMALL_HEIGHT_MM, OUTER_SQUARES, first_id + 2 * beside + at_end),
        _small(outer_x_mm, page.axis_y_mm + OUTER_MM, OUTER_SQUARES, first_id + 2 * beside + at_end + outer),
    )


def _bands(page: CardPage, first_id: int) -> tuple[Strip, ...]:
    top_mm = page.axis_y_mm - BAND_SQUARES * LARGE_SQUARE_MM / 2
    return tuple(
        ribbon(
            x0_mm,
            top_mm,
            runs_along="y",
            squares=BAND_SQUARES,
            square_mm=LARGE_SQUARE_MM,
            half_mm=LARGE_HALF_MM,
            marker_mm=LARGE_MARKER_MM,
            first_id=first_id + n * (BAND_SQUARES // 2),
        )
        for n, x0_mm in enumerate((page.left_mm, page.middle_band_mm))
    )


def _patches(page: CardPage) -> tuple[Patch, ...]:
    bottom_mm = page.axis_y_mm - BAND_SQUARES * LARGE_SQUARE_MM / 2 - 2.0
    return tuple(
        Patch(x_mm, bottom_mm - PATCH_MM, x_mm + PATCH_MM, bottom_mm, name=name, level=level)
        for n, (name, level) in enumerate(PATCHES)
        for x_mm in [page.left_mm + n * PATCH_MM]
    )


def _check_lines(page: CardPage, reach_mm: float) -> CheckLines:
    """ACROSS above the stations, ALONG in the lower part, left of the drawings."""
    y_mm, x0_mm = page.axis_y_mm - BAND_SQUARES * LARGE_SQUARE_MM / 2 - 3.0, page.slot_station_mm
    x_mm, y0_mm = page.left_mm + 3.0, page.axis_y_mm + reach_mm + 20.0
    return CheckLines(
        along=CheckLine((x_mm, y0_mm), (x_mm, y0_mm + CHECK_LINE_MM), CHECK_LINE_MM),
        across=CheckLine((x0_mm, y_mm), (x0_mm + CHECK_LINE_MM, y_mm), CHECK_LINE_MM),
    )
