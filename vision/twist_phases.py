"""Stage 6h: cost of every cell at every angle and rate -> the likeliest course of the twist (Viterbi's algorithm).

Two priors. Free: the rate may be anything, changing little from cell to cell. In phases: usual toward the handle, anything at
all in one changed stretch, usual again toward the tip, as a blank is that was held at its tip and turned: so a smooth line does
not pass for a twist that stands still where the swing of a small tip is too small to be seen.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property, partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.twist_cells import STEPS_A_CELL, STEPS_A_PERIOD

Array = NDArray[np.floating[Any]]
Whole = NDArray[np.int_]
# Costs of a course, our own choice, tried on drawn and rendered blanks of development seeds.
FREE_RATES, FREE_CHANGE, FREE_LEVEL = np.arange(-14, 21), 1.0, 10.0  # steps a cell
RATES = np.arange(-20, 29)  # in a changed stretch: from 2.5 times backward to 3.5 times the usual
USUAL_RATES, USUAL_LEVEL, USUAL_CHANGE = np.arange(4, 14), 1.6, 1.3  # 20 %: wander, drift, a curve out of the picture's plane
ONWARD_LEVEL, BACK_LEVEL = 12.0, 30.0  # of a changed stretch that only turns onward, and of one that may turn back
CHANGED_CHANGE, CHANGED_CELL = 2.0, 0.35  # the second: nats a cell that a changed stretch lasts
ENTER, LEAVE = 5.0, 1.0  # nats
FREE_FAR, FAR = 8.0, 2.0  # standard deviations from which a change of rate costs in proportion


@dataclass(frozen=True)
class _Change:
    """What a change of rate costs: by ``usual`` steps a cell half a nat, in proportion from ``far`` times that on."""

    usual: float
    far: float

    @cached_property
    def near(self) -> Array:
        """Nats of changes by 1, 2, ... steps a cell, as far as they do not cost in proportion."""
        return self.cost(np.arange(1.0, np.ceil(self.far * self.usual) + 1.0))

    def cost(self, steps: NDArray[Any]) -> Array:
        """Nats of changes by so many steps a cell."""
        by = np.abs(steps) / self.usual
        return np.asarray(np.where(by < self.far, 0.5 * by**2, self.far * by - 0.5 * self.far**2), dtype=np.float32)

    def least(self, value: Array) -> Array:
        """Least of ``value`` (rates, ...) and what it costs to come from there, at every rate: the same as over all pairs, as the
        cost is the least sum of a part in proportion, which running minima give, and a near part."""
        climb = np.float32(self.far / self.usual) * np.arange(len(value), dtype=np.float32).reshape(-1, *[1] * (value.ndim - 1))
        up = np.minimum.accumulate(value - climb, axis=0) + climb
        down = np.minimum.accumulate((value + climb)[::-1], axis=0)[::-1] - climb
        far = np.minimum(up, down)
        least = far.copy()
        for by, cost in enumerate(self.near[: len(value) - 1], 1):
            dearer = far + cost
            np.minimum(least[by:], dearer[:-by], out=least[by:])
            np.minimum(least[:-by], dearer[by:], out=least[:-by])
        return np.asarray(least)


FREE, USUALLY, FREELY = _Change(FREE_CHANGE, FREE_FAR), _Change(USUAL_CHANGE, FAR), _Change(CHANGED_CHANGE, FAR)


@dataclass(frozen=True)
class _States:
    """A rate (steps a cell) and its column in the costs each, in the order of phases; costs of being there and of starting there
    (states, priors), of coming there: (to, from), and the least of it (states, priors, theta) from any."""

    rate: Whole
    column: Whole
    level: Array
    start: Array
    change: Array
    least: Callable[[Array], Array]


def likeliest_free(costs: Array) -> Array:
    """Steps of theta in every cell on the cheapest course of a free twist; ``costs`` (cells, FREE_RATES, theta)."""
    level = 0.5 * ((FREE_RATES - STEPS_A_CELL)[:, None] / FREE_LEVEL) ** 2
    change = FREE.cost(FREE_RATES[:, None] - FREE_RATES[None, :])
    return _cheapest(costs, _States(FREE_RATES, np.arange(len(FREE_RATES)), level, level * STEPS_A_CELL, change, FREE.least))[0]


def likeliest_in_phases(costs: Array) -> tuple[Array, Array]:
    """Steps of theta in every cell on the cheapest course with one changed stretch or none; ``costs`` (cells, RATES, theta).

    Two of them: one that never turns back, and one that may. A twist that stops and goes on looks much like one that turns back.
    """
    many = len(USUAL_RATES)
    rate = np.concatenate([USUAL_RATES, RATES, USUAL_RATES])
    off, inside = (rate - STEPS_A_CELL)[:, None], slice(many, -many)
    level = np.repeat(0.5 * (off / USUAL_LEVEL) ** 2, 2, axis=1)
    level[inside] = 0.5 * (off[inside] / [ONWARD_LEVEL, BACK_LEVEL]) ** 2 + CHANGED_CELL
    level[rate < 0, 0] = np.inf
    start = level.copy()
    start[inside] += ENTER
    start[-many:] = np.inf
    first = int(USUAL_RATES[0] - RATES[0])
    least = partial(_least_in_phases, same=slice(first, first + many))
    onward, back = _cheapest(costs, _States(rate, rate - RATES[0], level, start, _changes(rate, many), least))
    return onward, back


def _changes(rate: Whole, many: int) -> Array:
    """Cost (to, from) of going on: usual, changed, usual again, the first and the last with ``many`` rates."""
    by, usual, changed, again = rate[:, None] - rate[None, :], slice(0, many), slice(many, -many), slice(-many, None)
    cost = np.full(by.shape, np.inf, dtype=np.float32)
    cost[usual, usual], cost[again, again] = USUALLY.cost(by[usual, usual]), USUALLY.cost(by[again, again])
    cost[changed, changed] = FREELY.cost(by[changed, changed])
    cost[changed, usual] = FREELY.cost(by[changed, usual]) + np.float32(ENTER)
    cost[again, changed] = FREELY.cost(by[again, changed]) + np.float32(LEAVE)
    return cost


def _least_in_phases(value: Array, same: slice) -> Array:
    """Least cost (states, priors, theta) of coming to every state from any, as ``_changes`` counts; ``same``: where usual rates stand
    among the changed ones."""
    many, priors = same.stop - same.start, value.shape[1]
    usual, changed, again = value[:many], value[many:-many], value[-many:]
    entered = changed.copy()
    np.minimum(entered[same], usual + np.float32(ENTER), out=entered[same])
    free = FREELY.least(np.concatenate([entered, changed], axis=1))
    steady = USUALLY.least(np.concatenate([usual, again], axis=1))
    left = np.minimum(free[same, priors:] + np.float32(LEAVE), steady[:, priors:])
    return np.concatenate([steady[:, :priors], free[:, :priors], left])


def _cheapest(costs: Array, states: _States) -> list[Array]:
    """By each prior. Toward the tip, a cell at rate m lies m steps lower."""
    rate, priors = states.rate, states.level.shape[1]
    theta = (np.arange(STEPS_A_PERIOD) + rate[:, None]) % STEPS_A_PERIOD  # of the cell before
    came = np.arange(len(rate) * priors).reshape(len(rate), priors, 1) * STEPS_A_PERIOD + theta[:, None]
    level = states.level.astype(np.float32)[:, :, None]
    values = np.zeros((len(costs), len(rate), priors, STEPS_A_PERIOD), dtype=np.float32)
    values[0] = costs[0][states.column][:, None] + states.start.astype(np.float32)[:, :, None]
    for cell in range(1, len(costs)):
        values[cell] = costs[cell][states.column][:, None] + level + states.least(values[cell - 1]).take(came)
    return [_traced(values[:, :, k], rate, states.change) for k in range(priors)]


def _traced(values: Array, rate: Whole, change: Array) -> Array:
    """Back from the cheapest end; from where a state was come to is asked only along this course."""
    state, at = divmod(int(values[-1].argmin()), STEPS_A_PERIOD)
    steps = np.full(len(values), float(at))
    for cell in range(len(values) - 1, 0, -1):
        steps[cell - 1] = steps[cell] + rate[state]
        at = (at + int(rate[state])) % STEPS_A_PERIOD
        state = int((values[cell - 1][:, at] + change[state]).argmin())
    return steps
