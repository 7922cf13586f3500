"""The studies of trays count a kink by what a photo from above shows of it, beside what was planted."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from tests.study.as_projected import kink_as_projected_deg, shows
from tests.study.check_scenes import Planted
from tests.study.tray_checks import counted
from tests.study.trays import _kinds
from vision.tray.check import Checked, Position, Row
from vision.tray.kit import Item, Kit

KIT = Kit("invented", (Item("k-file", 25, None, 1, (1,)), Item("k-file", 25, None, 1, (2,))))


def kinked(planted_deg: float, toward_camera_deg: float, at_mm: float) -> dict[str, Any]:
    """A straight shaft along x, bent at once, in a plane turned so far out of the picture; seen straight from above at 20 px/mm."""
    s = np.arange(0.0, 25.0, 0.5)
    theta, phi = np.radians([planted_deg, toward_camera_deg])
    before = np.maximum(at_mm - s, 0.0)
    x = np.maximum(s, at_mm) - before * np.cos(theta)
    y = before * np.sin(theta) * np.cos(phi)
    damage = {"kind": "kinked", "from_mm": at_mm, "to_mm": at_mm, "strength": planted_deg}
    return {"axis_px": np.column_stack([s, 20.0 * x, 20.0 * y]).tolist(), "damage": [damage]}


@pytest.mark.parametrize("at_mm", [0.6, 3.0, 9.0])
@pytest.mark.parametrize(("planted_deg", "toward_camera_deg"), [(30.0, 0.0), (45.0, 60.0), (25.0, 90.0), (60.0, 180.0)])
def test_the_angle_in_the_picture_is_that_of_the_closed_form(planted_deg: float, toward_camera_deg: float, at_mm: float) -> None:
    """Orthographic projection of two lines: tan of the angle seen = tan of the angle in space, times cos of the plane's turn."""
    theta, phi = np.radians([planted_deg, toward_camera_deg])
    expected = abs(np.degrees(np.arctan(np.tan(theta) * np.cos(phi))))
    on_grid = round(at_mm / 0.5) * 0.5  # the truth's axis has a point every half millimetre
    assert kink_as_projected_deg(kinked(planted_deg, toward_camera_deg, on_grid)) == pytest.approx(expected, abs=0.01)


def test_a_kink_along_the_view_is_counted_apart_and_other_damage_shows() -> None:
    seen, hidden = kinked(30.0, 10.0, 4.0), kinked(30.0, 80.0, 4.0)
    lost = {"axis_px": seen["axis_px"], "damage": [{"kind": "tip-lost", "from_mm": 0.0, "to_mm": 0.0, "strength": 3.0}]}
    whole: dict[str, Any] = {"axis_px": seen["axis_px"], "damage": []}
    both = {"axis_px": hidden["axis_px"], "damage": [*hidden["damage"], *lost["damage"]]}

    assert [shows(one) for one in (seen, hidden, lost, whole)] == [True, False, True, False]
    assert _kinds(seen) == ["kinked", "kinked as projected", "damage that shows"]
    assert _kinds(hidden) == ["kinked", "kinked along the view"]
    assert _kinds(lost) == ["tip-lost", "damage that shows"]
    assert _kinds(whole) == []
    assert _kinds(both) == ["kinked", "tip-lost", "kinked along the view", "damage that shows"]


def test_a_damage_that_cannot_show_and_was_passed_is_told_apart_in_a_check() -> None:
    rows = tuple(Row(Position("k-file", 25, None, slot), None, "matches list", "") for slot in (1, 2))
    count = counted(Planted(KIT, {1: "damaged", 2: "damaged"}, frozenset({2})), Checked(KIT, rows, (), None))

    assert count["faults passed"] == 2
    assert (count["faults that show"], count["faults that show passed"]) == (1, 1)
    assert (count["faults along the view"], count["faults along the view passed"]) == (1, 1)
