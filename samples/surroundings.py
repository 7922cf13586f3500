"""What a mirror lying on the sheet sees: the room above, the camera, the sheet, and a backlight through its window."""

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from samples.arrays import Array, Backend, Floats
from samples.instrument import Finish
from samples.light import Blocker, Light, Sky, map_directions, overhead, sky_of, through_lobe
from samples.lit_sheet import Irradiance, ShadowStrip
from samples.lobe import KEPT, beyond
from samples.paper import SheetTexture

FARTHEST_MM = 80.0
NEAR_MM = 12.0


@dataclass(frozen=True)
class SheetView:
    """The sheet as seen in mirrors, its tables on the backend: `share` of white paper at a quarter of the texture's
    resolution, `present` likewise, `light` the irradiance and `left` what each shadow leaves of it.
    """

    backend: Backend
    texture: SheetTexture
    irradiance: Irradiance
    strips: tuple[ShadowStrip, ...]
    light: Light
    share: Array
    present: Array | None
    table: Array
    left: tuple[Array, ...]

    def radiance(self, x_mm: Array, y_mm: Array, direction: Array) -> Array:
        """Radiance (N x 3) of the sheet at real points, seen along `direction` (N x 3, downward), every shadow on it."""
        b = self.backend
        share = b.bilinear(self.share, *self.texture.columns_rows(x_mm, y_mm, 4))[:, None]
        white, ink = b.constant(self.texture.paper.white), b.constant(self.texture.paper.ink)
        falling = b.bilinear(self.table, *self.irradiance.columns_rows(x_mm, y_mm)) / math.pi
        for strip, left in zip(self.strips, self.left, strict=True):
            falling = falling * b.bilinear(left, *strip.columns_rows(b.xp, x_mm, y_mm))
        out = (ink + (white - ink) * share) * falling + b.constant(self.light.glow) * (0.08 + 0.92 * share)
        if self.present is None:
            return out
        here = b.bilinear(self.present, *self.texture.columns_rows(x_mm, y_mm, 4))[:, None]
        below = b.constant(self.texture.paper.table) * 0.4 * falling
        if self.light.backlight is not None:
            below = self.light.backlight.radiance(b, x_mm, y_mm, direction)
        return out * here + below * (1.0 - here)

    def left_beside(self, start: Array, direction: Array) -> Array:
        """What shadows leave of the light (N x 3) where a ray would meet the sheet if it fell at half a right angle."""
        b, xp = self.backend, self.backend.xp
        level = xp.sqrt(direction[:, 0] ** 2 + direction[:, 1] ** 2) + 1e-6
        reach = xp.clip(start[:, 2], 0.0, None) / level
        x, y = (start[:, k] + reach * direction[:, k] for k in (0, 1))
        out = 1.0 + 0.0 * start
        for strip, left in zip(self.strips, self.left, strict=True):
            out = out * b.bilinear(left, *strip.columns_rows(xp, x, y))
        return out


@dataclass(frozen=True)
class Surroundings:
    """Everything a mirror on the sheet can see. `sharp` sky for metal, `soft` for plastic.

    `lobe`: scale of the metal's lobe, radians, 0 for plastic; across the horizon it mixes sky and sheet, the sheet seen
    that way being its mean, `below` (3).
    """

    backend: Backend
    light: Light
    sharp: Sky
    soft: Sky
    blocker: Blocker | None
    sheet: SheetView
    harmonics: Floats
    below: Floats
    lobe: float = 0.0

    def near(self, point: Floats) -> "Surroundings":
        """The same with only the shadows that matter close to a point (3)."""
        keep = [i for i, strip in enumerate(self.sheet.strips) if strip.distance_mm(point) < NEAR_MM]
        strips, left = (tuple(pair[i] for i in keep) for pair in (self.sheet.strips, self.sheet.left))
        return replace(self, sheet=replace(self.sheet, strips=strips, left=left))

    def for_metal(self, finish: Finish, at_mm: Floats) -> "Surroundings":
        """The same with sky, camera's outline and horizon as blurred as the lobe of this metal, at a point (3), makes them."""
        sky, blocker = through_lobe(self.light, self.blocker, finish.alpha, at_mm.tolist(), self.backend)
        return replace(self, sharp=sky, blocker=blocker, lobe=2.0 * KEPT * finish.alpha)

    def seen(self, start: Array, direction: Array, soft: bool = False) -> Array:
        """Radiance (N x 3) that arrives at `start` from `direction` (N x 3, unit)."""
        xp = self.backend.xp
        out = overhead(self.soft if soft else self.sharp, self.blocker, start, direction)
        down = xp.where(direction[:, 2] < 0)[0]
        above = None
        if self.lobe > 0:
            above = beyond(xp, direction[:, 2:] / self.lobe)
            shade = self.sheet.left_beside(start, direction)
            near = self.backend.constant(self.below) * shade
            out = out * above + near * (1.0 - above)
        if down.shape[0]:
            start, direction = start[down], direction[down]
            reach = xp.clip(start[:, 2], 0.0, None) / xp.clip(-direction[:, 2], 1e-4, None)
            reach = xp.clip(reach, None, FARTHEST_MM)
            x, y = start[:, 0] + reach * direction[:, 0], start[:, 1] + reach * direction[:, 1]
            sheet = self.sheet.radiance(x, y, direction)
            if above is not None:
                sheet = out[down] + (sheet - near[down]) * (1.0 - above[down])
            out[down] = sheet
        return out


def surroundings(
    backend: Backend,
    light: Light,
    blocker: Blocker | None,
    texture: SheetTexture,
    irradiance: Irradiance,
    shadows: tuple[ShadowStrip, ...],
    at_mm: Floats,
) -> Surroundings:
    """Prepare the tables that shading looks up; plastic is lit as at the point `at_mm` (3,)."""
    put = backend.put
    sheet = SheetView(
        backend,
        texture,
        irradiance,
        shadows,
        light,
        put(texture.coarse),
        None if texture.coarse_present is None else put(texture.coarse_present),
        put(irradiance.table),
        tuple(put(strip.table) for strip in shadows),
    )
    bare = irradiance.table.reshape(-1, 3).mean(0) / np.pi
    below = bare * np.array(texture.paper.white) * 0.75 + light.glow
    return Surroundings(
        backend,
        light,
        sky_of(light, ((1.0, 1.5),), backend),
        sky_of(light, ((1.0, 7.0),), backend),
        blocker,
        sheet,
        _harmonics(light, blocker, at_mm, below),
        _mean_sheet(texture, bare, light),
    )


def _mean_sheet(texture: SheetTexture, bare: Floats, light: Light) -> Floats:
    """Mean radiance (3) of the sheet's visible part, holes counted as dark; `bare`: irradiance / pi."""
    share = texture.coarse.mean()
    here = 1.0 if texture.coarse_present is None else float(texture.coarse_present.mean())
    return np.asarray((texture.reflectance(share) * bare + np.array(light.glow) * (0.08 + 0.92 * share)) * here)


def _harmonics(light: Light, blocker: Blocker | None, at_mm: Floats, below: Floats) -> Floats:
    """Nine spherical-harmonic coefficients (9 x 3) of the light above and the bright sheet below."""
    direction, solid = map_directions(65)
    keep = solid > 0
    up, weight = direction[keep], solid[keep]
    down = up * np.array([1.0, 1.0, -1.0])
    radiance = light.radiance(up)
    if blocker is not None:
        hidden = blocker.cover(np, at_mm, up)
        radiance = radiance * (1 - hidden) + hidden * np.array(blocker.rgb)
    above = harmonic_basis(np, up).T @ (radiance * weight[:, None])
    return np.asarray(above + harmonic_basis(np, down).T @ (np.broadcast_to(below, up.shape) * weight[:, None]))


def harmonic_basis(xp: Any, d: Array) -> Array:
    """The first nine real spherical harmonics at unit directions (N x 3): N x 9."""
    x, y, z = d[:, 0], d[:, 1], d[:, 2]
    one = xp.full_like(x, 0.282095)
    return xp.stack(
        [one, 0.488603 * y, 0.488603 * z, 0.488603 * x]
        + [1.092548 * x * y, 1.092548 * y * z, 0.315392 * (3 * z * z - 1), 1.092548 * x * z]
        + [0.546274 * (x * x - y * y)],
        1,
    )


def irradiance_at(backend: Backend, harmonics: Floats, normal: Array) -> Array:
    """Irradiance (N x 3) on surfaces facing `normal`: cosine lobe of degree 2 (Ramamoorthi and Hanrahan 2001)."""
    lobe = np.array([np.pi] + [2 * np.pi / 3] * 3 + [np.pi / 4] * 5)
    basis = harmonic_basis(backend.xp, normal)
    return backend.xp.clip(basis @ backend.put(harmonics * lobe[:, None]), 0.0, None)
