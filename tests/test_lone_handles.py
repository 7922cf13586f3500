"""A coloured handle whose thin shaft no mask shows keeps a straight line on the shaft; a piece of another handle gets none."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from vision.grips import Grip
from vision.lone_handles import LAID_MM, likeliest_shaft, lone_handles
from vision.nominal import LENGTHS_MM
from vision.shafts import Ground

PPM = 15.0


def grip(x_mm: float, y_mm: float, *, length_mm: float = 10.0, rank: int = 3, cut: bool = False) -> Grip:
    size = (round(4 * PPM), round(length_mm * PPM))
    corner = round(PPM * (x_mm - length_mm / 2)), round(PPM * (y_mm - 2))
    return Grip(np.ones(size, bool), corner, PPM * np.array([x_mm, y_mm]), np.array([1.0, 0.0]), PPM * length_mm / 2, cut, rank)


@pytest.mark.parametrize(("side", "tilt_deg"), [(-1, 0.0), (-1, 5.0), (1, -4.0)])
def test_the_line_follows_a_shaft_that_hardly_differs_from_paper(side: int, tilt_deg: float) -> None:
    """3 % darker than the paper beside it, in noise of 1.5 %, half a millimetre thick; a print's edge beside it does not mislead."""
    handle = grip(40.0, 15.0)
    light = np.random.default_rng(4).normal(1.0, 0.015, (round(30 * PPM), round(80 * PPM))).astype(np.float32)
    front = np.array([40.0 + side * 5.0, 15.0])
    tip = front + 21.0 * np.array([side * np.cos(np.radians(tilt_deg)), np.sin(np.radians(tilt_deg))])
    shaft = np.zeros(light.shape, np.uint8)
    cv2.line(shaft, *(tuple(int(v) for v in np.rint(PPM * end)) for end in (front, tip)), 1, round(0.5 * PPM))
    light[shaft > 0] -= 0.03
    light[: round(11 * PPM)] *= 0.1
    known = np.ones(light.shape, bool)
    known[round(11 * PPM) - 3 : round(11 * PPM) + 3] = False

    found = likeliest_shaft(handle, Ground(np.zeros(light.shape, bool), known, PPM, light))

    ends = PPM * np.linspace(front, tip, 85)
    off_mm = np.linalg.norm(found.line_px[:, None] - ends[None], axis=2).min(axis=1) / PPM
    assert off_mm.max() < 0.6
    assert found.length_mm(PPM) == pytest.approx(21.0, abs=0.3)  # the shortest of JIS T 5419:1995 (read)


def test_only_a_whole_coloured_handle_apart_from_all_others_is_alone() -> None:
    alone, half, held = grip(20, 10), grip(26, 12, length_mm=8.0), grip(60, 10)
    grips = [alone, half, held, grip(64, 12), grip(100, 10, rank=2), grip(120, 10, cut=True), grip(140, 10, length_mm=5.0)]

    assert lone_handles(grips, [held], PPM) == [alone]


def test_a_shaft_is_laid_as_long_as_the_shortest_standard_length() -> None:
    """21 mm, JIS T 5419:1995 (read). Finding never sees the nominal tables, so the value stands in both."""
    assert min(LENGTHS_MM) == LAID_MM
