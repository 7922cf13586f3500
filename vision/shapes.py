"""Silhouettes of twisted blanks in closed form (leaf of stages 6 and 7).

Seen from the side, the outline of a twisted convex blank at station x is the support function of its cross-section,
turned by the twist there: orthographic projection keeps x, so this is exact for any twist. With R the radius of the
enclosing circle the upper edge is R S(theta) and the lower edge is -R S(theta + pi).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.floating[Any]]


@dataclass(frozen=True)
class Blank:
    """A cross-section: its name, its corners a turn, and crests a turn that stand equally high on one edge."""

    name: str
    corners: int


SQUARE = Blank("square", 4)
TRIANGLE = Blank("triangle", 3)
RHOMBUS = Blank("rhombus", 4)


def support(blank: Blank, theta_rad: Array, rounding: float, low_corner: float) -> Array:
    """Return S(theta), the support function of unit enclosing radius.

    ``rounding`` is corner radius over R: rounding corners adds a disc to a smaller polygon, so S is a mixture.
    ``low_corner`` is the second diagonal over the first for a rhombus (1 for a square) and ignored for a triangle.
    """
    return support_of(blank, np.cos(theta_rad), np.sin(theta_rad), rounding, low_corner)


def support_of(blank: Blank, cosine: Array, sine: Array, rounding: float, low_corner: float) -> Array:
    """Return the same from the cosine and sine of theta."""
    if blank.corners == 3:
        # cos(theta + 120 deg) and cos(theta + 240 deg): the greater of them has the sine's sign turned round
        polygon = np.maximum(cosine, 3.0**0.5 / 2.0 * np.abs(sine) - 0.5 * cosine)
    else:
        polygon = np.maximum(np.abs(cosine), low_corner * np.abs(sine))
    return np.asarray((1.0 - rounding) * polygon + rounding)


def least_support(blank: Blank, low_corner: float = 1.0) -> float:
    """Return the smallest S of a sharp blank: 0.5 for a triangle, 0.707 for a square."""
    if blank.corners == 3:
        return 0.5
    return low_corner / float(np.hypot(1.0, low_corner))
