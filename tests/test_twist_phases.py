"""The likeliest course of a twist against the same search over all pairs of states, written out plainly."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from vision.twist_cells import STEPS_A_CELL, STEPS_A_PERIOD
from vision.twist_phases import (
    FREE,
    FREE_LEVEL,
    FREE_RATES,
    FREELY,
    RATES,
    USUAL_RATES,
    USUALLY,
    _changes,
    _least_in_phases,
    likeliest_free,
    likeliest_in_phases,
)

Array = NDArray[np.floating[Any]]
CELLS = 24


@pytest.mark.parametrize(("change", "rates"), [(FREE, 35), (USUALLY, 10), (FREELY, 49)])
def test_a_change_costs_the_least_over_all_pairs_of_rates(change: Any, rates: int) -> None:
    rng = np.random.default_rng(1)
    value = rng.uniform(0.0, 60.0, (rates, STEPS_A_PERIOD)).astype(np.float32)
    value[rng.random(value.shape) < 0.1] = np.inf
    pairs = change.cost(np.arange(rates)[:, None] - np.arange(rates)[None, :])
    assert change.least(value) == pytest.approx((pairs[:, :, None] + value[None]).min(axis=1), abs=1e-4)


def test_a_small_change_costs_as_a_normal_spread_does_and_a_great_one_in_proportion() -> None:
    assert FREELY.cost(np.array([0.0, 2.0, -4.0])) == pytest.approx([0.0, 0.5, 2.0])
    assert np.diff(FREELY.cost(np.array([4.0, 5.0, 6.0, 7.0]))) == pytest.approx([1.0, 1.0, 1.0])


@pytest.mark.parametrize("back", [False, True])
def test_a_course_of_three_stretches_is_entered_and_left_at_the_least_over_all_pairs(back: bool) -> None:
    """Usual, changed, usual again: the search by small changes against every pair of states, written out."""
    changed, many = RATES if back else RATES[RATES >= 0], len(USUAL_RATES)
    rate = np.concatenate([USUAL_RATES, changed, USUAL_RATES])
    value = np.random.default_rng(4).uniform(0.0, 60.0, (len(rate), 2, STEPS_A_PERIOD)).astype(np.float32)
    first = int(USUAL_RATES[0] - changed[0])

    least = _least_in_phases(value, slice(first, first + many))

    assert least == pytest.approx((_changes(rate, many)[:, :, None, None] + value[None]).min(axis=1), abs=1e-4)


def test_a_free_course_is_as_cheap_as_the_cheapest_of_all_pairs() -> None:
    costs = np.random.default_rng(2).uniform(0.0, 20.0, (CELLS, len(FREE_RATES), STEPS_A_PERIOD)).astype(np.float32)
    steps = likeliest_free(costs)
    assert _cost_of_free(costs, steps) == pytest.approx(_least_of_free(costs), abs=1e-2)


@pytest.mark.parametrize("back", [False, True])
def test_a_stretch_that_stands_still_or_turns_back_is_followed_among_noise(back: bool) -> None:
    rate = np.full(CELLS, STEPS_A_CELL)
    rate[10:15] = -6 if back else 0
    turned = -np.cumsum(rate)  # each cell's own rate leads to it from the one before
    costs = np.random.default_rng(3).uniform(4.0, 6.0, (CELLS, len(RATES), STEPS_A_PERIOD)).astype(np.float32)
    costs[np.arange(CELLS), rate - RATES[0], turned % STEPS_A_PERIOD] = 0.0
    onward, anyhow = likeliest_in_phases(costs)
    assert np.diff(anyhow if back else onward) == pytest.approx(np.diff(turned))
    assert (np.diff(onward) <= 0.0).all()


def _cost_of_free(costs: Array, steps: Array) -> float:
    """Of a course: the first cell's rate is whichever costs least."""
    rate = np.rint(-np.diff(steps)).astype(int)
    level = 0.5 * ((FREE_RATES - STEPS_A_CELL) / FREE_LEVEL) ** 2
    at = np.rint(steps).astype(int) % STEPS_A_PERIOD
    own = rate - FREE_RATES[0]
    cost = sum(float(costs[k + 1, own[k], at[k + 1]] + level[own[k]]) for k in range(len(rate)))
    cost += float(FREE.cost(np.diff(rate)).sum())
    first = costs[0, :, at[0]] + level * STEPS_A_CELL + FREE.cost(rate[0] - FREE_RATES)
    return cost + float(first.min())


def _least_of_free(costs: Array) -> float:
    level = 0.5 * ((FREE_RATES - STEPS_A_CELL) / FREE_LEVEL) ** 2
    pairs = FREE.cost(FREE_RATES[:, None] - FREE_RATES[None, :])
    value = costs[0] + (level * STEPS_A_CELL)[:, None]
    for cell in costs[1:]:
        least = (pairs[:, :, None] + value[None]).min(axis=1)
        value = np.stack([cell[k] + level[k] + np.roll(least[k], -int(rate)) for k, rate in enumerate(FREE_RATES)])
    return float(value.min())
