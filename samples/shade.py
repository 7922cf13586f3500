"""How a surface point answers the light: metal mirrors, plastic and rust scatter. Directions in sheet coordinates."""

import math
from functools import lru_cache

import numpy as np

from samples.arrays import Array, Backend, Floats, dot
from samples.instrument import Finish
from samples.light import Rgb
from samples.surroundings import SPREAD, Surroundings, irradiance_at

MARKS = 4096


def mirrored(
    backend: Backend,
    finish: Finish,
    normal: Array,
    view: Array,
    along: Array,
    axial_mm: Array,
    chance: tuple[Array, Array],
) -> tuple[Array, Array]:
    """Direction (N x 3) that rough metal mirrors toward the camera, one sampled facet a ray, and its reflectance (N x 3).

    `normal`, `view` (from the camera) N x 3; `along` (3) the axis; `axial_mm` the position on it (for grinding marks);
    `chance` two even random numbers from 0 to 1 a ray, which choose the facet.
    Schlick's Fresnel. Masking between facets is left out, so a white room makes a white metal exactly; the price is
    that a metal of high roughness is up to a tenth too bright at grazing angles.
    """
    xp = backend.xp
    facet = _facets(backend, finish, normal, along, axial_mm, chance)
    facet = xp.where(-dot(view, facet) > 0.02, facet, normal)
    cosine = xp.clip(-dot(view, facet), 0.0, 1.0)
    direction = view + 2.0 * cosine * facet
    into = dot(direction, normal)
    direction = xp.where(into < 0, direction - 2.0 * into * normal, direction)
    return direction, _fresnel(backend, finish, cosine)


def mirrored_again(backend: Backend, finish: Finish, normal: Array, view: Array) -> tuple[Array, Array]:
    """The same for a second bounce, without roughness of its own."""
    cosine = backend.xp.clip(-dot(view, normal), 0.0, 1.0)
    return view + 2.0 * cosine * normal, _fresnel(backend, finish, cosine)


def _fresnel(backend: Backend, finish: Finish, cosine: Array) -> Array:
    f0 = backend.constant(finish.f0)
    return f0 + (1.0 - f0) * (1.0 - cosine) ** 5


@lru_cache(maxsize=1)
def _marks() -> Floats:
    return np.random.default_rng(7).standard_normal(MARKS + 1).astype(np.float32)


def _facets(
    backend: Backend, finish: Finish, normal: Array, along: Array, axial_mm: Array, chance: tuple[Array, Array]
) -> Array:
    """Normals spread evenly over a small disc about `normal`, tilted by grinding marks along the axis.

    The disc is a part of the lobe; the sky is blurred for the rest (`lobe_blur_deg`), which keeps the picture free of
    the grain that sampling the whole lobe would leave.
    """
    xp = backend.xp
    slope = SPREAD * finish.alpha * xp.sqrt(chance[0])
    turn = (2.0 * math.pi) * chance[1]
    cell = axial_mm / finish.grind_period_mm
    cell = cell - MARKS * xp.floor(cell / MARKS)
    ripple = finish.grind * backend.sample(backend.put(_marks()), cell)
    first = along - dot(normal, along) * normal
    first = first / (xp.sqrt(dot(first, first)) + 1e-6)
    second = xp.stack(
        [
            normal[:, 1] * first[:, 2] - normal[:, 2] * first[:, 1],
            normal[:, 2] * first[:, 0] - normal[:, 0] * first[:, 2],
            normal[:, 0] * first[:, 1] - normal[:, 1] * first[:, 0],
        ],
        1,
    )
    out = normal + (slope * xp.cos(turn) + ripple)[:, None] * first + (slope * xp.sin(turn))[:, None] * second
    return out / xp.sqrt(dot(out, out))


def plastic(rgb: Rgb, gloss: float, point: Array, normal: Array, view: Array, around: Surroundings) -> Array:
    """Radiance (N x 3) of plastic: diffuse colour under the room's irradiance plus a dielectric mirror (n = 1.5)."""
    backend = around.backend
    falling = irradiance_at(backend, around.harmonics, normal)
    diffuse = backend.constant(rgb) * falling / math.pi
    cosine = backend.xp.clip(-dot(view, normal), 0.0, 1.0)
    fresnel = 0.04 + 0.96 * (1.0 - cosine) ** 5
    return diffuse + gloss * fresnel * around.seen(point, view + 2.0 * cosine * normal, soft=True)
