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
    assert angle.value == pytest.approx(math.degrees(math.atan2(math.pi * 0.5, 0.9 * crests)))
    assert 0.0 < angle.u < 5.0


def test_outlines_that_cross_make_no_angle_and_say_so() -> None:
    notes: list[str] = []
    assert helix_angle(Quantity(0.9, 0.01), Quantity(-0.3, 0.1), 3, notes) is None
    assert [note.split(":")[0] for note in notes] == ["helix angle is not measured"]
