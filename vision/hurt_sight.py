"""Stage 8g: the strip in colour -> what the damage network sees along the strip: a second witness beside outline, twist and tip.

It looks at the whole picture of the metal, faces included, where the other examinations look at the outline. Trained on renders
only (models/README.md). It sees twist gone wrong, broken ends, kinks and rows of hurt barbs; of chips it sees
one in three and is heard beside the outline, or where it is certain; of dirt one in seven, likewise beside a spot of colour.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.metal import network_input
from vision.net import see_damage

Array = NDArray[np.floating[Any]]
HURTS = ("unwound", "reverse-wound", "overwound", "kinked", "tip-lost", "crest-chipped", "barbs-folded", "barbs-missing", "debris")
STEADY_MM = 0.15  # over which its chances are averaged: one column alone says little


@dataclass(frozen=True)
class HurtSight:
    """Chances of HURTS (kinds, N) at ``x_mm`` (N,) from the tip."""

    x_mm: Array
    chances: Array

    def most(self, kind: str, from_mm: float, to_mm: float) -> float:
        """Greatest chance of a kind between two places; 0 where it was not seen."""
        inside = (self.x_mm >= from_mm) & (self.x_mm <= to_mm)
        return float(self.chances[HURTS.index(kind), inside].max()) if inside.any() else 0.0

    def most_of(self, kinds: Sequence[str], from_mm: float, to_mm: float) -> float:
        """Greatest chance at one place of any of several kinds between two places, as of witnesses that do not know of each other:
        kinds that look alike share what the network sees."""
        inside = (self.x_mm >= from_mm) & (self.x_mm <= to_mm)
        rows = self.chances[[HURTS.index(kind) for kind in kinds]][:, inside]
        return float(1.0 - np.prod(1.0 - rows, axis=0).min()) if inside.any() else 0.0

    def stretch(self, kind: str, from_mm: float, to_mm: float) -> tuple[float, float]:
        """Where a kind is seen, mm: about its greatest chance, as far as half of that."""
        inside = np.flatnonzero((self.x_mm >= from_mm) & (self.x_mm <= to_mm))
        if len(inside) == 0:
            return from_mm, from_mm
        row = self.chances[HURTS.index(kind), inside]
        top = int(np.argmax(row))
        low = np.flatnonzero(row[:top] < 0.5 * row[top])
        high = np.flatnonzero(row[top:] < 0.5 * row[top])
        first = int(low[-1]) + 1 if len(low) else 0
        last = top + int(high[0]) - 1 if len(high) else len(row) - 1
        return float(self.x_mm[inside[first]]), float(self.x_mm[inside[last]])


def see_hurts(values: Array, x_mm: Array, step: int, px_per_mm: float) -> HurtSight:
    """Look along a strip (193, N, 3) of linear colours, tip first, ``step`` photo px a column; ``x_mm``: stations of the photo px."""
    chances = see_damage(network_input(values))
    at = (2.0 * np.arange(chances.shape[1]) + 0.5) * step
    wide = max(round(STEADY_MM * px_per_mm / (2.0 * step)), 1)
    kernel = np.ones(wide) / wide
    steady = np.stack([np.convolve(np.pad(row, wide // 2, mode="edge"), kernel, mode="same")[wide // 2 :][: len(row)] for row in chances])
    return HurtSight(np.interp(at, np.arange(float(len(x_mm))), x_mm), steady)
