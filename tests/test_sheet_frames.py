"""Close-ups see enough coded points to carry their scale.

A coded point is a saddle in view whose own marker (the one in the white cell that meets it) is wholly in view. A saddle
with an unread marker beside it cannot be told from its neighbours.
"""

import numpy as np
import pytest

from calib.sheet import Rect, sheets

every_sheet = pytest.mark.parametrize("sheet", list(sheets().values()), ids=lambda sheet: sheet.id)


def _frame(centre_mm, width_mm, height_mm):
    x, y = centre_mm
    return Rect(x - width_mm / 2, y - height_mm / 2, x + width_mm / 2, y + height_mm / 2)


def _coded_points(sheet, frame):
    found = set()
    for strip in sheet.strips:
        for marker in strip.markers:
            if all(frame.contains(*corner) for corner in marker.corners_mm):
                reach_mm = strip.square_mm / 2 + 1e-6
                found |= {
                    (saddle.x_mm, saddle.y_mm)
                    for saddle in strip.saddles
                    if frame.contains(saddle.x_mm, saddle.y_mm)
                    and abs(saddle.x_mm - marker.centre_mm[0]) <= reach_mm
                    and abs(saddle.y_mm - marker.centre_mm[1]) <= reach_mm
                }
    return len(found)


@every_sheet
@pytest.mark.parametrize(("width_mm", "height_mm"), [(12.0, 9.0), (9.0, 12.0)], ids=["12x9", "9x12"])
@pytest.mark.parametrize("side", [-1, 1], ids=["above", "below"])
def test_a_close_up_over_one_ribbon_sees_four_coded_points(sheet, width_mm, height_mm, side):
    """The lane's centre line lies 1.3 mm or more inside, the frame reaches over the full row of one ribbon."""
    farthest_mm = 3.5 + 1.0 + 2.8  # half a lane, the near half row, the full row
    inside_mm = np.linspace(1.3, height_mm - farthest_mm - 1e-3, 4)
    for lane in (sheet.lanes[0], sheet.lanes[11], sheet.lanes[12], sheet.lanes[23]):
        for x_mm in np.arange(lane.x0_mm + width_mm / 2, lane.x1_mm - width_mm / 2, 0.35):
            for t_mm in inside_mm:
                y_mm = lane.centre_mm[1] + side * (height_mm / 2 - t_mm)
                assert _coded_points(sheet, _frame((x_mm, y_mm), width_mm, height_mm)) >= 4


@every_sheet
def test_a_picture_of_a_whole_instrument_sees_both_ribbons(sheet):
    for lane in (sheet.lanes[0], sheet.lanes[17], sheet.lanes[23]):
        for x_mm in np.linspace(lane.x0_mm, lane.x1_mm, 29):
            for y_mm in np.linspace(lane.y0_mm, lane.y1_mm, 3):
                assert _coded_points(sheet, _frame((x_mm, y_mm), 28.0, 20.0)) >= 6


@every_sheet
def test_a_frame_that_sees_no_ribbon_counts_nothing(sheet):
    assert _coded_points(sheet, _frame(sheet.lanes[4].centre_mm, 12.0, 6.9)) == 0
