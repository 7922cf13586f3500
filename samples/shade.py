"""What a surface point shows: metal mirrors room, camera and sheet; plastic scatters the light that reaches it."""

import math
from dataclasses import dataclass, replace

import numpy as np

from samples.arrays import Floats
from samples.instrument import Finish
from samples.light import Blocker, Light, Rgb, Sky, map_directions, sky_of
from samples.lit_sheet import Irradiance, ShadowStrip
from samples.paper import SheetTexture

FARTHEST_MM = 80.0
SPREAD = 0.7
"""Radius of the sampled disc of facet slopes, in units of the roughness alpha."""


def lobe_blur_deg(alpha: float) -> float:
    """Blur of the sky that stands for the part of a rough mirror's lobe that is not sampled: mirrored rays turn by
    twice the facet's slope, whose rms per direction is about 0.7 alpha for the core of a GGX lobe.
    """
    return math.degrees(2.0 * alpha * math.sqrt(0.7**2 - SPREAD**2 / 4.0))


@dataclass(frozen=True)
class Surroundings:
    """Everything a mirror on the sheet can see. `sharp` sky for glints, `soft` for plastic."""

    light: Light
    sharp: Sky
    soft: Sky
    blocker: Blocker | None
    texture: SheetTexture
    irradiance: Irradiance
    shadows: tuple[ShadowStrip, ...]
    harmonics: Floats

    def for_metal(self, finish: Finish) -> "Surroundings":
        """The same with the sky, and the camera's outline, as blurred as this metal's lobe makes them."""
        blur = lobe_blur_deg(finish.alpha)
        blocker = self.blocker
        if blocker is not None:
            soft = max(blocker.softness_mm, 1.5 * blocker.height_mm * math.tan(math.radians(blur)))
            blocker = replace(blocker, softness_mm=soft)
        return replace(self, sharp=sky_of(self.light, blur), blocker=blocker)

    def sheet_radiance(self, x_mm: Floats, y_mm: Floats) -> Floats:
        """Radiance (N x 3) of the sheet at real points, with every shadow on it."""
        light = self.irradiance.at(x_mm, y_mm)
        for strip in self.shadows:
            light = light * strip.at(x_mm, y_mm)
        return np.asarray(self.texture.look(x_mm, y_mm) * light / np.pi)

    def seen(self, start: Floats, direction: Floats, soft: bool = False) -> Floats:
        """Radiance (N x 3) that arrives at `start` from `direction` (N x 3, unit)."""
        out = (self.soft if soft else self.sharp).look(direction)
        if self.blocker is not None:
            hidden = self.blocker.cover(start, direction)[:, None]
            out = out * (1 - hidden) + hidden * np.array(self.blocker.rgb, np.float32)
        down = np.flatnonzero(direction[:, 2] < 0)
        if down.size:
            reach = np.maximum(start[down, 2], 0.0) / np.maximum(-direction[down, 2], 1e-4)
            reach = np.minimum(reach, FARTHEST_MM)
            hit = start[down, :2] + reach[:, None] * direction[down, :2]
            out[down] = self.sheet_radiance(hit[:, 0], hit[:, 1])
        return np.asarray(out)


def surroundings(
    light: Light,
    blocker: Blocker | None,
    texture: SheetTexture,
    irradiance: Irradiance,
    shadows: tuple[ShadowStrip, ...],
    at_mm: Floats,
) -> Surroundings:
    """Prepare the tables that shading looks up; plastic is lit as at the point `at_mm` (3,)."""
    below = irradiance.table.reshape(-1, 3).mean(0) / np.pi * np.array(texture.paper.white) * 0.75
    return Surroundings(
        light,
        sky_of(light, 1.5),
        sky_of(light, 7.0),
        blocker,
        texture,
        irradiance,
        shadows,
        _harmonics(light, blocker, at_mm, below),
    )


def metal(
    finish: Finish,
    point: Floats,
    normal: Floats,
    view: Floats,
    along: Floats,
    axial_mm: Floats,
    around: Surroundings,
    rng: np.random.Generator,
) -> Floats:
    """Radiance (N x 3) of rough metal: one sampled facet per ray, a blurred sky, Schlick's Fresnel.

    `point`, `normal`, `view` (from the camera) N x 3 in sheet coordinates; `along` the axis; `axial_mm` the position on
    it (for grinding marks). Masking between facets is left out, so a white room makes a white metal exactly.
    """
    facet = _facets(finish, normal, along, axial_mm, rng)
    cosine = -np.sum(view * facet, axis=1, keepdims=True)
    facet = np.where(cosine > 0.02, facet, normal)
    cosine = np.clip(-np.sum(view * facet, axis=1, keepdims=True), 0.0, 1.0)
    mirrored = view + 2.0 * cosine * facet
    into = np.sum(mirrored * normal, axis=1, keepdims=True)
    mirrored = np.where(into < 0, mirrored - 2.0 * into * normal, mirrored)
    f0 = np.array(finish.f0, np.float32)
    fresnel = f0 + (1.0 - f0) * (1.0 - cosine) ** 5
    return np.asarray(fresnel * around.seen(point, mirrored.astype(np.float32)))


def _facets(finish: Finish, normal: Floats, along: Floats, axial_mm: Floats, rng: np.random.Generator) -> Floats:
    """Normals spread evenly over a small disc about `normal`, tilted by grinding marks along the axis.

    The disc is a part of the lobe; the sky is blurred for the rest (`lobe_blur_deg`), which keeps the picture free of
    the grain that sampling the whole lobe would leave.
    """
    count = len(normal)
    slope = SPREAD * finish.alpha * np.sqrt(rng.random(count, np.float32))
    turn = (2.0 * math.pi) * rng.random(count, np.float32)
    marks = np.random.default_rng(7).standard_normal(4096).astype(np.float32)
    cell = axial_mm / finish.grind_period_mm
    low = np.floor(cell)
    share = (cell - low).astype(np.float32)
    k = low.astype(np.int64)
    ripple = finish.grind * (marks[k % 4096] * (1 - share) + marks[(k + 1) % 4096] * share)
    first = along.astype(np.float32) - np.sum(normal * along, axis=1, keepdims=True) * normal
    first /= np.linalg.norm(first, axis=1, keepdims=True) + 1e-6
    second = np.cross(normal, first)
    out = normal + (slope * np.cos(turn) + ripple)[:, None] * first + (slope * np.sin(turn))[:, None] * second
    return np.asarray(out / np.linalg.norm(out, axis=1, keepdims=True))


def plastic(rgb: Rgb, gloss: float, point: Floats, normal: Floats, view: Floats, around: Surroundings) -> Floats:
    """Radiance (N x 3) of plastic: diffuse colour under the room's irradiance plus a dielectric mirror (n = 1.5)."""
    irradiance = irradiance_at(around.harmonics, normal)
    diffuse = np.array(rgb, np.float32) * irradiance / np.pi
    cosine = np.clip(-np.sum(view * normal, axis=1, keepdims=True), 0.0, 1.0)
    mirrored = view + 2.0 * cosine * normal
    fresnel = 0.04 + 0.96 * (1.0 - cosine) ** 5
    return np.asarray(diffuse + gloss * fresnel * around.seen(point, mirrored.astype(np.float32), soft=True))


def _harmonics(light: Light, blocker: Blocker | None, at_mm: Floats, below: Floats) -> Floats:
    """Nine spherical-harmonic coefficients (9 x 3) of the light above and the bright sheet below."""
    direction, solid = map_directions(65)
    keep = solid > 0
    up, weight = direction[keep], solid[keep]
    down = up * np.array([1.0, 1.0, -1.0])
    radiance = light.radiance(up)
    if blocker is not None:
        hidden = blocker.cover(at_mm, up)[:, None]
        radiance = radiance * (1 - hidden) + hidden * np.array(blocker.rgb)
    above = _basis(up).T @ (radiance * weight[:, None])
    return np.asarray(above + _basis(down).T @ (np.broadcast_to(below, up.shape) * weight[:, None]))


def irradiance_at(harmonics: Floats, normal: Floats) -> Floats:
    """Irradiance (N x 3) on surfaces facing `normal`: cosine lobe of degree 2 (Ramamoorthi and Hanrahan 2001)."""
    lobe = np.array([np.pi] + [2 * np.pi / 3] * 3 + [np.pi / 4] * 5)
    return np.asarray(np.maximum(_basis(normal) @ (harmonics * lobe[:, None]), 0.0), np.float32)


def _basis(d: Floats) -> Floats:
    x, y, z = d[:, 0], d[:, 1], d[:, 2]
    one = np.full_like(x, 0.282095)
    return np.stack(
        [one, 0.488603 * y, 0.488603 * z, 0.488603 * x]
        + [1.092548 * x * y, 1.092548 * y * z, 0.315392 * (3 * z * z - 1), 1.092548 * x * z]
        + [0.546274 * (x * x - y * y)],
        axis=1,
    )
