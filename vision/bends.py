"""Stage 8b: middle of both edges -> kink or pre-curve. A kink turns within a millimetre, a pre-curve over many.

The direction of the axis is fitted, around every place, with a gentle curve on either side (pre-curves have radii of 8 mm
and more, and may begin or end there) and a step: the step is the kink. What swings with the flutes is taken off first.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d
from scipy.special import ndtr

Array = NDArray[np.floating[Any]]
GRID_MM = 0.05
SMOOTH_MM = 0.10
WINDOW_MM = 2.2
STEP_U_MM = (0.12, 0.20, 0.35)  # half lengths of a step: kinks bend on about the wire's own diameter
CURVATURE_PER_MM = 0.06  # usual curvature of a pre-curve (radius 16 mm), as a prior
HEADING_U_RAD = 0.015  # of one direction on the grid: waves of the outline that are no bend
ALIKE_POINTS = 6.0  # neighbouring directions on the grid say the same
AWAY_MM, LEAST_CALM = 2.8, 20
LEAST_SIDE_MM = 0.7  # of metal beyond a kink
ALERT_DEG, ALERT_U = 7.0, 4.0  # the alert: so many degrees, and so many u, since the sharpest of a hundred places is looked at
LEAST_U_DEG = 1.2
FOUND_95 = 1.645


@dataclass(frozen=True)
class Bend:
    """Sharpest step in the axis's direction: where, degrees as projected, u; the whole turn from end to end, least radius."""

    at_mm: float
    sharp_deg: float
    u_deg: float
    whole_deg: float
    radius_mm: float | None

    @property
    def probability(self) -> float:
        """That the step is no wave of the outline: one half at the alert."""
        return float(ndtr((abs(self.sharp_deg) - self.alert_deg) / self.u_deg))

    @property
    def alert_deg(self) -> float:
        """Step from which a kink is more likely than a wave of the outline."""
        return max(ALERT_DEG, ALERT_U * self.u_deg)

    @property
    def smallest_deg(self) -> float:
        """Step, as projected, that would have been found 95 times in 100."""
        return self.alert_deg + FOUND_95 * self.u_deg


def sharpest_bend(x_mm: Array, line_mm: Array, wave_mm: float) -> Bend | None:
    """Find the sharpest bend of the middle line (N, 2), mm, NaN where unseen; ``x_mm`` (N,) are its stations.

    ``wave_mm``: length of a wave of the flutes still left in it (0: none), over which it is averaged. None when too short.
    """
    good = np.isfinite(line_mm).all(axis=1)
    if good.sum() < 50 or np.ptp(x_mm[good]) < 4.0:
        return None
    grid = np.arange(x_mm[good][0], x_mm[good][-1], GRID_MM)
    heading = _heading(grid, x_mm[good], line_mm[good], wave_mm)
    seen = _near_seen(grid, x_mm[good])
    places = grid[::2]
    steps, gains = _steps(grid, heading, seen, places)
    told = np.isfinite(steps)
    if told.sum() < 10:
        return None
    best = int(np.argmax(gains))
    away = told & (np.abs(places - places[best]) > AWAY_MM)  # around a kink every window holds a part of it
    calm = steps[away] if away.sum() >= LEAST_CALM else _without(grid, heading, seen, places, best, float(steps[best]))[told]
    noise = 1.4826 * float(np.median(np.abs(calm - np.median(calm))))
    whole = float(np.degrees(heading[-10:].mean() - heading[:10].mean()))
    curved = float(np.percentile(np.abs(np.gradient(gaussian_filter1d(heading, 1.0 / GRID_MM), GRID_MM)), 80))
    return Bend(
        float(places[best]),
        float(np.degrees(steps[best])),
        max(float(np.degrees(noise)), LEAST_U_DEG),
        whole,
        1.0 / curved if curved > 2e-3 else None,
    )


def _without(grid: Array, heading: Array, seen: NDArray[np.bool_], places: Array, best: int, step: float) -> Array:
    """Steps of the same line with the sharpest one taken out: what is left on a short piece, where every window holds a part of it.

    Of several lengths of step the one that leaves least.
    """
    left = [_steps(grid, heading - step * ndtr((grid - places[best]) / length), seen, places)[0] for length in STEP_U_MM]
    return min(left, key=lambda one: float(np.nanmedian(np.abs(one))))


def _heading(grid: Array, x: Array, line: Array, wave_mm: float) -> Array:
    """Direction of the smoothed line, rad, unwrapped."""
    smooth = max(SMOOTH_MM, 0.45 * wave_mm) / GRID_MM
    u, v = (gaussian_filter1d(np.interp(grid, x, line[:, k]), smooth, mode="nearest") for k in (0, 1))
    return np.asarray(np.unwrap(np.arctan2(np.gradient(v), np.gradient(u))))


def _near_seen(grid: Array, x: Array) -> NDArray[np.bool_]:
    """Grid places with an edge point nearby: across a stop the line is only bridged."""
    after = np.clip(np.searchsorted(x, grid), 1, len(x) - 1)
    return np.asarray(np.minimum(np.abs(x[after] - grid), np.abs(grid - x[after - 1])) < 2.0 * GRID_MM)


def _steps(grid: Array, heading: Array, seen: NDArray[np.bool_], places: Array) -> tuple[Array, Array]:
    """Step of direction at every place, rad, and how much better it explains what is around; NaN too near to an end or to what is hidden.

    Of several lengths of step the one that fits best.
    """
    reach = round(WINDOW_MM / GRID_MM) + 1
    index = np.rint((places - grid[0]) / GRID_MM).astype(int)[:, None] + np.arange(-reach, reach + 1)
    within = (index >= 0) & (index < len(grid))
    index = np.clip(index, 0, len(grid) - 1)
    t = grid[index] - places[:, None]
    told = (places - grid[0] >= LEAST_SIDE_MM) & (grid[-1] - places >= LEAST_SIDE_MM)
    told &= (seen[index] | ~within | (np.abs(t) >= LEAST_SIDE_MM)).all(axis=1)
    use = within & seen[index] & (np.abs(t) < WINDOW_MM)
    y = np.where(use, heading[index], 0.0)
    gentle = np.stack([np.ones_like(t), np.minimum(t, 0.0), np.maximum(t, 0.0)], axis=2) * use[:, :, None]
    _, without = _fitted(gentle, y)
    step, least = np.zeros(len(places)), without
    for length in STEP_U_MM:
        solution, miss = _fitted(np.concatenate([gentle, (ndtr(t / length) * use)[:, :, None]], axis=2), y)
        step, least = np.where(miss < least, solution[:, 3], step), np.minimum(miss, least)
    return np.where(told, step, np.nan), np.where(told, without - least, 0.0)


def _fitted(design: Array, heading: Array) -> tuple[Array, Array]:
    """Least squares of every place with a prior on the two curvatures; and what is left, the prior's share included."""
    prior = np.zeros(design.shape[2])
    prior[1:3] = (HEADING_U_RAD / CURVATURE_PER_MM) ** 2 * ALIKE_POINTS
    turned = design.transpose(0, 2, 1)
    solution = np.linalg.solve(turned @ design + np.diag(prior + 1e-12), turned @ heading[:, :, None])
    left = heading - (design @ solution)[:, :, 0]
    return solution[:, :, 0], (left**2).sum(axis=1) + solution[:, :, 0] ** 2 @ prior
