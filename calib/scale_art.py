"""Draws what is measured against: ribbons, markers, patches, check lines, lane marks."""

from collections.abc import Iterator
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from calib.elements import MARKER_DICTIONARY, MARKER_MODULES, CheckLine, Lane, Marker, Rect, Sheet, Slot, Window
from calib.pen import Pen

TICK_MM = 2.2
HAIRLINE_MM = 0.15
LANE_NUMBER_PT = 5.5


def draw_scale(pen: Pen, sheet: Sheet) -> None:
    """Draw every element that carries scale, tone or a lane's place; no words but the lane numbers."""
    for strip in sheet.strips:
        pen.fill(strip.cells)
        for marker in strip.markers:
            pen.fill(dark_modules(marker))
    for patch in sheet.patches:
        pen.fill([patch], patch.level)
        pen.polyline(_outline(patch), fill=patch.level, width_mm=HAIRLINE_MM)
    draw_check_line(pen, sheet.check_lines.along)
    draw_check_line(pen, sheet.check_lines.across)
    if not sheet.windows and not sheet.mat:  # a card has a ribbon where a lane's number would stand, a mat larger numbers
        for lane in sheet.lanes:
            _draw_lane_number(pen, lane)
    holes: tuple[Slot | Window, ...] = (*sheet.slots, *sheet.windows)
    for hole in holes:
        pen.rounded(hole, hole.radius_mm, grey=0.65, dash_mm=(1.0, 0.7))
    pen.polyline((sheet.trim_line.start_mm, sheet.trim_line.end_mm), dash_mm=(2.0, 1.2), grey=0.3)


def dark_modules(marker: Marker) -> Iterator[Rect]:
    """The black modules of one marker as rectangles, mm; no two overlap."""
    (x0_mm, y0_mm), side_mm = marker.corners_mm[0], marker.module_mm
    for row, column in np.argwhere(marker_modules(marker.id) == 0).tolist():
        x_mm, y_mm = x0_mm + column * side_mm, y0_mm + row * side_mm
        yield Rect(x_mm, y_mm, x_mm + side_mm, y_mm + side_mm)


def marker_modules(marker_id: int) -> NDArray[np.uint8]:
    """The code of one marker with its border, (MARKER_MODULES, MARKER_MODULES), 0 is black and 255 white."""
    image = cv2.aruco.generateImageMarker(_dictionary(), marker_id, MARKER_MODULES)
    return np.asarray(image, dtype=np.uint8)


@cache
def _dictionary() -> cv2.aruco.Dictionary:
    return cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, MARKER_DICTIONARY))


def draw_check_line(pen: Pen, line: CheckLine) -> None:
    """Draw the line and a tick across each of its ends; the length runs between the middles of the ticks."""
    pen.polyline((line.start_mm, line.end_mm), width_mm=HAIRLINE_MM)
    upright = line.start_mm[1] == line.end_mm[1]
    dx_mm, dy_mm = (0.0, TICK_MM / 2) if upright else (TICK_MM / 2, 0.0)
    for x_mm, y_mm in (line.start_mm, line.end_mm):
        pen.polyline(((x_mm - dx_mm, y_mm - dy_mm), (x_mm + dx_mm, y_mm + dy_mm)), width_mm=HAIRLINE_MM)


def _draw_lane_number(pen: Pen, lane: Lane) -> None:
    baseline_mm = lane.centre_mm[1] + 0.7
    pen.text((lane.x0_mm - 0.6, baseline_mm), str(lane.number), size_pt=LANE_NUMBER_PT, align="right")


def _outline(rect: Rect) -> tuple[tuple[float, float], ...]:
    return (
        (rect.x0_mm, rect.y0_mm),
        (rect.x1_mm, rect.y0_mm),
        (rect.x1_mm, rect.y1_mm),
        (rect.x0_mm, rect.y1_mm),
    )
