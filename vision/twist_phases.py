"""Stage 6h: cost of every cell at every angle and rate -> the likeliest course of the twist (Viterbi's algorithm).

Two priors. Free: the rate may be anything, changing little from cell to cell. In phases: usual toward the handle, anything at
all in one changed stretch, usual again toward the tip, as a blank is that was held at its tip and turned: so a smooth line does
not pass for a twist that stands still where the swing of a small tip is too small to be seen.
"""

from __future__ import annotations

from dataclasses import dataclass
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
FAR = 2.0  # standard deviations from which a change of rate costs in proportion
USUAL, CHANGED, AGAIN = 0, 1, 2


@dataclass(frozen=True)
class _States:
    """A rate (steps a cell) and a phase each; costs of being there, of coming there (to, from) and of starting there."""

    rate: Whole
    column: Whole
    level: Array
    change: Array
    start: Array


def likeliest_free(costs: Array) -> Array:
    """Steps of theta in every cell on the cheapest course of a free twist; ``costs`` (cells, theta, FREE_RATES)."""
    apart = FREE_RATES[:, None] - FREE_RATES[None, :]
    level = 0.5 * ((FREE_RATES - STEPS_A_CELL) / FREE_LEVEL) ** 2
    columns = np.arange(len(FREE_RATES))
    return _cheapest(costs, _States(FREE_RATES, columns, level, 0.5 * (apart / FREE_CHANGE) ** 2, level * STEPS_A_CELL))


def likeliest_in_phases(costs: Array, *, back: bool) -> Array:
    """Steps of theta in every cell on the cheapest course with one changed stretch or none; ``costs`` (cells, theta, RATES).

    ``back``: whether it may turn back. A twist that stops and goes on looks much like one that turns back: both are asked for.
    """
    changed = RATES if back else RATES[RATES >= 0]
    rate = np.concatenate([USUAL_RATES, changed, USUAL_RATES])
    phase = np.repeat([USUAL, CHANGED, AGAIN], [len(USUAL_RATES), len(changed), len(USUAL_RATES)])
    off, wide = rate - STEPS_A_CELL, BACK_LEVEL if back else ONWARD_LEVEL
    level = np.where(phase == CHANGED, 0.5 * (off / wide) ** 2 + CHANGED_CELL, 0.5 * (off / USUAL_LEVEL) ** 2)
    start = level + np.array([0.0, ENTER, np.inf])[phase]
    return _cheapest(costs, _States(rate, rate - RATES[0], level, _changes(rate, phase), start))


def _changes(rate: Whole, phase: Whole) -> Array:
    to, came = phase[:, None], phase[None, :]
    free = (to == CHANGED) | (came == CHANGED)
    far = np.abs(rate[:, None] - rate[None, :]) / np.where(free, CHANGED_CHANGE, USUAL_CHANGE)
    cost = np.where(far < FAR, 0.5 * far**2, FAR * far - 0.5 * FAR**2)
    cost = cost + ENTER * ((came == USUAL) & (to == CHANGED)) + LEAVE * ((came == CHANGED) & (to == AGAIN))
    return np.where((to == came) | (to == came + 1), cost, np.inf)


def _cheapest(costs: Array, states: _States) -> Array:
    """Toward the tip, a cell at rate m lies m steps lower."""
    rate, columns = states.rate, np.arange(len(states.rate))[None, :]
    change, level = states.change.astype(np.float32), states.level.astype(np.float32)
    came = (np.arange(STEPS_A_PERIOD)[:, None] + rate[None, :]) % STEPS_A_PERIOD  # theta of the cell before
    value = costs[0][:, states.column] + states.start.astype(np.float32)
    back = np.zeros((len(costs), STEPS_A_PERIOD, len(rate)), dtype=np.int16)
    for cell in range(1, len(costs)):
        through = value[:, None, :] + change[None, :, :]  # theta before, state now, state before
        best = through.argmin(axis=2)
        least = np.take_along_axis(through, best[:, :, None], axis=2)[:, :, 0]
        back[cell] = best[came, columns]
        value = costs[cell][:, states.column] + level + least[came, columns]
    return _traced(back, rate, int(value.argmin()))


def _traced(back: NDArray[np.int16], rate: Whole, last: int) -> Array:
    at, state = divmod(last, len(rate))
    steps = np.full(len(back), float(at))
    for cell in range(len(back) - 1, 0, -1):
        steps[cell - 1] = steps[cell] + rate[state]
        before = int(back[cell, at, state])
        at, state = (at + int(rate[state])) % STEPS_A_PERIOD, before
    return steps
