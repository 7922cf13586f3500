"""Where everything lies on a tray mat: a sheet with 24 numbered slots, coded ribbons between them, to lie in an instrument tray.

Ribbons are larger than a sheet's, since the whole mat is photographed at once: a marker's module is 0.73 mm, 9 px at 12 px/mm.
"""

from dataclasses import dataclass

from calib.card_layout import CARD_PAGES, IDS_PER_CARD
from calib.elements import CheckLine, CheckLines, Lane, Patch, Rect, Segment, Sheet, Strip
from calib.layout import CHECK_LINE_MM, MARGIN_MM, PATCH_MM, PATCHES
from calib.papers import Printed
from calib.ribbon import ribbon

SQUARE_MM, MARKER_MM, HALF_MM, SQUARES = 6.8, 5.1, 1.5, 27
RIBBON_MM = SQUARE_MM + 2 * HALF_MM
BANDS = 6
"""Two rows of slots between every two ribbons."""

SLOT_ROWS = 2 * BANDS
GUTTER_MM = 9.0
"""Between the columns, for the right one's numbers."""

IDS_PER_RIBBON = SQUARES // 2
IDS_PER_MAT = (BANDS + 1) * IDS_PER_RIBBON
FIRST_MAT_ID = CARD_PAGES[-1].first_id + IDS_PER_CARD


@dataclass(frozen=True)
class MatPage(Printed):
    """The numbers that differ between papers, mm."""

    left_mm: float
    top_mm: float
    slot_mm: float
    along_line_x_mm: float


MAT_PAGES = (
    MatPage(
        id="A4-M1",
        paper="A4",
        revision=1,
        first_id=FIRST_MAT_ID,
        left_mm=16.0,
        top_mm=22.0,
        slot_mm=13.6,
        trim_x_mm=201.8,
        along_line_x_mm=9.4,
    ),
    MatPage(
        id="LETTER-M1",
        paper="Letter",
        revision=1,
        first_id=FIRST_MAT_ID + IDS_PER_MAT,
        left_mm=18.0,
        top_mm=21.0,
        slot_mm=12.4,
        trim_x_mm=204.0,
        along_line_x_mm=10.0,
    ),
)


def build_mat(page: MatPage) -> Sheet:
    """Work out every element of one mat. Slots are numbered down the left column, then down the right one."""
    right_mm = round(page.left_mm + SQUARES * SQUARE_MM, 6)
    bottom_mm = round(page.top_mm + (BANDS + 1) * RIBBON_MM + SLOT_ROWS * page.slot_mm, 6)
    return Sheet(
        id=page.id,
        paper=page.paper,
        revision=page.revision,
        width_mm=page.width_mm,
        height_mm=page.height_mm,
        block=Rect(page.left_mm, page.top_mm, right_mm, bottom_mm),
        strips=tuple(_ribbon(page, n) for n in range(BANDS + 1)),
        lanes=tuple(_slot(page, right_mm, column, row) for column in (0, 1) for row in range(SLOT_ROWS)),
        slots=(),
        patches=_patches(right_mm, bottom_mm),
        check_lines=_check_lines(page, bottom_mm),
        trim_line=Segment((page.trim_x_mm, MARGIN_MM), (page.trim_x_mm, page.height_mm - MARGIN_MM)),
        mat=True,
    )


def _ribbon(page: MatPage, n: int) -> Strip:
    return ribbon(
        page.left_mm,
        round(page.top_mm + n * (RIBBON_MM + 2 * page.slot_mm), 6),
        runs_along="x",
        squares=SQUARES,
        square_mm=SQUARE_MM,
        half_mm=HALF_MM,
        marker_mm=MARKER_MM,
        first_id=page.first_id + n * IDS_PER_RIBBON,
    )


def _slot(page: MatPage, right_mm: float, column: int, row: int) -> Lane:
    wide_mm = (right_mm - page.left_mm - GUTTER_MM) / 2
    x0_mm = round(page.left_mm + column * (wide_mm + GUTTER_MM), 6)
    y0_mm = round(page.top_mm + (row // 2 + 1) * RIBBON_MM + row * page.slot_mm, 6)
    return Lane(
        x0_mm, y0_mm, round(x0_mm + wide_mm, 6), round(y0_mm + page.slot_mm, 6), number=column * SLOT_ROWS + row + 1, kind="plain"
    )


def _patches(right_mm: float, bottom_mm: float) -> tuple[Patch, ...]:
    left_mm, top_mm = right_mm - len(PATCHES) * PATCH_MM, bottom_mm + 2.5
    return tuple(
        Patch(x_mm, top_mm, x_mm + PATCH_MM, top_mm + PATCH_MM, name=name, level=level)
        for n, (name, level) in enumerate(PATCHES)
        for x_mm in [round(left_mm + n * PATCH_MM, 6)]
    )


def _check_lines(page: MatPage, bottom_mm: float) -> CheckLines:
    """ACROSS below the slots, ALONG in the left margin."""
    y_mm, x_mm = bottom_mm + 5.5, page.along_line_x_mm
    y0_mm = round((page.top_mm + bottom_mm - CHECK_LINE_MM) / 2, 6)
    return CheckLines(
        along=CheckLine((x_mm, y0_mm), (x_mm, y0_mm + CHECK_LINE_MM), CHECK_LINE_MM),
        across=CheckLine((page.left_mm, y_mm), (page.left_mm + CHECK_LINE_MM, y_mm), CHECK_LINE_MM),
    )
