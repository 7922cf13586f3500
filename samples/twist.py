"""The twist angle of the blank as a function of x, healthy and damaged."""

import math

import numpy as np
from scipy.ndimage import gaussian_filter1d

from samples.arrays import Floats
from samples.instrument import SIDES, Damage, Instrument, Twist

TWIST_DAMAGE = {"unwound": 1.0, "reverse-wound": 1.0, "overwound": -1.0}
"""Sign of the twist lost: unwinding takes turns out, over-winding puts turns in."""


def crests_per_turn(instrument: Instrument) -> int:
    """Crests that pass one edge in a full turn: the corners of a twisted blank, 1 for a single groove."""
    return SIDES.get(instrument.cross_section, 1)


def twist_rad(instrument: Instrument, x_mm: Floats) -> Floats:
    """Twist at each x (ascending, mm), radians, growing toward the handle for either hand. Zero without a twist."""
    if instrument.twist is None:
        return np.zeros_like(x_mm)
    law = instrument.twist
    blank_x = x_mm + instrument.lost_mm
    theta = _law_rad(law, blank_x, crests_per_turn(instrument)) + _scatter_rad(law, blank_x)
    for damage in instrument.damage:
        if damage.kind in TWIST_DAMAGE:
            theta = theta + TWIST_DAMAGE[damage.kind] * _lost_rad(damage, x_mm)
        if damage.kind == "stretched":
            theta = theta / (1.0 + damage.strength / 100.0)
    return theta


def pitch_mm(instrument: Instrument, x_mm: Floats, theta_rad: Floats) -> Floats:
    """Local spacing of crests on one edge, mm, from the twist; infinite where the twist stands still."""
    rate = np.gradient(theta_rad, x_mm)
    with np.errstate(divide="ignore"):
        return 2.0 * math.pi / (crests_per_turn(instrument) * rate)


def _law_rad(law: Twist, blank_x_mm: Floats, crests: int) -> Floats:
    """Twist of the healthy law: pitch(x) = pitch_mm (1 + drift (x - 8)), integrated in closed form."""
    rate = 2.0 * math.pi / (crests * law.pitch_mm)
    start = math.radians(law.start_deg)
    if abs(law.drift_per_mm) < 1e-9:
        return start + rate * blank_x_mm
    drift = law.drift_per_mm
    return start + rate / drift * np.log((1.0 + drift * (blank_x_mm - 8.0)) / (1.0 - 8.0 * drift))


def _scatter_rad(law: Twist, blank_x_mm: Floats) -> Floats:
    """Smooth random deviation: Gaussian noise filtered so that its correlation falls to 1/e at the stated length."""
    if law.scatter_deg == 0.0:
        return np.zeros_like(blank_x_mm)
    step = 0.05
    grid = np.arange(-10.0, 50.0, step)
    noise = np.random.default_rng(law.seed).standard_normal(grid.size)
    smooth = gaussian_filter1d(noise, law.scatter_length_mm / 2.0 / step, mode="wrap")
    smooth *= math.radians(law.scatter_deg) / smooth.std()
    return np.asarray(np.interp(blank_x_mm, grid, smooth))


def _lost_rad(damage: Damage, x_mm: Floats) -> Floats:
    """Twist lost, cumulative from the healthy end: 0 beyond to_mm, all of it below from_mm, a smooth ramp between."""
    u = np.clip((damage.to_mm - x_mm) / (damage.to_mm - damage.from_mm), 0.0, 1.0)
    return np.asarray(math.radians(damage.strength) * u * u * (3.0 - 2.0 * u))
