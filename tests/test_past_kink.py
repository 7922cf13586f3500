"""A kink near the tip that a gentle line runs past: turned into where metal is seen, and nowhere else."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from samples.photo import save
from samples.render import render
from tests.study.damage_cases import Case, scene_of, truth_row
from vision.past_kink import _way
from vision.pipeline import read_photo
from vision.scale import GivenScale

PX_PER_MM = 20.0


def aside(degrees: float, from_mm: float, to_mm: float) -> np.ndarray:
    """Spots of a bent end, px from the line's end, for a line that runs out toward -x."""
    along = np.arange(from_mm, to_mm, 0.02)[:, None] * PX_PER_MM
    angle = np.radians(180.0 - degrees)
    return np.repeat(along * [np.cos(angle), np.sin(angle)], 4, axis=0)


@pytest.mark.parametrize("degrees", [25.0, 46.0, 80.0, -46.0])
def test_the_bent_end_proposes_its_own_direction(degrees: float):
    way = _way(aside(degrees, 0.2, 2.0), np.array([-1.0, 0.0]), PX_PER_MM, PX_PER_MM)

    assert way is not None
    angle = np.radians(180.0 - degrees)
    assert way == pytest.approx([np.cos(angle), np.sin(angle)], abs=0.02)


@pytest.mark.parametrize("degrees", [0.0, 8.0, 120.0])
def test_what_lies_ahead_or_beside_the_shaft_proposes_none(degrees: float):
    assert _way(aside(degrees, 0.2, 2.0), np.array([-1.0, 0.0]), PX_PER_MM, PX_PER_MM) is None


def test_a_sharp_kink_near_the_tip_is_found(tmp_path: Path):
    """A rendered broach, bent by 46 degrees as seen, 2 mm from its tip: the line led on past it would show a sound wire."""
    scene = scene_of(Case("kinked", 1504))
    row, photo = truth_row(scene), tmp_path / "kinked.jpg"
    picture, truth = render(scene)
    save(picture, truth, photo, scene)
    given = GivenScale(scene.camera.px_per_mm, 0.002 * scene.camera.px_per_mm)

    reading = read_photo(photo, given=given, prints=tmp_path / "none.json", held=False)

    (one,) = reading.instruments
    kink = next(finding for finding in one.condition.findings if finding.kind == "kinked")
    assert one.condition.call == "discard"
    assert kink.strength.value == pytest.approx(row["shown"], abs=4.0)
    assert kink.from_mm < 0.5 * (row["from_mm"] + row["to_mm"]) < kink.to_mm
