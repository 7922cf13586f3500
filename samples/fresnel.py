"""Fresnel's formulas: how much a metal mirrors, and how much a clear coat lets through."""

from functools import lru_cache

import numpy as np

from samples.arrays import Floats

METAL_INDEX = 2.75
"""Refractive index of the metal; its absorption follows from the reflectance. Iron and steel have 2.5 to 2.9 in visible
light (from memory of Johnson and Christy's tables, Phys. Rev. B 9, 5056, 1974)."""

COAT_INDEX = 1.5
STEPS = 512


def conductor(f0: Floats, cosine: Floats) -> Floats:
    """Reflectance (N x C) of metal at N cosines of incidence, unpolarised, for C reflectances `f0` at normal incidence.

    The exact formulas of a conductor in air (Born and Wolf, Principles of Optics, 14.2), with
    k^2 = (f0 (n + 1)^2 - (n - 1)^2) / (1 - f0); where that is negative, k = 0 and a smaller n.
    """
    n, k2 = _constants(np.asarray(f0, np.float64))
    c2 = np.square(np.clip(np.asarray(cosine, np.float64), 0.0, 1.0))[:, None]
    c, s2 = np.sqrt(c2), 1.0 - c2
    first = n * n - k2 - s2
    both = np.sqrt(first * first + 4 * n * n * k2)
    twice = 2.0 * c * np.sqrt(np.maximum(0.5 * (both + first), 0.0))
    upright = (both + c2 - twice) / (both + c2 + twice)
    level = (both * c2 + s2 * s2 - twice * s2) / (both * c2 + s2 * s2 + twice * s2)
    return np.asarray(0.5 * upright * (1.0 + level))


def _constants(f0: Floats) -> tuple[Floats, Floats]:
    """n and k^2 of each reflectance; a perfect mirror gets a k beyond all metals'."""
    root = np.sqrt(np.clip(f0, 1e-6, 1.0 - 1e-6))
    n = np.minimum(METAL_INDEX, (1.0 + root) / (1.0 - root))
    k2 = (f0 * (n + 1.0) ** 2 - (n - 1.0) ** 2) / np.maximum(1.0 - f0, 1e-9)
    return n, np.maximum(k2, 0.0)


@lru_cache(maxsize=64)
def conductor_table(f0: tuple[float, float, float]) -> Floats:
    """`conductor` at STEPS + 1 even steps of the cosine, 0 to 1."""
    return conductor(np.array(f0), np.linspace(0.0, 1.0, STEPS + 1))


def coat_passes(cosine: Floats) -> Floats:
    """Share of light that a smooth coat of n = 1.5 lets in at each cosine, against normal incidence (1)."""
    c = np.clip(np.asarray(cosine, np.float64), 0.0, 1.0)
    inside = np.sqrt(1.0 - (1.0 - c * c) / COAT_INDEX**2)
    upright = (c - COAT_INDEX * inside) / (c + COAT_INDEX * inside)
    level = (COAT_INDEX * c - inside) / (COAT_INDEX * c + inside)
    return np.asarray((1.0 - 0.5 * (upright**2 + level**2)) / 0.96)
