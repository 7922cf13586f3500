"""A kink near the tip that a gentle line runs past: turned into where metal is seen, and nowhere else."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from samples.photo import save
from samples.render import render
from tests.study.damage_cases import Case, scene_of, truth_row
from vision.past_kink import _aside, _begins, _crossing, _ways
from vision.pipeline import read_photo
from vision.reading import InstrumentReading
from vision.scale import GivenScale

PX_PER_MM = 20.0


def read_case(case: Case, folder: Path) -> InstrumentReading:
    """Render a case of the damage study and read it."""
    scene = replace(scene_of(case), supersample=2)  # the picture is much the same with a quarter of the rays
    picture, truth = render(scene)
    save(picture, truth, folder / "case.jpg", scene)
    given = GivenScale(scene.camera.px_per_mm, 0.002 * scene.camera.px_per_mm)
    (one,) = read_photo(folder / "case.jpg", given=given, prints=folder / "none.json", held=scene.laid[0].pose.kind == "flat").instruments
    return one


def aside(degrees: float, from_mm: float, to_mm: float) -> np.ndarray:
    """Spots of a bent end, px from the line's end, for a line that runs out toward -x."""
    along = np.arange(from_mm, to_mm, 0.02)[:, None] * PX_PER_MM
    angle = np.radians(180.0 - degrees)
    return np.repeat(along * [np.cos(angle), np.sin(angle)], 4, axis=0)


@pytest.mark.parametrize("degrees", [25.0, 46.0, 80.0, -46.0])
def test_the_bent_end_proposes_its_own_direction(degrees: float):
    ways = _ways(aside(degrees, 0.2, 2.0), np.array([-1.0, 0.0]), PX_PER_MM, PX_PER_MM)

    angle = np.radians(180.0 - degrees)
    assert len(ways) == 2
    for _, direction in ways:
        assert direction == pytest.approx([np.cos(angle), np.sin(angle)], abs=0.02)


def test_a_bent_end_and_its_shadow_beside_it_are_tried_each_by_itself():
    """A lamp throws the bent end's shadow far aside: the middle between the two leads to neither."""
    both = np.concatenate([aside(45.0, 0.5, 2.5), aside(85.0, 0.5, 4.0)])

    ways = _ways(both, np.array([-1.0, 0.0]), PX_PER_MM, PX_PER_MM)

    angle = np.radians(180.0 - 45.0)
    assert max(direction @ [np.cos(angle), np.sin(angle)] for _, direction in ways) > np.cos(np.radians(3.0))


def test_the_line_runs_through_the_bent_end_although_it_begins_beside_the_old_one():
    """A kink of 30 degrees that the old line cut short: it ends 0.2 mm beside the metal, and the way on is the metal's own."""
    bent = aside(30.0, 0.2, 3.0) + [0.0, 0.2 * PX_PER_MM]

    point, direction = _ways(bent, np.array([-1.0, 0.0]), PX_PER_MM, PX_PER_MM)[1]

    assert direction == pytest.approx([-np.cos(np.radians(30.0)), np.sin(np.radians(30.0))], abs=0.02)
    assert abs((bent[0] - point) @ [direction[1], -direction[0]]) < 1.0


def test_two_lines_meet_where_the_kink_is():
    """A line that runs straight on 2 mm past a kink of 30 degrees: the other one, through the bent end, crosses it there."""
    line = np.column_stack([np.arange(0.0, 5.0 * PX_PER_MM), np.zeros(round(5.0 * PX_PER_MM))])
    kink, bent = np.array([2.0 * PX_PER_MM, 0.0]), np.array([-np.cos(np.radians(30.0)), np.sin(np.radians(30.0))])

    assert _crossing(line, kink + 1.5 * PX_PER_MM * bent, bent, PX_PER_MM) == pytest.approx(2.0 * PX_PER_MM, abs=1.0)
    assert _crossing(line + [0.0, 3.0 * PX_PER_MM], kink, np.array([-1.0, 0.0]), PX_PER_MM) is None


@pytest.mark.parametrize("degrees", [0.0, 8.0, 120.0])
def test_what_lies_ahead_or_beside_the_shaft_proposes_none(degrees: float):
    assert _ways(aside(degrees, 0.2, 2.0), np.array([-1.0, 0.0]), PX_PER_MM, PX_PER_MM) == []


@pytest.mark.parametrize(("wide_mm", "begins"), [(0.3, [40]), (0.8, [40, 56])])
def test_of_a_thick_shaft_the_corner_lies_behind_the_lines_end_as_well(wide_mm: float, begins: list[int]):
    """There the line has run on to the outer side of the corner, by about half of the width."""
    half = np.full(300, 0.5 * wide_mm * PX_PER_MM)

    assert _begins(SimpleNamespace(upper_px=half, lower_px=-half), 40, PX_PER_MM) == begins  # type: ignore[arg-type]


def test_what_lies_within_the_metals_own_outline_leads_nowhere():
    """A cone 1 mm wide and 1 mm long leans aside by 27 degrees on either side: none of it lies beside the metal seen straight on."""
    x = np.arange(0.0, 4.0 * PX_PER_MM)
    half = 0.5 * np.minimum(x, PX_PER_MM)
    line = np.column_stack([x, np.zeros(len(x))])
    strip = SimpleNamespace(axis_px=line, normal=np.tile([0.0, 1.0], (len(x), 1)))
    edges = SimpleNamespace(strip=strip, upper_px=half, lower_px=-half)
    across = np.linspace(-1.0, 1.0, 21)
    cone = np.concatenate([np.column_stack([np.full(21, column), h * across]) for column, h in zip(x, half, strict=True)])
    bent = [20.0, 0.0] + aside(40.0, 1.2, 2.5)

    assert len(_aside(cone, edges, 0, PX_PER_MM)) == 0  # type: ignore[arg-type]
    assert len(_aside(np.concatenate([cone, bent]), edges, 0, PX_PER_MM)) == len(bent)  # type: ignore[arg-type]


def test_a_thick_broken_end_is_no_kink(tmp_path: Path):
    """A rendered Hedstroem file 70 that lost 4 mm: a line that turns into the slanting rim of its last tooth shows a whole end."""
    reading = read_case(Case("tip-lost", 91148), tmp_path)

    kinds = {finding.kind for finding in reading.condition.findings}
    assert kinds == {"tip-lost"}
    assert reading.condition.call == "discard"


def test_a_sharp_kink_near_the_tip_is_found(tmp_path: Path):
    """A rendered broach, bent by 46 degrees as seen, 2 mm from its tip: the line led on past it would show a sound wire."""
    row, one = truth_row(scene_of(Case("kinked", 1504))), read_case(Case("kinked", 1504), tmp_path)

    kink = next(finding for finding in one.condition.findings if finding.kind == "kinked")
    assert one.condition.call == "discard"
    assert kink.strength.value == pytest.approx(row["shown"], abs=4.0)
    assert kink.from_mm < 0.5 * (row["from_mm"] + row["to_mm"]) < kink.to_mm
