"""A slot is empty where only paper and its print show, in a soft shadow or not."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import cv2
import numpy as np

from calib.sheet import sheet_named
from vision.plane import Plane
from vision.tray.slots import filled_lanes

PPM = 8.0
SHEET = sheet_named("A4-M1")
FIRST = SHEET.lanes[0]


def mat() -> tuple[Plane, Any]:
    """The first lane of a mat with a black mark in it, and a little around."""
    size = round((FIRST.y1_mm - FIRST.y0_mm + 4.0) * PPM), round((FIRST.x1_mm - FIRST.x0_mm + 4.0) * PPM)
    printed = np.ones(size, np.float32)
    printed[40:56, 100:180] = 0.0
    nothing = np.empty((0, 0, 3), np.float32)
    plane = Plane(nothing, printed, np.ones(size, bool), (), None, (210.0, 297.0), FIRST.x0_mm - 2.0, FIRST.y0_mm - 2.0, PPM)
    return plane, SimpleNamespace(sheet=SHEET, print_scale=(1.0, 1.0))


def light(plane: Plane) -> np.ndarray:
    """As printed, half a px aside, with a soft shadow over its one end."""
    seen = 0.06 + 0.94 * cv2.GaussianBlur(np.roll(plane.printed, 1, axis=1), (0, 0), 0.8)
    return (seen * np.linspace(1.0, 0.75, seen.shape[1], dtype=np.float32)).astype(np.float32)


def test_paper_and_print_are_nothing() -> None:
    plane, scale = mat()

    assert filled_lanes(plane, np.dstack([light(plane)] * 3), scale) == ()


def test_a_white_handle_and_a_thin_shaft_are_something() -> None:
    """A handle as white as the paper, told by a shaded rim of a third of a mm, and a shaft of 0.4 mm by 25 mm."""
    plane, scale = mat()
    seen = light(plane)
    cv2.rectangle(seen, (400, 45), (488, 77), 0.8, 3)
    cv2.line(seen, (200, 61), (400, 61), 0.45, 3)

    assert filled_lanes(plane, np.dstack([seen] * 3), scale) == (FIRST.number,)
