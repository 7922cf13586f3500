"""Stains, corrosion, scratches and stuck debris on the metal: what they change in its colour."""

import math

import numpy as np

from samples.arrays import Floats
from samples.instrument import Damage, Instrument
from samples.light import Rgb

RUST: Rgb = (0.16, 0.07, 0.03)
"""Diffuse reflectance of corroded steel; invented."""

STRENGTH = {"stained": 0.55, "corroded": 0.95}
"""How much of the mirror a spot takes away in its middle."""


def tarnish(instrument: Instrument, local: Floats, mirror: Floats, scattered: Floats) -> Floats:
    """Mix the metal's mirrored radiance (N x 3) with that of a scattering brown film (N x 3) inside spots.

    `local`: N x 3 points in the instrument's frame.
    """
    for damage in instrument.damage:
        if damage.kind in STRENGTH:
            share = (STRENGTH[damage.kind] * spot(damage, local))[:, None]
            mirror = mirror * (1.0 - share) + scattered * share
    return mirror


def spot(damage: Damage, local: Floats) -> Floats:
    """Cover (N, 0 to 1) of an irregular spot of area `strength` mm2 about (middle of its span, angle_deg)."""
    across = np.hypot(local[:, 1], local[:, 2])
    turn = np.arctan2(local[:, 2], local[:, 1]) - math.radians(damage.angle_deg)
    turn -= 2 * math.pi * np.round(turn / (2 * math.pi))
    u = local[:, 0] - 0.5 * (damage.from_mm + damage.to_mm)
    v = turn * across
    rng = np.random.default_rng(damage.seed)
    bearing = np.arctan2(v, u)
    ripple = sum(
        float(rng.normal(0, 0.25 / k)) * np.cos(k * bearing + float(rng.uniform(0, 6.28))) for k in range(1, 6)
    )
    edge = math.sqrt(damage.strength / math.pi) * (1.0 + ripple)
    return np.asarray(np.clip((edge - np.hypot(u, v)) / (0.15 * math.sqrt(damage.strength)) + 0.5, 0.0, 1.0))
