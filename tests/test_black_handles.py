"""A black handle is found as one piece over a ribbon's ink and on both sides of a glint; shafts, stops and print are no handles."""

from __future__ import annotations

import numpy as np
import pytest

from vision.black_handles import whole_black
from vision.grips import WHOLE_MM2, find_grips

PPM = 15.0
PLASTIC, INK, PAPER, GLINT = 0.04, 0.06, 1.0, 0.4


def mm(*values: float) -> list[int]:
    return [round(PPM * value) for value in values]


def box(shape: tuple[int, int], top: float, bottom: float, left: float, right: float) -> np.ndarray:
    """A rectangle in mm."""
    out = np.zeros(shape, bool)
    y0, y1, x0, x1 = mm(top, bottom, left, right)
    out[y0:y1, x0:x1] = True
    return out


def found(handle: np.ndarray, ink: np.ndarray, glint: np.ndarray | None = None, *, tinted: bool = False) -> tuple[int, float]:
    """How many handles, and the largest one's size in mm2. Black where white should be is surely black."""
    grey = np.where(handle, PLASTIC, np.where(ink, INK, PAPER)).astype(np.float32)
    if glint is not None:
        grey[glint] = GLINT
    plain = handle & ~ink & (grey < 0.1)
    colour = np.dstack([grey] * 3)
    if tinted:
        colour[handle] += np.array([0.14, 0.0, 0.0], np.float32)
    grips = find_grips(whole_black(plain, colour, PPM), colour, np.zeros_like(plain), PPM)
    return len(grips), max((grip.mask.sum() / PPM**2 for grip in grips), default=0.0)


SHAPE = (round(30 * PPM), round(40 * PPM))


@pytest.mark.parametrize("tinted", [False, True])
def test_what_a_ribbons_squares_hide_of_a_black_handle_is_found(tinted: bool) -> None:
    """11 mm by 4.2 mm, its lower 2.8 mm over ink 2.6 mm wide with white lines every 3 mm; what has a colour is no black one's."""
    handle = box(SHAPE, 10.0, 14.2, 10.0, 21.0)
    ink = box(SHAPE, 11.4, 14.6, 0.0, 40.0)
    for left in np.arange(0.0, 40.0, 3.0):
        ink &= ~box(SHAPE, 11.4, 14.6, left, left + 0.6)

    number, area = found(handle, ink, tinted=tinted)

    assert (number == 1 and area > WHOLE_MM2) != tinted


@pytest.mark.parametrize(("high_mm", "wide_mm"), [(1.0, 25.0), (4.0, 1.8), (3.0, 4.0)])
def test_a_shaft_and_a_stop_make_no_handle_of_the_ink_beside_them(high_mm: float, wide_mm: float) -> None:
    ink = box(SHAPE, 12.0, 15.0, 0.0, 40.0)
    assert found(box(SHAPE, 11.0, 11.0 + high_mm, 10.0, 10.0 + wide_mm), ink)[0] == 0


def test_a_glint_along_a_black_handle_does_not_part_it() -> None:
    handle = box(SHAPE, 10.0, 14.0, 10.0, 21.0)
    glint = box(SHAPE, 11.6, 12.7, 10.0, 21.0)

    number, area = found(handle, np.zeros(SHAPE, bool), glint)

    assert (number, area) == (1, pytest.approx(44.0, rel=0.1))
