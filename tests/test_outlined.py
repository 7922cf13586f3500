"""Handles as white as the paper, told by broken outlines: drawn by hand and tiny."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from vision.outlined import outlined_grips

PPM = 12.0


def drawn(angle_deg: float, *, gaps: bool = True, handle: bool = True, shaft: bool = True) -> np.ndarray:
    """Marks of a shaft of 20 mm and a handle of 11 mm by 4 mm beside it, turned about the picture's middle."""
    canvas = np.zeros((600, 600), np.uint8)
    if shaft:
        cv2.line(canvas, (70, 300), (310, 300), 1, 3)
    if handle:
        cv2.rectangle(canvas, (312, 276), (444, 324), 1, 2)
    if handle and gaps:  # a sixth of each side is lost in the paper
        canvas[270:330, 360:382] = 0
        canvas[295:330, 312:318] = 0
    turned = cv2.warpAffine(canvas * 255, cv2.getRotationMatrix2D((300, 300), angle_deg, 1.0), (600, 600))
    return np.asarray(turned > 100)


@pytest.mark.parametrize("angle_deg", [0.0, 33.0, 90.0, 160.0, -70.0])
def test_a_white_handle_lies_where_a_shaft_goes_on_between_two_sides(angle_deg: float) -> None:
    grips = outlined_grips(drawn(angle_deg), np.ones((600, 600), np.float32), PPM)

    turn = np.radians(angle_deg)
    middle = np.array([300.0, 300.0]) + 78.0 * np.array([np.cos(turn), -np.sin(turn)])
    assert len(grips) == 1
    assert np.linalg.norm(grips[0].middle_px - middle) < 2.5 * PPM
    assert abs(grips[0].axis @ [np.cos(turn), -np.sin(turn)]) > 0.99


@pytest.mark.parametrize(("handle", "shaft", "light"), [(False, True, 1.0), (True, False, 1.0), (True, True, 0.4), (True, True, 2.5)])
def test_a_bare_shaft_an_empty_frame_and_what_is_not_white_are_no_white_handle(handle: bool, shaft: bool, light: float) -> None:
    grey = np.full((600, 600), light, np.float32)

    assert not outlined_grips(drawn(20.0, handle=handle, shaft=shaft), grey, PPM)


def test_an_empty_picture_has_none() -> None:
    assert outlined_grips(np.zeros((100, 100), bool), np.ones((100, 100), np.float32), PPM) == ()
