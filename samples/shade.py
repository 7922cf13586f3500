"""How a surface point answers the light: metal mirrors, plastic and rust scatter. Directions in sheet coordinates."""

import math
from functools import lru_cache

import numpy as np

from samples.arrays import Array, Backend, Floats, dot
from samples.fresnel import STEPS, conductor_table
from samples.instrument import Finish
from samples.light import Rgb
from samples.lobe import COSINES, SPREAD, all_bounces, facets
from samples.surroundings import Surroundings, irradiance_at

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
    What facets hide from one another comes out after further bounces, each of them paid for; so a perfect mirror in a
    white room is white.
    """
    xp = backend.xp
    upright = xp.clip(-dot(view, normal), 0.0, 1.0)
    seen = facets(finish.alpha)
    lean = backend.sample(backend.put(seen.lean), upright[:, 0] * COSINES)[:, None]
    # Facets that face the viewer show more of themselves.
    facet = normal - lean / xp.sqrt(xp.clip(1.0 - upright * upright, 1e-6, None)) * (view + upright * normal)
    facet = _facets(backend, finish, facet, along, axial_mm, chance)
    facet = xp.where(-dot(view, facet) > 0.02, facet, normal)
    cosine = xp.clip(-dot(view, facet), 0.0, 1.0)
    direction = view + 2.0 * cosine * facet
    into = dot(direction, normal)
    direction = xp.where(into < 0, direction - 2.0 * into * normal, direction)
    share = backend.sample(backend.put(seen.once), upright[:, 0] * COSINES)[:, None]
    return direction, all_bounces(_fresnel(backend, finish, cosine), share, seen.mean)


def mirrored_again(backend: Backend, finish: Finish, normal: Array, view: Array) -> tuple[Array, Array]:
    """The same for a second bounce, without roughness of its own."""
    cosine = backend.xp.clip(-dot(view, normal), 0.0, 1.0)
    return view + 2.0 * cosine * normal, _fresnel(backend, finish, cosine)


def _fresnel(backend: Backend, finish: Finish, cosine: Array) -> Array:
    return backend.sample(backend.put(conductor_table(finish.f0)), cosine[:, 0] * STEPS)


@lru_cache(maxsize=1)
def _marks() -> Floats:
    return np.random.default_rng(7).standard_normal(MARKS + 1).astype(np.float32)


def _facets(
    backend: Backend, finish: Finish, normal: Array, along: Array, axial_mm: Array, chance: tuple[Array, Array]
) -> Array:
    """Normals spread evenly over a small disc about `normal`, tilted by grinding marks along the axis.

    The disc is a part of the lobe; sky, camera and horizon are blurred for the rest (`samples.lobe`), which keeps the
    picture free of the grain that sampling the whole lobe would leave.
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
