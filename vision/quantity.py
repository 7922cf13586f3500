"""A measured number and its standard uncertainty; the one place where digits are chosen (leaf: imports no stage)."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field


@dataclass(frozen=True)
class Quantity:
    """A value with its standard uncertainty u (k = 1, JCGM 100:2008); the unit is in the name of whatever holds it.

    ``parts`` lists labelled contributions to u, each already multiplied by its sensitivity, in the same unit.
    """

    value: float
    u: float
    parts: tuple[tuple[str, float], ...] = field(default=())

    def __post_init__(self) -> None:
        if not (math.isfinite(self.value) and math.isfinite(self.u) and self.u >= 0.0):
            raise ValueError(f"a quantity needs finite value and u >= 0, got value={self.value}, u={self.u}")

    def scaled(self, factor: float) -> Quantity:
        """Return this quantity times an exact factor."""
        size = abs(factor)
        return Quantity(self.value * factor, self.u * size, tuple((name, u * size) for name, u in self.parts))


def combined(value: float, parts: Iterable[tuple[str, float]]) -> Quantity:
    """Return a quantity whose u is the root sum of squares of uncorrelated labelled parts (JCGM 100:2008, 5.1.2)."""
    kept = tuple((name, abs(float(u))) for name, u in parts)
    return Quantity(float(value), math.sqrt(sum(u * u for _, u in kept)), kept)


def rounded(quantity: Quantity) -> tuple[float, float]:
    """Round u to two significant digits and the value to the same decimal place.

    JCGM 100:2008, 7.2.6 (from memory): 'It usually suffices to quote u to at most two significant digits'
    and the estimate is rounded to be consistent with its uncertainty.
    """
    if quantity.u == 0.0:
        return quantity.value, 0.0
    places = 1 - math.floor(math.log10(quantity.u))
    u = round(quantity.u, places)
    return round(quantity.value, places), u
