"""A brownish spot on grey metal is told; what the room throws on every facet, and coloured rubber near by, are not."""

from __future__ import annotations

import numpy as np
import pytest

from vision.condition import Seen, examine
from vision.hurt_sight import HURTS, HurtSight
from vision.tint import Spot, warm_spots
from vision.witness import spot_told

PX_PER_MM, HALF, COLUMNS = 70.0, 96, 1400
X_MM = np.arange(COLUMNS) / PX_PER_MM - 0.5
EDGES = (np.full(COLUMNS, 20.0), np.full(COLUMNS, -20.0))
BROWN = np.array([0.45, 0.36, 0.24])  # of what has dried on: common practice, no source


def strip(*spots: tuple[float, float], tinge: float = 0.0) -> np.ndarray:
    """Grey metal on white paper with brown squares (at mm, side mm); every tenth facet warm by ``tinge``."""
    rng = np.random.default_rng(3)
    values = np.ones((2 * HALF + 1, COLUMNS, 3))
    values[HALF - 20 : HALF + 21] = 0.35
    if tinge:
        for first in range(40, COLUMNS - 40, 60):
            values[HALF - 12 : HALF + 12, first : first + 10] *= [1.0 + tinge, 1.0, 1.0 - tinge]
    for at_mm, side_mm in spots:
        middle, half = round((at_mm + 0.5) * PX_PER_MM), round(0.5 * side_mm * PX_PER_MM)
        values[HALF - half : HALF + half, middle - half : middle + half] = BROWN
    return np.asarray(values * (1.0 + 0.02 * rng.standard_normal(values.shape)))


def one_of(*spots: tuple[float, float], tinge: float = 0.0) -> Spot | None:
    """What is told of a strip by its colours alone."""
    return spot_told(warm_spots(strip(*spots, tinge=tinge), EDGES, X_MM, PX_PER_MM, None, 19.0), None, 14.0)


def sees(at_mm: float, chance: float) -> HurtSight:
    """A damage network that sees debris about one place, and next to nothing elsewhere."""
    chances = np.full((len(HURTS), len(X_MM)), 0.005)
    chances[HURTS.index("debris"), np.abs(X_MM - at_mm) < 0.3] = chance
    return HurtSight(X_MM, chances)


def test_a_spot_is_told_with_place_and_size():
    spot = one_of((6.0, 0.2))

    assert spot is not None
    assert spot.at_mm == pytest.approx(6.0, abs=0.05)
    assert spot.area_mm2 == pytest.approx(0.04, rel=0.15)


def test_the_warm_rims_of_a_glint_are_no_rivals_of_a_spot():
    """A shank's glint, burnt out along its whole length, with a rim of a px or two that lens and compression leave warm."""
    values = strip((6.0, 0.2))
    values[HALF + 8 : HALF + 14, 600:] = 1.5
    for row in (HALF + 7, HALF + 14):
        values[row, 600:1200] = BROWN

    spots = warm_spots(values, EDGES, X_MM, PX_PER_MM, None, 19.0)

    assert [round(spot.at_mm, 1) for spot in spots] == [6.0]


@pytest.mark.parametrize(
    ("spots", "tinge"),
    [((), 0.0), (((6.0, 0.06),), 0.0), (((6.0, 0.2), (9.0, 0.2)), 0.0), ((), 0.3)],
    ids=["bare metal", "too small", "two alike", "every facet"],
)
def test_what_is_no_single_spot_says_nothing(spots: tuple[tuple[float, float], ...], tinge: float):
    assert one_of(*spots, tinge=tinge) is None


def test_the_network_takes_back_what_it_does_not_see_at_all_and_adds_what_it_sees():
    large, alike = (Spot(6.0, 0.04),), (Spot(6.0, 0.012), Spot(9.0, 0.01))

    assert spot_told(large, sees(6.0, 0.05), 14.0) == large[0]
    assert spot_told(large, sees(12.0, 0.5), 14.0) is None
    assert spot_told(alike, sees(9.0, 0.4), 14.0) == alike[1]
    assert spot_told((), sees(9.0, 0.4), 14.0) is None
    certain = spot_told((), sees(9.0, 0.98), 14.0)
    assert certain is not None
    assert certain.area_mm2 is None
    assert certain.at_mm == pytest.approx(9.0, abs=0.1)
    assert spot_told((), sees(9.0, 0.7), 14.0) is None


def test_behind_the_working_part_the_network_must_be_surer():
    """A stop's rim and marks on the shank look like dirt."""
    behind = spot_told((), sees(16.0, 0.99), 14.0)

    assert behind is not None
    assert behind.at_mm == pytest.approx(16.0, abs=0.1)
    assert spot_told((), sees(16.0, 0.9), 14.0) is None


def test_beside_a_stop_and_the_handle_colours_are_mirrored():
    values = strip((6.0, 0.2))

    assert warm_spots(values, EDGES, X_MM, PX_PER_MM, (7.0, 8.5), 19.0) == ()
    assert warm_spots(values, EDGES, X_MM, PX_PER_MM, None, 7.5) == ()


@pytest.mark.parametrize("area_mm2", [0.04, None])
def test_it_ends_in_look_again_with_what_to_do(area_mm2: float | None):
    hurts = sees(6.0, 0.98) if area_mm2 is None else None
    told = examine(Seen(spots=() if area_mm2 is None else (Spot(6.0, area_mm2),), hurts=hurts), px_per_mm=70.0)

    assert told.call == "look again"
    assert "clean it and photograph again" in told.reasons[0]
