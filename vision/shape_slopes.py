"""Stage 6b: twist -> the closed form S of ``vision.shapes`` with its slopes, for fits that would else difference it numerically."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from vision.shapes import Blank

Array = NDArray[np.floating[Any]]


class Sloped(NamedTuple):
    """S (N,) and its slopes by twist (a rad), by rounding and by the low corner."""

    value: Array
    by_theta: Array
    by_rounding: Array
    by_low_corner: Array


class Turned(NamedTuple):
    """A twist (N,), rad, with its cosine and sine, which are worked out once for S and for its slopes."""

    theta_rad: Array
    cosine: Array
    sine: Array


def turned(theta_rad: Array) -> Turned:
    """Return the twist with its cosine and sine."""
    return Turned(theta_rad, np.cos(theta_rad), np.sin(theta_rad))


def sloped_support(blank: Blank, at: Turned, rounding: float, low_corner: float) -> Sloped:
    """Return S(theta) as ``shapes.support`` does, with its slopes; at a corner those of the side that stands higher."""
    polygon, by_theta, lower = _triangle(at.theta_rad) if blank.corners == 3 else _four(at.cosine, at.sine, low_corner)
    straight = 1.0 - rounding
    return Sloped(straight * polygon + rounding, straight * by_theta, 1.0 - polygon, straight * lower)


def _triangle(theta: Array) -> tuple[Array, Array, Array]:
    """Highest of three cosines a third of a turn apart: the one whose angle lies within a sixth of a turn of 0."""
    third = 2.0 * np.pi / 3.0
    near = theta - third * np.rint(theta / third)
    return np.cos(near), -np.sin(near), np.zeros_like(theta)


def _four(cosine: Array, sine: Array, low_corner: float) -> tuple[Array, Array, Array]:
    high, low = np.abs(cosine), np.abs(sine)
    first = high >= low_corner * low
    by_theta = np.where(first, -np.sign(cosine) * sine, low_corner * np.sign(sine) * cosine)
    return np.where(first, high, low_corner * low), by_theta, np.where(first, 0.0, low)
