"""Where everything lies on a page: the one place that holds the sheets' numbers.

Small ribbons carry the scale beside each instrument in a close-up; large ribbons carry a photo of the whole page. The
bottom ribbon keeps the sheet well spanned after its right-hand ribbon was cut off along the trim line.
"""

from dataclasses import dataclass
from typing import Literal

from calib.elements import CheckLine, CheckLines, Lane, LaneKind, Patch, Rect, Segment, Sheet, Slot, Strip
from calib.papers import Printed
from calib.ribbon import ribbon

# Small ribbons. The module of a marker is 0.3 mm: 12 dots of a 1000 dpi printer, 7 of a 600 dpi one.
SMALL_SQUARE_MM = 2.8
SMALL_MARKER_MM = 2.1
SMALL_HALF_MM = 1.0
SMALL_SQUARES = 25

# Large ribbons. The module is 1.3 mm: 10 px in a photo of the whole page at 8 px/mm.
LARGE_SQUARE_MM = 12.0
LARGE_MARKER_MM = 9.1
LARGE_HALF_MM = 4.0
LARGE_SQUARES = 12

# Lanes. 7 mm take a handle of 4.2 mm and leave the next ribbon in a close-up 9 mm high.
LANE_HEIGHT_MM = 7.0
LANE_LENGTH_MM = SMALL_SQUARES * SMALL_SQUARE_MM
LANE_ROWS = 12
SLOT_LANES = (11, 12)

# A slot takes a handle 10 to 12 mm long and up to 4.2 mm thick. Handles lie on the right, as at the trim line.
SLOT_LENGTH_MM = 15.0
SLOT_HEIGHT_MM = 6.0

SMALL_HEIGHT_MM = SMALL_SQUARE_MM + 2 * SMALL_HALF_MM
LARGE_WIDTH_MM = LARGE_SQUARE_MM + 2 * LARGE_HALF_MM
LARGE_LENGTH_MM = LARGE_SQUARES * LARGE_SQUARE_MM
BLOCK_HEIGHT_MM = (LANE_ROWS + 1) * SMALL_HEIGHT_MM + LANE_ROWS * LANE_HEIGHT_MM

MARGIN_MM = 8.0
"""Left free on all sides: office printers cannot print to the edge."""

CHECK_LINE_MM = 140.0
PATCH_MM = 5.0
PATCHES = (("white", 1.0), ("light", 0.75), ("mid", 0.5), ("dark", 0.25))

IDS_PER_SHEET = 330
"""26 small ribbons of 12 markers and 3 large ones of 6. The window cards follow the two sheets."""


@dataclass(frozen=True)
class Page(Printed):
    """The numbers that differ between papers. Columns and gaps are given by their left ends, in mm."""

    block_top_mm: float
    left_band_mm: float
    columns_mm: tuple[float, float]
    right_band_mm: float
    bottom_band_mm: tuple[float, float]
    along_line_x_mm: float


PAGES = (
    Page(
        id="A4-1",
        paper="A4",
        revision=1,
        first_id=0,
        block_top_mm=30.0,
        left_band_mm=8.0,
        columns_mm=(33.0, 107.0),
        right_band_mm=182.0,
        bottom_band_mm=(33.0, 179.4),
        along_line_x_mm=29.3,
        trim_x_mm=178.0,
    ),
    Page(
        id="LETTER-1",
        paper="Letter",
        revision=1,
        first_id=IDS_PER_SHEET,
        block_top_mm=29.0,
        left_band_mm=9.0,
        columns_mm=(35.0, 110.0),
        right_band_mm=186.9,
        bottom_band_mm=(35.5, 177.4),
        along_line_x_mm=30.8,
        trim_x_mm=181.0,
    ),
)


def build_sheet(page: Page) -> Sheet:
    """Work out every element of one page. Markers are numbered column by column, then the large ribbons."""
    block = Rect(page.columns_mm[0], page.block_top_mm, page.columns_mm[1] + LANE_LENGTH_MM, _block_bottom(page))
    lanes = tuple(_lane(page, column, row) for column in (0, 1) for row in range(LANE_ROWS))
    return Sheet(
        id=page.id,
        paper=page.paper,
        revision=page.revision,
        width_mm=page.width_mm,
        height_mm=page.height_mm,
        block=block,
        strips=_small_strips(page) + _large_strips(page),
        lanes=lanes,
        slots=tuple(_slot(lane) for lane in lanes if lane.kind == "slot"),
        patches=_patches(page),
        check_lines=_check_lines(page, block),
        trim_line=Segment((page.trim_x_mm, MARGIN_MM), (page.trim_x_mm, page.height_mm - MARGIN_MM)),
    )


def _block_bottom(page: Page) -> float:
    return round(page.block_top_mm + BLOCK_HEIGHT_MM, 6)


def _small_strips(page: Page) -> tuple[Strip, ...]:
    count = LANE_ROWS + 1
    return tuple(
        ribbon(
            page.columns_mm[n // count],
            page.block_top_mm + (n % count) * (SMALL_HEIGHT_MM + LANE_HEIGHT_MM),
            runs_along="x",
            squares=SMALL_SQUARES,
            square_mm=SMALL_SQUARE_MM,
            half_mm=SMALL_HALF_MM,
            marker_mm=SMALL_MARKER_MM,
            first_id=page.first_id + n * (SMALL_SQUARES // 2),
        )
        for n in range(2 * count)
    )


def _large_strips(page: Page) -> tuple[Strip, ...]:
    band_top_mm = page.block_top_mm + (BLOCK_HEIGHT_MM - LARGE_LENGTH_MM) / 2
    after_small = page.first_id + 2 * (LANE_ROWS + 1) * (SMALL_SQUARES // 2)

    def large(n: int, x0_mm: float, y0_mm: float, runs_along: Literal["x", "y"]) -> Strip:
        return ribbon(
            x0_mm,
            y0_mm,
            runs_along=runs_along,
            squares=LARGE_SQUARES,
            square_mm=LARGE_SQUARE_MM,
            half_mm=LARGE_HALF_MM,
            marker_mm=LARGE_MARKER_MM,
            first_id=after_small + n * (LARGE_SQUARES // 2),
        )

    return (
        large(0, page.left_band_mm, band_top_mm, "y"),
        large(1, page.right_band_mm, band_top_mm, "y"),
        large(2, *page.bottom_band_mm, "x"),
    )


def _lane(page: Page, column: int, row: int) -> Lane:
    number = column * LANE_ROWS + row + 1
    kind: LaneKind = "edge" if column == 1 else "slot" if number in SLOT_LANES else "plain"
    x0_mm = page.columns_mm[column]
    y0_mm = round(page.block_top_mm + SMALL_HEIGHT_MM + row * (SMALL_HEIGHT_MM + LANE_HEIGHT_MM), 6)
    return Lane(x0_mm, y0_mm, x0_mm + LANE_LENGTH_MM, round(y0_mm + LANE_HEIGHT_MM, 6), number=number, kind=kind)


def _slot(lane: Lane) -> Slot:
    top_mm = round(lane.centre_mm[1] - SLOT_HEIGHT_MM / 2, 6)
    left_mm, bottom_mm = lane.x1_mm - SLOT_LENGTH_MM, round(top_mm + SLOT_HEIGHT_MM, 6)
    return Slot(left_mm, top_mm, lane.x1_mm, bottom_mm, lane_number=lane.number, radius_mm=1.5)


def _patches(page: Page) -> tuple[Patch, ...]:
    bottom_mm = page.block_top_mm - 2.0
    return tuple(
        Patch(x_mm, bottom_mm - PATCH_MM, x_mm + PATCH_MM, bottom_mm, name=name, level=level)
        for n, (name, level) in enumerate(PATCHES)
        for x_mm in [page.left_band_mm + n * PATCH_MM]
    )


def _check_lines(page: Page, block: Rect) -> CheckLines:
    x_mid_mm, y_mid_mm = block.centre_mm
    half_mm = CHECK_LINE_MM / 2
    y_mm = page.block_top_mm - 5.0
    x_mm = page.along_line_x_mm
    return CheckLines(
        along=CheckLine((x_mm, round(y_mid_mm - half_mm, 6)), (x_mm, round(y_mid_mm + half_mm, 6)), CHECK_LINE_MM),
        across=CheckLine((x_mid_mm - half_mm, y_mm), (x_mid_mm + half_mm, y_mm), CHECK_LINE_MM),
    )
