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
way ACROSS counts, and moving along gives nothing. (Everything at z = Z is an exact solution too, and a wrong one; a faint
expectation of a height of a millimetre or so keeps clear of it.)
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
ROUNDS, SETTLED_MM = 8, 2e-5  # of reweighting; a height that moves less than this has arrived
EXPECTED_MM, EXPECTED_U_MM = 1.0, 3.0  # of any height, so that photos without parallax have an answer with a large u


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
    return np.stack([1.0 - share, share, 4.0 * share * (1.0 - share)][:count], axis=1)


def triangulate(sightings: Sequence[Sighting], *, bent: bool, begin: AxisHeight | None = None) -> AxisHeight | None:
    """Find z(x) from two or more photos; None when fewer than two show enough of the mid line.

    ``bent``: also fit a curve out of the sheet's plane. ``begin``: an answer for nearly the same sightings, to set out from.
    Without any way across the covariance is very large, never infinite.
    Raises no error for photos of a moved instrument: ``vision.same`` judges that.
    """
    views = [one for one in sightings if len(one.line_mm) >= LEAST_POINTS]
    if len(views) < 2:
        return None
    count = 3 if bent else 2
    ends, spread = (np.zeros(3), 0.02) if begin is None else (begin.ends_mm, begin.residual_mm)
    weights = [np.ones(len(one.line_mm)) for one in views] if begin is None else _weights(begin.misses_mm, spread)
    for _ in range(ROUNDS):
        origin, along, length = _frame(views, ends)
        across = np.array([-along[1], along[0]])
        rows = [_rows(one, origin, along, across, length, ends, count) for one in views]
        design, seen = np.concatenate([r[0] for r in rows]), np.concatenate([r[1] for r in rows])
        root = np.sqrt(np.concatenate(weights))
        faint = spread / EXPECTED_U_MM * np.eye(count, design.shape[1])
        wanted = np.append(seen * root, faint.diagonal() * np.array([1.0, 1.0, 0.0])[:count] * EXPECTED_MM)
        solution = np.linalg.lstsq(np.concatenate([design * root[:, None], faint]), wanted, rcond=None)[0]
        before, ends = ends, np.append(solution[:count], np.zeros(3 - count))
        misses = [r[1] - r[0] @ solution for r in rows]
        spread = max(1.4826 * float(np.median(np.abs(np.concatenate(misses)))), 5e-4)
        weights = _weights(misses, spread)
        if np.abs(ends - before).max() < SETTLED_MM:
            break
    looks = max(LOOK_MM * np.median([len(m) for m in misses]) / max(length, 1.0), 1.0)
    normal = design.T @ (design * root[:, None] ** 2) / looks + faint.T @ faint
    covariance = np.zeros((3, 3))
    covariance[:count, :count] = np.linalg.pinv(normal, hermitian=True, rcond=1e-14)[:count, :count] * spread**2
    stations = tuple(np.clip(_shares(one, origin, along, length, ends), 0.0, 1.0) for one in views)
    return AxisHeight(ends, covariance, _parallax(views, across), spread, origin, along, length, tuple(misses), stations)


def _weights(misses: Sequence[Array], spread: float) -> list[Array]:
    """How much each point of each line counts: those far off the common axis little."""
    return [1.0 / (1.0 + (miss / (2.5 * spread)) ** 2) for miss in misses]


def _frame(views: Sequence[Sighting], ends: Array) -> tuple[Array, Array, float]:
    """Foot of the tip, direction and length of the axis on the page: means over the photos that show its ends, put down from there."""
    starts, stops = (
        np.mean([one.under(end[None, :], z)[0] for one, end in zip(views, _shown(spots, views, k), strict=True) if end is not None], axis=0)
        for spots, z, k in (([v.tip_mm for v in views], ends[0], 0), ([v.front_mm for v in views], ends[1], -1))
    )
    length = float(np.linalg.norm(stops - starts))
    return np.asarray(starts), np.asarray((stops - starts) / length), length


def _shown(spots: Sequence[Array | None], views: Sequence[Sighting], last: int) -> list[Array | None]:
    """An end of the axis in the photos that show it; the line's own end where none does."""
    return list(spots) if any(spot is not None for spot in spots) else [one.line_mm[last] for one in views]


def _shares(one: Sighting, origin: Array, along: Array, length: float, ends: Array) -> Array:
    """Shares of the length of one photo's points, moved back to their present heights."""
    share = np.clip((one.line_mm - origin) @ along / length, -0.2, 1.2)
    z = basis(share, 3) @ ends
    return np.asarray(np.clip((one.under(one.line_mm, z) - origin) @ along / length, -0.2, 1.2))


def _rows(one: Sighting, origin: Array, along: Array, across: Array, length: float, ends: Array, count: int) -> tuple[Array, Array]:
    share = _shares(one, origin, along, length, ends)
    b = (one.line_mm - origin) @ across
    lever = (b - (np.asarray(one.foot_mm) - origin) @ across) / one.height_mm
    shape = _legendre(2.0 * share - 1.0)
    return np.concatenate([lever[:, None] * basis(share, count), shape], axis=1), np.asarray(b)


def _legendre(x: Array) -> Array:
    """Legendre polynomials up to SHAPE_DEGREE at x (N): (N, SHAPE_DEGREE + 1), by their recurrence."""
    columns = np.empty((SHAPE_DEGREE + 1, len(x)))
    columns[0], columns[1] = 1.0, x
    for k in range(2, SHAPE_DEGREE + 1):
        columns[k] = (columns[k - 1] * x * (2 * k - 1) - columns[k - 2] * (k - 1)) / k
    return columns.T


def _parallax(views: Sequence[Sighting], across: Array) -> float:
    place = np.array([np.asarray(one.foot_mm) @ across for one in views])
    return float(np.ptp(place)) / float(np.mean([one.height_mm for one in views]))
