"""Stains, corrosion, scratches and stuck debris on the metal: what they change in its colour."""

import math

import numpy as np

from samples.arrays import Array, Backend
from samples.instrument import Damage, Instrument
from samples.light import Rgb
from samples.shade import plastic
from samples.surroundings import Surroundings

FILMS: dict[str, tuple[float, Rgb]] = {
    "stained": (0.55, (0.16, 0.10, 0.05)),
    "corroded": (0.95, (0.16, 0.07, 0.03)),
    "debris": (1.0, (0.45, 0.36, 0.24)),
}
"""Share of the mirror that the middle of a spot hides, and its diffuse reflectance; invented values."""

SCRATCH_WIDTH_MM = 0.012


def tarnish(
    instrument: Instrument, point: Array, normal: Array, view: Array, local: Array, mirror: Array, around: Surroundings
) -> Array:
    """Put films and scratches over the metal's mirrored radiance (N x 3). `local`: points in the instrument's frame."""
    for mark in instrument.damage + instrument.marks:
        if mark.kind in FILMS:
            hides, rgb = FILMS[mark.kind]
            share = (hides * spot(around.backend, mark, local))[:, None]
            mirror = mirror * (1.0 - share) + plastic(rgb, 0.2, point, normal, view, around) * share
        elif mark.kind == "scratch":
            share = 0.8 * _scratch(around.backend, mark, local)[:, None]
            mirror = mirror * (1.0 - share) + plastic((0.5, 0.5, 0.5), 0.0, point, normal, view, around) * share
    return mirror


def _unrolled(backend: Backend, mark: Damage, local: Array) -> tuple[Array, Array]:
    """Distances from the mark's middle along the axis and round it, mm."""
    xp = backend.xp
    across = xp.sqrt(local[:, 1] ** 2 + local[:, 2] ** 2)
    turn = xp.arctan2(local[:, 2], local[:, 1]) - math.radians(mark.angle_deg)
    turn = turn - 2 * math.pi * xp.round(turn / (2 * math.pi))
    return local[:, 0] - 0.5 * (mark.from_mm + mark.to_mm), turn * across


def spot(backend: Backend, mark: Damage, local: Array) -> Array:
    """Cover (N, 0 to 1) of an irregular spot of area `strength` mm2."""
    xp = backend.xp
    u, v = _unrolled(backend, mark, local)
    rng = np.random.default_rng(mark.seed)
    bearing = xp.arctan2(v, u)
    edge = 1.0 + 0.0 * u
    for k in range(1, 6):
        edge = edge + float(rng.normal(0, 0.25 / k)) * xp.cos(k * bearing + float(rng.uniform(0, 6.28)))
    radius = math.sqrt(mark.strength / math.pi)
    return xp.clip((edge * radius - xp.sqrt(u * u + v * v)) / (0.15 * math.sqrt(mark.strength)) + 0.5, 0.0, 1.0)


def _scratch(backend: Backend, mark: Damage, local: Array) -> Array:
    """Cover of a thin line from one end of the mark to the other, slanting by `strength` degrees."""
    xp = backend.xp
    u, v = _unrolled(backend, mark, local)
    off = xp.abs(v - u * math.tan(math.radians(mark.strength))) / SCRATCH_WIDTH_MM
    ends = (0.5 * (mark.to_mm - mark.from_mm) - xp.abs(u)) / 0.05
    return xp.clip(1.5 - off, 0.0, 1.0) * xp.clip(ends, 0.0, 1.0)
