"""The sheets' data: codes, ribbons, lanes, lines, and what a cut sheet keeps."""

from collections import Counter
from itertools import combinations

import numpy as np
import pytest

from calib.errors import UnknownSheetError
from calib.sheet import sheet_named, sheet_of_marker, sheets

SHEETS = list(sheets().values())
PAPER_MM = {
    "A4": (210.0, 297.0),  # ISO 216
    "Letter": (215.9, 279.4),  # 8.5 in x 11 in, ANSI/ASME Y14.1 size A
}
every_sheet = pytest.mark.parametrize("sheet", SHEETS, ids=lambda sheet: sheet.id)


def _overlap(a, b):
    return a.x0_mm < b.x1_mm and b.x0_mm < a.x1_mm and a.y0_mm < b.y1_mm and b.y0_mm < a.y1_mm


def test_the_two_sheets_by_name():
    assert list(sheets()) == ["A4-1", "LETTER-1"]
    assert sheet_named("LETTER-1") is sheets()["LETTER-1"]
    with pytest.raises(UnknownSheetError, match="A4-1, LETTER-1, A4-W1, LETTER-W1"):
        sheet_named("A4-2")


@every_sheet
def test_paper_sizes(sheet):
    assert (sheet.width_mm, sheet.height_mm) == PAPER_MM[sheet.paper]


def test_one_marker_tells_the_sheet():
    ids = Counter(marker.id for sheet in SHEETS for marker in sheet.markers)

    assert max(ids.values()) == 1
    assert min(ids) >= 0
    assert max(ids) < 1000  # the dictionary has 1000 codes
    for sheet in SHEETS:
        assert all(sheet_of_marker(marker.id) is sheet for marker in sheet.markers)
    assert sheet_of_marker(999) is None


@every_sheet
def test_module_sizes(sheet):
    modules_mm = Counter(round(marker.module_mm, 6) for marker in sheet.markers)

    assert min(modules_mm) >= 0.3
    # In a photo of the whole page at 8 px/mm the large codes have modules of 8 px and more.
    assert max(modules_mm) * 8 >= 8
    assert modules_mm[max(modules_mm)] == 18


@every_sheet
def test_marker_corners_run_clockwise_from_the_top_left(sheet):
    marker = sheet.markers[0]
    (x, y), s = marker.centre_mm, marker.side_mm

    signs = ((-1, -1), (1, -1), (1, 1), (-1, 1))
    assert np.allclose(marker.corners_mm, [(x + u * s / 2, y + v * s / 2) for u, v in signs])


@every_sheet
def test_each_marker_lies_in_a_white_cell_with_a_module_of_white_around(sheet):
    for strip in sheet.strips:
        for marker in strip.markers:
            (x0, y0), _, (x1, y1), _ = marker.corners_mm
            quiet_mm = marker.module_mm
            grown = type(strip.cells[0])(x0 - quiet_mm, y0 - quiet_mm, x1 + quiet_mm, y1 + quiet_mm)
            assert not any(_overlap(grown, cell) for cell in strip.cells)


@every_sheet
def test_saddles_are_all_points_where_two_black_cells_touch_by_a_corner(sheet):
    corners = Counter(
        (x, y) for cell in sheet.dark_rects for x in (cell.x0_mm, cell.x1_mm) for y in (cell.y0_mm, cell.y1_mm)
    )
    shared = {point for point, count in corners.items() if count == 2}

    assert max(corners.values()) == 2
    assert {(saddle.x_mm, saddle.y_mm) for saddle in sheet.saddles} == shared
    assert len(sheet.saddles) == len(shared)


@every_sheet
def test_parts_do_not_overlap_and_keep_to_the_printable_page(sheet):
    parts = [*sheet.strips, *sheet.lanes, *sheet.patches]

    assert not any(_overlap(a, b) for a, b in combinations(parts, 2))
    for part in parts:
        assert part.x0_mm >= 8
        assert part.y0_mm >= 8
        assert part.x1_mm <= sheet.width_mm - 8
        assert part.y1_mm <= sheet.height_mm - 8


@every_sheet
def test_lanes(sheet):
    assert [lane.number for lane in sheet.lanes] == list(range(1, 25))
    assert Counter(lane.kind for lane in sheet.lanes) == {"plain": 10, "slot": 2, "edge": 12}
    for lane in sheet.lanes:
        assert lane.width_mm == pytest.approx(70)
        assert lane.height_mm == pytest.approx(7)


@every_sheet
def test_check_lines_are_140_mm_and_square_to_each_other(sheet):
    along, across = sheet.check_lines.along, sheet.check_lines.across

    assert along.start_mm[0] == along.end_mm[0]
    assert along.end_mm[1] - along.start_mm[1] == pytest.approx(along.nominal_mm) == 140.0
    assert across.start_mm[1] == across.end_mm[1]
    assert across.end_mm[0] - across.start_mm[0] == pytest.approx(across.nominal_mm) == 140.0


@every_sheet
def test_slots_hold_a_handle_and_lie_in_their_lanes(sheet):
    by_number = {lane.number: lane for lane in sheet.lanes}

    assert len(sheet.slots) == 2
    for slot in sheet.slots:
        lane = by_number[slot.lane_number]
        assert lane.kind == "slot"
        assert lane.contains(slot.x0_mm, slot.y0_mm)
        assert lane.contains(slot.x1_mm, slot.y1_mm)
        assert (slot.width_mm, slot.height_mm) == pytest.approx((15, 6))
        # What is left takes the longest common instrument, 31 mm from tip to handle (ISO 3630-1 lengths).
        assert lane.width_mm - slot.width_mm > 31


@every_sheet
def test_a_cut_sheet_keeps_codes_that_span_it(sheet):
    cut_mm = sheet.trim_line.start_mm[0]
    left = [strip for strip in sheet.strips if strip.x1_mm <= cut_mm]
    large = [marker for strip in left for marker in strip.markers if marker.module_mm > 1]

    assert all(strip.x1_mm <= cut_mm or strip.x0_mm > cut_mm for strip in sheet.strips)
    assert sum(len(strip.markers) for strip in left) == 324
    assert len(large) == 12
    for axis, block_mm in ((0, sheet.block.width_mm), (1, sheet.block.height_mm)):
        places_mm = [marker.centre_mm[axis] for marker in large]
        assert max(places_mm) - min(places_mm) > 0.9 * block_mm
    for lane in sheet.lanes:
        assert lane.x1_mm <= cut_mm
        assert lane.kind != "edge" or cut_mm - lane.x1_mm <= 1.0
