"""The helix angle of a pitch on a circle, by the definition of a helix; and no angle where the outline leaves no circle."""

from __future__ import annotations

import math

import pytest

from vision.dimensions import helix_angle
from vision.quantity import Quantity


@pytest.mark.parametrize("crests", [1, 3, 4])
def test_one_lead_along_and_one_circumference_round(crests: int) -> None:
    # the helix unrolled: a right triangle of circumference and lead (any textbook of machine elements; from memory)
    notes: list[str] = []
    angle = helix_angle(Quantity(0.9, 0.01), Quantity(0.5, 0.01), crests, notes)
    assert angle is not None
    assert not notes
    assert angle.value == pytest.approx(_degrees(0.9, 0.5, crests))
    by_pitch, by_width = (_degrees(0.91, 0.5, crests) - angle.value, _degrees(0.9, 0.51, crests) - angle.value)
    assert 1.0 <= angle.u / math.hypot(by_pitch, by_width) < 1.2


def test_outlines_that_cross_make_no_angle_and_say_so() -> None:
    notes: list[str] = []
    assert helix_angle(Quantity(0.9, 0.01), Quantity(-0.3, 0.1), 3, notes) is None
    assert [note.split(":")[0] for note in notes] == ["helix angle is not measured"]


def _degrees(pitch_mm: float, width_mm: float, crests: int) -> float:
    return math.degrees(math.atan2(math.pi * width_mm, pitch_mm * crests))
