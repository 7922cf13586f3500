"""A chipped tooth of a Hedstroem file is told from whole ones by its neighbours, where it should stand and not where it was found."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from vision.crests import Crests, find_crests
from vision.envelope import Cone
from vision.hurt_sight import HURTS, HurtSight
from vision.place import Profile
from vision.teeth import SHOWS, SLIPPED, SLIPPED_MOST, _by_pitch, short_teeth
from vision.witness import tooth_told

PX_PER_MM, D0_MM, TAPER, DEEP = 70.0, 0.40, 0.02, 0.35
FROM_MM, TO_MM = 1.2, 15.0


def filed(*, chipped: int | None = None, cut: float = 0.0, slipped: int | None = None) -> tuple[Profile, Any]:
    """A file of teeth 0.7 mm apart at the tip and 1.1 mm at the end of its flutes, with noise of 2 um; ``cut`` of the height of one
    upper tooth is broken off its edge, and the outline lies a quarter of the radius too far in at another."""
    x = np.arange(0.0, 16.0, 1.0 / PX_PER_MM)
    turns = np.cumsum(np.interp(x, [0.0, 16.0], [1.0 / 0.7, 1.0 / 1.1])) / PX_PER_MM
    radius, rng = (D0_MM + TAPER * x) / 2.0, np.random.default_rng(7)

    def edge(phase: np.ndarray) -> np.ndarray:
        place = phase % 1.0  # up along the back over seven tenths, then down into the groove
        rise = np.where(place < 0.7, place / 0.7, (1.0 - place) / 0.3)
        return radius * (1.0 - DEEP * (1.0 - rise)) + rng.normal(0.0, 0.002, len(x))

    upper, lower = edge(turns), edge(turns + 0.5)
    if chipped is not None:
        inside = (turns > chipped + 0.6) & (turns < chipped + 0.95)
        upper = np.where(inside, np.minimum(upper, radius * (1.0 - DEEP * cut)), upper)
    if slipped is not None:
        upper = np.where(np.floor(turns) == slipped, upper - 0.25 * radius, upper)
    ones = np.ones((2, len(x)))
    profile = Profile(x, upper, -lower, np.arange(len(x)), PX_PER_MM, 0.001, (upper, -lower), ones, 0.002 * ones)
    crests = [find_crests(x, height, from_mm=FROM_MM, to_mm=TO_MM, ridges=True) for height in (upper, lower)]
    cone = Cone(D0_MM, TAPER, np.zeros((2, 2)), 0.002, 30, 8.0)
    outline = SimpleNamespace(groove=cone, centre_mm=np.zeros(len(x)), upper=crests[0], lower=crests[1])
    return profile, outline


def place_mm(tooth: int) -> float:
    """Where the top of an upper tooth lies."""
    x = np.arange(0.0, 16.0, 1.0 / PX_PER_MM)
    turns = np.cumsum(np.interp(x, [0.0, 16.0], [1.0 / 0.7, 1.0 / 1.1])) / PX_PER_MM
    return float(np.interp(tooth + 0.7, turns, x))


@pytest.mark.parametrize("tooth", [5, 9, 12])
@pytest.mark.parametrize("cut", [0.3, 0.6])
def test_the_chipped_tooth_is_the_lowest(tooth: int, cut: float) -> None:
    teeth = short_teeth(*filed(chipped=tooth, cut=cut), None, TO_MM)
    (lowest,) = (one for one in teeth if one.from_mm < place_mm(tooth) < one.to_mm)

    assert lowest.spreads >= SLIPPED_MOST
    assert lowest.spreads == SLIPPED_MOST or lowest is teeth[0]  # of a deep one little is believed
    # this outline leads over nothing, as the learned one does over half of a chip: it reads up to twice as deep, never more than a tooth
    assert 100.0 * cut < lowest.depth_percent.value <= min(100.0 * cut / SHOWS, 100.0)


def test_whole_teeth_are_alike() -> None:
    assert all(one.spreads < 4.0 for one in short_teeth(*filed(), None, TO_MM))


def test_a_chipped_top_is_expected_where_its_neighbours_lead() -> None:
    """Teeth are machined at a pitch that grows evenly; the fourth was found a fifth of a pitch too early, the seventh not at all;
    a top may be off by a third of that."""
    place = np.cumsum(0.7 + 0.02 * np.arange(14))
    found = np.delete(place, 7)
    found[4] -= 0.15
    none = np.empty(0)

    assert _by_pitch(Crests(found, np.ones(13), none, none)) == pytest.approx(place, abs=0.05)


def test_behind_a_stop_nothing_is_told_and_little_where_the_outline_slipped() -> None:
    at = place_mm(8)

    hidden = short_teeth(*filed(chipped=8, cut=0.6), (at - 0.5, at + 0.5), TO_MM)
    slipped = short_teeth(*filed(slipped=8), None, TO_MM)

    assert all(abs(0.5 * (one.from_mm + one.to_mm) - at) > 0.5 for one in hidden)
    assert SLIPPED < 0.25
    assert max(one.spreads for one in slipped) <= SLIPPED_MOST


def test_too_few_teeth_tell_nothing() -> None:
    profile, outline = filed(chipped=5, cut=0.6)
    few = find_crests(profile.x_mm, profile.upper_mm, from_mm=FROM_MM, to_mm=5.0, ridges=True)
    outline.upper = outline.lower = few

    assert short_teeth(profile, outline, None, TO_MM) == ()


@pytest.mark.parametrize(("seen", "told"), [(0.7, True), (0.02, False)])
def test_a_low_tooth_counts_only_beside_what_the_faces_show(seen: float, told: bool) -> None:
    teeth = short_teeth(*filed(chipped=9, cut=0.3), None, TO_MM)
    x, chances = np.arange(1600) / 100.0, np.full((len(HURTS), 1600), 0.001)
    chances[HURTS.index("crest-chipped"), np.abs(x - place_mm(9)) < 0.1] = seen

    likeliest, chance = tooth_told(teeth, HurtSight(x, chances)) or (None, 0.0)

    assert likeliest is teeth[0]
    assert (chance > 0.8) == told
    assert tooth_told(teeth, None) is None
    assert tooth_told((), HurtSight(x, chances)) is None


def test_nothing_is_told_where_no_groove_is_seen() -> None:
    """As in an overview: how high teeth are, of which a chip is a share, is not known then."""
    profile, outline = filed(chipped=9, cut=0.6)
    radius = (D0_MM + TAPER * profile.x_mm) / 2.0
    upper, lower = (np.where(edge > 0.9 * radius, edge, np.nan) for edge in (profile.upper_mm, -profile.lower_mm))

    assert short_teeth(replace(profile, upper_mm=upper, lower_mm=-lower), outline, None, TO_MM) == ()
