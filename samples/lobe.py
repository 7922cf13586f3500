"""The lobe of rough metal in closed form: facets whose slopes follow the GGX law (Walter and others 2007).

A slope m (tangent of the angle between facet and surface) has the density 1 / (pi alpha^2 (1 + m^2 / alpha^2)^2), whose
tails are long: one slope in 26 is beyond 5 alpha. A mirrored ray turns by about twice the slope.
"""

import math
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import Any

import numpy as np

from samples.arrays import Array, Floats

SPREAD = 0.7
"""Radius of the disc of facet slopes that rays sample one by one, in units of alpha."""

KEPT = 0.9
"""What is left of a lobe's scale once the sampled disc is taken out of it (least squares over a straight edge)."""

_ENDS = (0.0, 0.04, 0.12, 0.35, 0.8, 1.6, math.inf)


def blurs(alpha: float) -> tuple[tuple[float, float], ...]:
    """Weights and Gaussian blurs (standard deviation, degrees) of the sky whose sum is the lobe without its sampled disc.

    The GGX law is a mixture of Gaussian slopes of variance alpha^2 / (2 s) per axis, s from 0 to infinity with the
    weight exp(-s); s is cut into a few ranges.
    """
    out = []
    for low, high in pairwise(_ENDS):
        weight = math.exp(-low) - math.exp(-high)
        last = 0.0 if math.isinf(high) else (high + 1.0) * math.exp(-high)
        middle = ((low + 1.0) * math.exp(-low) - last) / weight
        variance = max(0.5 / middle - SPREAD**2 / 4.0, 0.02)
        out.append((weight, math.degrees(2.0 * alpha * math.sqrt(variance))))
    return tuple(out)


def beyond(xp: Any, x: Array) -> Array:
    """Share of a lobe of scale 1 on the far side of a straight edge that lies `x` behind its middle."""
    return 0.5 + 0.5 * x / xp.sqrt(1.0 + x * x)


def in_rectangle(xp: Any, u: Array, v: Array, half_u: Array, half_v: Array) -> Array:
    """Share of a lobe of scale 1 that falls into a rectangle of half sizes `half_u`, `half_v` centred at (u, v).

    The GGX density is the kernel of the view factor between a small plate and a parallel one, whose integral over a
    rectangle is a handbook form.
    """
    u0, u1, v0, v1 = u - half_u, u + half_u, v - half_v, v + half_v
    return _corner(xp, u1, v1) - _corner(xp, u0, v1) - _corner(xp, u1, v0) + _corner(xp, u0, v0)


def _corner(xp: Any, x: Array, y: Array) -> Array:
    a, b = xp.sqrt(1.0 + x * x), xp.sqrt(1.0 + y * y)
    return (x / a * xp.arctan(y / a) + y / b * xp.arctan(x / b)) / (2.0 * np.pi)


COSINES = 64
CORE = 3.0
"""Slopes beyond this many alpha count as tail."""


@dataclass(frozen=True)
class Facets:
    """What a view at each of COSINES + 1 even steps of its cosine meets on rough metal.

    `once`: share of light that facets of a perfect mirror send on at the first bounce, the rest meeting further facets;
    `mean`: the same over a cosine-weighted sky. `lean`: mean slope, toward the viewer, of the facets in view.
    """

    once: Floats
    mean: float
    lean: Floats


@lru_cache(maxsize=64)
def facets(alpha: float) -> Facets:
    """Sums over all facets, with Smith's masking for the GGX law, view and light each on its own (Walter and others 2007)."""
    steps = np.linspace(0.0, 1.0, COSINES + 1)
    cosine = np.maximum(steps, 0.01)[:, None, None]
    part = np.sqrt((np.arange(48) + 0.5) / 48)
    slope = alpha * part / np.sqrt(1.0 - part * part)
    turn = (np.arange(32) + 0.5) / 32 * np.pi
    x, y = slope[:, None] * np.cos(turn), slope[:, None] * np.sin(turn)
    long = np.sqrt(1.0 + x * x + y * y)
    toward = np.maximum(cosine + x * np.sqrt(1.0 - cosine * cosine), 0.0) / long
    leaves = 2.0 * toward / long - cosine
    seen = toward * long
    kept = np.where(leaves > 0, _unmasked(np.maximum(leaves, 1e-3), alpha), 0.0)
    once = (seen * kept).sum((1, 2)) / seen.sum((1, 2))
    core = seen * (slope < CORE * alpha)[:, None]
    lean = (core * x).sum((1, 2)) / core.sum((1, 2))
    return Facets(once, float(np.sum(once * steps) / np.sum(steps)), lean)


def all_bounces(once: Array, share: Array, mean: float) -> Array:
    """Reflectance with all bounces between facets, from that of one facet, `once`; `share` and `mean` as in `Facets`.

    Each further bounce pays the reflectance again (the series of Kulla and Conty 2017), so a perfect mirror loses nothing.
    """
    return once * (share + (1.0 - share) * once * mean / (1.0 - once * (1.0 - mean)))


def _unmasked(cosine: Floats, alpha: float) -> Floats:
    return np.asarray(2.0 / (1.0 + np.sqrt(1.0 + alpha * alpha * (1.0 / (cosine * cosine) - 1.0))))
