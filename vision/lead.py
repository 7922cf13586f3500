"""Stage 6h: twist -> its smooth trend (linear plus one curvature term), and from it pitch, flutes per mm and helix angle.

A new instrument's twist wanders a little about its trend; pitch means the trend's, so that two photos of one instrument agree.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.crests import Crests, numbered
from vision.twist import TwistFit, crest_angles
from vision.twist_path import TwistPath

Array = NDArray[np.floating[Any]]
STEP_MM = 0.1
LOOSE_MM = 0.4  # at either end of the fit the spline hangs free; at the tip the cone bends it too
WANDER_MM = 2.0  # length over which the wander of a healthy twist is correlated: assumed 1 to 4 mm, no source
LEAST_SCATTER_RAD = 0.05
PATH_WITHIN = 4.0  # scatters: a twist that was followed as a whole has no stray crests
RATE_OVER_MM, MOST_CARRIED_MM = 1.0, 3.0
LEAST_CRESTS = 8.0  # on an edge: below, cells of a path are coarse
ALIKE_RAD, SLIPS_FROM = np.radians(25.0), 0.7


@dataclass(frozen=True)
class Trend:
    """theta(x) = polynomial in x (rad, highest power first), covariance of its coefficients, scatter about it in rad."""

    coefficients: Array
    covariance: Array
    scatter_rad: float
    crests_a_turn: int

    def theta(self, x_mm: Array) -> Array:
        """Trend of the twist, rad."""
        return np.asarray(np.polyval(self.coefficients, x_mm))

    def u_theta(self, x_mm: Array) -> Array:
        """Standard uncertainty of the trend at x, rad (scatter about it not included)."""
        powers = np.vander(np.atleast_1d(np.asarray(x_mm, dtype=float)), len(self.coefficients))
        return np.asarray(np.sqrt(np.maximum(np.einsum("ij,jk,ik->i", powers, self.covariance, powers), 0.0)))

    def pitch_mm(self, x_mm: float) -> tuple[float, float] | None:
        """Distance of successive crests on one edge at x, with its u; None when the trend does not turn there."""
        degree = len(self.coefficients) - 1
        slopes = np.array([k * x_mm ** (k - 1) if k else 0.0 for k in range(degree, -1, -1)])
        rate, u = float(slopes @ self.coefficients), float(np.sqrt(max(slopes @ self.covariance @ slopes, 0.0)))
        if rate <= 3.0 * u:
            return None
        pitch = 2.0 * np.pi / self.crests_a_turn / rate
        return pitch, pitch * u / rate


def fit_trend(
    x_mm: Array, theta_rad: Array, crests_a_turn: int, *, least_scatter: float = LEAST_SCATTER_RAD, within: float = 1.5
) -> Trend | None:
    """Robust quadratic (a line for a stretch under 5 mm); None when there are fewer than four points.

    Points farther off than ``within`` scatters weigh less.

    The covariance counts one independent look per ``WANDER_MM`` of length, since the wander is smooth.
    """
    if len(x_mm) < 4 or np.ptp(x_mm) < 1.5:
        return None
    degree = 2 if np.ptp(x_mm) >= 5.0 else 1
    design = np.vander(x_mm, degree + 1)
    weight = np.ones(len(x_mm))
    solution: Array = np.zeros(degree + 1)
    scatter = least_scatter
    for _ in range(10):
        root = np.sqrt(weight)[:, None]
        solution = np.linalg.lstsq(design * root, theta_rad * root[:, 0], rcond=None)[0]
        miss = theta_rad - design @ solution
        scatter = max(1.4826 * float(np.median(np.abs(miss))), least_scatter)
        weight = 1.0 / np.maximum(1.0, np.abs(miss) / (within * scatter))
    looks = max(float(np.ptp(x_mm)) / WANDER_MM, degree + 1.5)
    normal = design.T @ (design * weight[:, None])
    covariance = np.linalg.pinv(normal, hermitian=True, rcond=1e-14) * scatter**2 * max(len(x_mm) / looks, 1.0)
    return Trend(solution, covariance, scatter, crests_a_turn)


def sampled(fit: TwistFit) -> tuple[Array, Array]:
    """Stations and twist of a fitted blank, every 0.1 mm, clear of the spline's loose ends."""
    low, high = fit.span_mm
    x = np.arange(low + LOOSE_MM, high - LOOSE_MM, STEP_MM)
    return x, fit.theta_rad(x)


def whole_part(path: TwistPath, fit: TwistFit, end_mm: float | None) -> tuple[Array, Array]:
    """The twist as followed, every 0.1 mm, of a blank of many crests; the spline's through numbered crests of one of few.

    Near the handle, where flutes run out, a path may slip: there only what both say counts. It is carried on at its own rate
    to the tip and to where the working part ends (``end_mm``): a quadratic depends on how far it is fitted.
    """
    if np.ptp(path.theta_rad) * path.corners / (2.0 * np.pi) < LEAST_CRESTS:
        return sampled(fit)
    at = np.arange(path.x_mm[0], path.x_mm[-1], STEP_MM)
    theta = np.interp(at, path.x_mm, path.theta_rad)
    apart = theta - fit.theta_rad(at)
    alike = (np.abs(apart - np.median(apart)) < ALIKE_RAD) | (at < at[0] + SLIPS_FROM * np.ptp(at))
    at, theta = at[alike], theta[alike]
    near = round(RATE_OVER_MM / STEP_MM)
    if 0.0 < at[0] < MOST_CARRIED_MM:
        more = np.arange(0.0, at[0] - STEP_MM / 2.0, STEP_MM)
        theta, at = np.concatenate([np.polyval(np.polyfit(at[:near], theta[:near], 1), more), theta]), np.concatenate([more, at])
    if end_mm is not None and 0.0 < end_mm - at[-1] < MOST_CARRIED_MM:
        more = np.arange(at[-1] + STEP_MM, end_mm, STEP_MM)
        theta, at = np.concatenate([theta, np.polyval(np.polyfit(at[-near:], theta[-near:], 1), more)]), np.concatenate([at, more])
    return at, theta


def groove_angles(upper: Crests, lower: Crests) -> tuple[Array, Array]:
    """Number the crests of a one-groove helix: a full turn apart on each edge, the lower ones half a turn after the upper."""
    x_up, turn_up = upper.x_mm, numbered(upper.x_mm)
    if len(x_up) < 3:
        return x_up, 2.0 * np.pi * turn_up
    guess = np.interp(lower.x_mm, x_up, turn_up, left=np.nan, right=np.nan)
    kept = np.isfinite(guess)
    turns = np.concatenate([turn_up, np.floor(guess[kept]) + 0.5])
    x = np.concatenate([x_up, lower.x_mm[kept]])
    order = np.argsort(x)
    return x[order], 2.0 * np.pi * turns[order]


__all__ = ["Trend", "crest_angles", "fit_trend", "groove_angles", "sampled", "whole_part"]
