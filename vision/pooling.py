"""Several readings of one quantity -> one, with what the readings share and what they do not (leaf: imports no stage).

Each reading's u has parts. Some are common to all photos (the print's scale, how the outline is found, a height that was
triangulated once) and do not shrink by repeating. The others are independent: their weighted mean shrinks, and when the
readings scatter more than those parts allow, it is widened to the scatter seen, by the Birge ratio
R = sqrt(chi-square / (n - 1)) - a type A evaluation (JCGM 100:2008, 4.2; the ratio is common practice in adjusting
constants, from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from scipy.special import chdtrc

from vision.quantity import Quantity, combined

# Parts whose errors are new in every photo. Of the edge model's error a part is the photo's own (focus, light, roll), and of
# the place of the handle's front too, whose rounding is the same in every photo.
OWN = frozenset({"fit", "tip", "marker fit"})
PARTLY_OWN = frozenset({"edge model", "place"})
OWN_SHARE = 0.5
DISAGREE = 0.01  # chance of such a scatter below which it is called a disagreement
OTHER = "not itemised"


@dataclass(frozen=True)
class Pooled:
    """The pooled quantity, chi-square of the readings about it with its degrees of freedom, and the photo farthest off.

    ``probability`` is the chance that readings with these uncertainties scatter as much or more. ``farthest`` is the index
    of the reading farthest off in its own u, and ``off`` by how many of them.
    """

    quantity: Quantity
    chi_square: float
    freedom: int
    probability: float
    farthest: int
    off: float

    @property
    def disagree(self) -> bool:
        """Whether the readings contradict each other."""
        return self.freedom > 0 and self.probability < DISAGREE


def pool(readings: Sequence[Quantity | None], *, own: frozenset[str] = frozenset()) -> Pooled | None:
    """Pool the readings that are there; None when none is. ``own`` names further parts that are new in every photo."""
    there = [(k, one) for k, one in enumerate(readings) if one is not None]
    if not there:
        return None
    split = [_split(one, OWN | own) for _, one in there]
    weights = [1.0 / max(single, 1e-3 * one.u, 1e-12) ** 2 for (_, one), (single, _) in zip(there, split, strict=True)]
    total = sum(weights)
    mean = sum(w * one.value for w, (_, one) in zip(weights, there, strict=True)) / total
    deviations = [math.sqrt(w) * (one.value - mean) for w, (_, one) in zip(weights, there, strict=True)]
    chi_square, freedom = sum(d * d for d in deviations), len(there) - 1
    birge = max(math.sqrt(chi_square / freedom), 1.0) if freedom else 1.0
    parts = [("between photos", birge / math.sqrt(total)), *_shared([common for _, common in split], weights)]
    worst = max(range(len(there)), key=lambda k: abs(deviations[k]))
    probability = float(chdtrc(freedom, chi_square)) if freedom else 1.0
    return Pooled(combined(mean, parts), chi_square, freedom, probability, there[worst][0], abs(deviations[worst]))


def _split(one: Quantity, own: frozenset[str]) -> tuple[float, dict[str, float]]:
    """The photo's own part of u, and the common parts by name."""
    squares, common = 0.0, {}
    for name, u in one.parts:
        share = 1.0 if name in own else OWN_SHARE if name in PARTLY_OWN else 0.0
        squares += share * u * u
        common[name] = math.sqrt(1.0 - share) * u
    if not one.parts:
        squares, common = OWN_SHARE * one.u**2, {OTHER: math.sqrt(1.0 - OWN_SHARE) * one.u}
    return math.sqrt(squares), {name: u for name, u in common.items() if u > 0.0}


def _shared(common: Sequence[dict[str, float]], weights: Sequence[float]) -> list[tuple[str, float]]:
    """Common parts: fully correlated between photos, so their weighted mean."""
    names = list(dict.fromkeys(name for one in common for name in one))
    total = sum(weights)
    return [(name, sum(w * one.get(name, 0.0) for w, one in zip(weights, common, strict=True)) / total) for name in names]
