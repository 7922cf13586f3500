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


def short_of(value: float) -> str:
    """One decimal, cut off and never rounded up: what falls short of a limit must not read as if it met it."""
    return f"{math.floor(10.0 * value) / 10.0:.1f}"


def decimals(u: float) -> int:
    """Decimal place at which a value with this u stops: two significant digits of the ROUNDED u (negative: tens, hundreds).

    The place is taken after rounding: 0.0996 becomes 0.10, not 0.100.
    """
    if u == 0.0:
        return 6
    mantissa, _, exponent = f"{u:.1e}".partition("e")
    return len(mantissa) - 2 - int(exponent)


def rounded(quantity: Quantity) -> tuple[float, float]:
    """Round u to two significant digits and the value to the same decimal place.

    JCGM 100:2008, 7.2.6 (read as quoted by others): 'It usually suffices to quote u_c(y) and U [...] to at most two significant
    digits [...]. Output and input estimates should be rounded to be consistent with their uncertainties'. Rounding is to
    the nearest digit, as 28.05 kHz becomes 28 kHz there.
    """
    if quantity.u == 0.0:
        return quantity.value, 0.0
    places = decimals(quantity.u)
    return round(quantity.value, places), round(quantity.u, places)
