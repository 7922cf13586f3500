"""Stage 5b: what the edge finders hand on: both outlines of the metal as offsets from the axis (leaf of the edge finders)."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.strip import Strip

Array = NDArray[np.floating[Any]]
BORDER_PX = 6.0


@dataclass(frozen=True)
class Edges:
    """Offsets of both outlines from the axis in px, one per column of the strip (NaN where none was found).

    ``upper_px`` lies on the positive side of the normal, ``lower_px`` on the negative one, both signed. ``step`` (2, N) is
    the brightness step at each over the paper's. ``blur_px`` is the Gaussian width of the edge's own blur. ``outer_px``
    (2, N) are the outermost steps seen, barbs and whatever else stands out included. ``doubt_px`` is how far the two ways of
    finding the outline (learned model, brightness steps) lie apart when they contradict each other, else 0. ``lit`` (N,)
    marks the columns before a lit screen (empty: none is).
    ``u_px`` (2, N) is the network's own spread of each edge, ``kinds`` (5, N) its chances of what a column shows (nothing,
    working part, smooth shaft, stop, handle), ``heights_px`` (2, N) the axis above the sheet and how far off that usually is,
    ``names`` (14,) its logits of family, section and hand; all empty without it. ``row_px``: px a row that it was shown.
    ``smoothed_px``: what smoothing by software leaves in doubt of either.
    """

    strip: Strip
    upper_px: Array
    lower_px: Array
    step: Array
    blur_px: float
    paper: float
    doubt_px: float = 0.0
    row_px: float = 1.0
    smoothed_px: float = 0.0
    outer_px: Array = field(default_factory=lambda: np.empty((2, 0)))
    lit: NDArray[np.bool_] = field(default_factory=lambda: np.empty(0, dtype=bool))
    u_px: Array = field(default_factory=lambda: np.empty((2, 0)))
    kinds: Array = field(default_factory=lambda: np.empty((5, 0)))
    heights_px: Array = field(default_factory=lambda: np.empty((2, 0)))
    names: Array = field(default_factory=lambda: np.empty(0))

    def within(self, width_px: int, height_px: int) -> Edges:
        """The same with nothing claimed where an edge lies beyond the picture's border, or within its blur of it."""
        beyond = np.zeros(len(self.strip.axis_px), dtype=bool)
        for edge in (self.upper_px, self.lower_px):
            spots = self.strip.axis_px + np.nan_to_num(edge)[:, None] * self.strip.normal
            beyond |= ~((spots >= BORDER_PX) & (spots <= [width_px - 1.0 - BORDER_PX, height_px - 1.0 - BORDER_PX])).all(axis=1)
        if not beyond.any():
            return self
        upper, lower = (np.where(beyond, np.nan, edge) for edge in (self.upper_px, self.lower_px))
        outer = np.where(beyond, np.nan, self.outer_px) if self.outer_px.size else self.outer_px
        return replace(self, upper_px=upper, lower_px=lower, outer_px=outer)

    @property
    def spread_px(self) -> float:
        """The network's usual spread of the outline where it was seen; 1 px where it was not asked."""
        seen = np.isfinite(self.upper_px)
        return float(np.median(self.u_px[:, seen])) if self.u_px.size and seen.any() else 1.0
