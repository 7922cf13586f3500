"""Stage 6l: several Sightings of an untouched instrument -> the height of its axis, z(x), by triangulation.

A point P at height z is seen by the camera over F at height Z where its line of sight meets the sheet:

    q = P + m (P - F),  m = z / (Z - z).

Two cameras at equal Z see it apart by q1 - q2 = m (F2 - F1): m follows from two lengths on the sheet, without knowing the
focal length when both views are square-on (F is then the picture's middle). And m is all the correction needs: with
q - F = (1 + m)(P - F), dividing by 1 + m = Z / (Z - z) gives P. A wrong Z makes z wrong in the same proportion.

Crests differ between views, because the outline rotates, so points cannot be matched; the axis can. Moved back to height
z, a point of the mid line seen at (a, b) - along the axis and across it - lies across at b - (b - Fb) z / Z. That must be
one curve w for all photos:

    b = w(s) + (b - Fb) z(s) / Z,   s = a - (a - Fa) z / Z,

linear in the coefficients of w and z. What separates z from w is that b - Fb differs between the photos: only the camera's
way ACROSS counts, and moving along gives nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.sighting import Sighting

Array = NDArray[np.floating[Any]]
SHAPE_DEGREE = 5  # of the axis seen from above
LOOK_MM = 2.0  # neighbouring points of a mid line share errors over about this length
LEAST_POINTS = 12


@dataclass(frozen=True)
class AxisHeight:
    """Heights of the axis over tip and handle front, and its sag in the middle (0 for a straight one), mm.

    ``covariance`` (3, 3) is that of the three from the scatter of the mid lines alone. ``parallax`` is the greatest
    difference of two cameras' places across the axis over their height; ``residual_mm`` the scatter of the lines about one
    axis. ``origin_mm``, ``along``: where on the page x = 0 lies and which way the axis runs.
    """

    ends_mm: Array
    covariance: Array
    parallax: float
    residual_mm: float
    origin_mm: Array
    along: Array
    length_mm: float
    misses_mm: tuple[Array, ...]
    stations: tuple[Array, ...]

    def at(self, share: Array) -> Array:
        """Height at shares of the length, 0 over the tip and 1 over the handle's front."""
        return np.asarray(basis(np.asarray(share, dtype=float), 3) @ self.ends_mm)


def basis(share: Array, count: int) -> Array:
    """(N, count) basis: the height over the tip, over the front, and a parabola of height 1 between them."""
    return np.column_stack([1.0 - share, share, 4.0 * share * (1.0 - share)])[:, :count]


def triangulate(sightings: Sequence[Sighting], *, bent: bool) -> AxisHeight | None:
    """Find z(x) from two or more photos; None when fewer than two show enough of the mid line.

    ``bent``: also fit a curve out of the sheet's plane. Without any way across the covariance is very large, never infinite.
    Raises no error for photos of a moved instrument: ``vision.same`` judges that.
    """
    views = [one for one in sightings if len(one.line_mm) >= LEAST_POINTS]
    if len(views) < 2:
        return None
    origin, along, length = _frame(views)
    across = np.array([-along[1], along[0]])
    ends = np.zeros(3)
    count = 3 if bent else 2
    weights = [np.ones(len(one.line_mm)) for one in views]
    for _ in range(6):
        rows = [_rows(one, origin, along, across, length, ends, count) for one in views]
        design, seen = np.concatenate([r[0] for r in rows]), np.concatenate([r[1] for r in rows])
        root = np.sqrt(np.concatenate(weights))
        faint = 1e-7 * np.eye(design.shape[1])  # decides only what nothing else does
        solution = np.linalg.lstsq(np.concatenate([design * root[:, None], faint]), np.append(seen * root, faint[0] * 0.0), rcond=None)[0]
        ends = np.append(solution[:count], np.zeros(3 - count))
        misses = [r[1] - r[0] @ solution for r in rows]
        spread = max(1.4826 * float(np.median(np.abs(np.concatenate(misses)))), 5e-4)
        weights = [1.0 / (1.0 + (miss / (2.5 * spread)) ** 2) for miss in misses]
    normal = np.linalg.inv(design.T @ (design * root[:, None] ** 2) + faint**2)[:count, :count]
    covariance = np.zeros((3, 3))
    looks = max(LOOK_MM * np.median([len(m) for m in misses]) / max(length, 1.0), 1.0)
    covariance[:count, :count] = normal * spread**2 * looks
    stations = tuple(np.clip(_shares(one, origin, along, length, ends), 0.0, 1.0) for one in views)
    return AxisHeight(ends, covariance, _parallax(views, across), spread, origin, along, length, tuple(misses), stations)


def _frame(views: Sequence[Sighting]) -> tuple[Array, Array, float]:
    """Tip, direction and length of the axis on the page, roughly: means over the photos."""
    starts = np.mean([one.tip_mm if one.tip_mm is not None else one.line_mm[0] for one in views], axis=0)
    stops = np.mean([one.front_mm if one.front_mm is not None else one.line_mm[-1] for one in views], axis=0)
    length = float(np.linalg.norm(stops - starts))
    return np.asarray(starts), np.asarray((stops - starts) / length), length


def _shares(one: Sighting, origin: Array, along: Array, length: float, ends: Array) -> Array:
    """Shares of the length of one photo's points, moved back to their present heights."""
    share = np.clip((one.line_mm - origin) @ along / length, -0.2, 1.2)
    z = basis(share, 3) @ ends
    return np.asarray(np.clip((one.under(one.line_mm, z) - origin) @ along / length, -0.2, 1.2))


def _rows(one: Sighting, origin: Array, along: Array, across: Array, length: float, ends: Array, count: int) -> tuple[Array, Array]:
    share = _shares(one, origin, along, length, ends)
    b = (one.line_mm - origin) @ across
    lever = (b - (np.asarray(one.foot_mm) - origin) @ across) / one.height_mm
    shape = np.polynomial.legendre.legvander(2.0 * share - 1.0, SHAPE_DEGREE)
    return np.column_stack([lever[:, None] * basis(share, count), shape]), np.asarray(b)


def _parallax(views: Sequence[Sighting], across: Array) -> float:
    place = np.array([np.asarray(one.foot_mm) @ across for one in views])
    return float(np.ptp(place)) / float(np.mean([one.height_mm for one in views]))
