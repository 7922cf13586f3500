"""The room: radiance that arrives from above the sheet, far away except for the camera's own dark shape.

Directions are in sheet coordinates (X right, Y down, Z up). Radiance is relative: the presets' brightest parts are far
above 1 and the picture's exposure is set afterwards.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import cv2
import numpy as np

from samples.arrays import Array, Backend, Floats
from samples.lobe import KEPT, blurs, in_rectangle

MAP_SIZE = 193
MAP_REACH = 1.12
"""Half-width of the stereographic map; 1 is the horizon."""

Rgb = tuple[float, float, float]


@dataclass(frozen=True)
class Lobe:
    """A soft-edged bright rectangle on the sky: a window, a lamp, a white wall. Angles in degrees."""

    azimuth_deg: float
    elevation_deg: float
    half_width_deg: float
    half_height_deg: float
    softness_deg: float
    rgb: Rgb
    bars: bool = False


@dataclass(frozen=True)
class Blocker:
    """The camera's body as a dark rectangle at `height_mm`, in the picture's axes about the pinhole.

    `lobe`: 0 for single rays, whose edge is soft; else the scale of the lobe (radians) that is looked through.
    """

    centre_mm: tuple[float, float]
    turn_deg: float
    height_mm: float
    half_size_mm: tuple[float, float]
    softness_mm: float = 3.0
    rgb: Rgb = (0.03, 0.03, 0.03)
    lobe: float = 0.0

    def cover(self, xp: Any, start: Array, direction: Array) -> Array:
        """Share (N x 1, 0 to 1) of the rays from `start` (N x 3 or 3, mm) along `direction` (N x 3) that it hides."""
        up = xp.clip(direction[..., 2], 1e-3, None)
        reach = (self.height_mm - start[..., 2]) / up
        dx = start[..., 0] + reach * direction[..., 0] - self.centre_mm[0]
        dy = start[..., 1] + reach * direction[..., 1] - self.centre_mm[1]
        c, s = math.cos(math.radians(self.turn_deg)), math.sin(math.radians(self.turn_deg))
        if self.lobe > 0:
            wide = self.lobe * xp.clip(reach, 1e-3, None)
            half_u, half_v = (half / wide for half in self.half_size_mm)
            return in_rectangle(xp, (dx * c + dy * s) / wide, (dy * c - dx * s) / wide, half_u, half_v)[..., None]
        u = xp.abs(dx * c + dy * s) - self.half_size_mm[0]
        v = xp.abs(dy * c - dx * s) - self.half_size_mm[1]
        soft = 2.0 * self.softness_mm
        return (xp.clip(0.5 - u / soft, 0.0, 1.0) * xp.clip(0.5 - v / soft, 0.0, 1.0))[..., None]


@dataclass(frozen=True)
class Backlight:
    """A bright patch `depth_mm` below the sheet, seen through the window cut in it; the room below is dark.

    `half_size_mm`: half its width along the sheet's x and y, about `centre_mm`.
    """

    centre_mm: tuple[float, float]
    half_size_mm: tuple[float, float]
    depth_mm: float
    rgb: Rgb
    dark: Rgb = (0.01, 0.01, 0.01)

    def radiance(self, backend: Backend, x_mm: Array, y_mm: Array, direction: Array) -> Array:
        """Radiance (N x 3) seen through the sheet point along `direction` (N x 3, downward)."""
        xp = backend.xp
        reach = self.depth_mm / xp.clip(-direction[..., 2], 1e-3, None)
        u = xp.abs(x_mm + reach * direction[..., 0] - self.centre_mm[0]) - self.half_size_mm[0]
        v = xp.abs(y_mm + reach * direction[..., 1] - self.centre_mm[1]) - self.half_size_mm[1]
        lit = (xp.clip(0.5 - u, 0.0, 1.0) * xp.clip(0.5 - v, 0.0, 1.0))[..., None]
        return lit * backend.constant(self.rgb) + (1.0 - lit) * backend.constant(self.dark)


@dataclass(frozen=True)
class Light:
    """`ambient_low` and `ambient_high`: the dim room near the horizon and overhead. `glow`: radiance of white paper lit
    through from below; ink lets 8 % pass. `backlight`: a patch far below the sheet's window.
    """

    preset: str
    ambient_low: Rgb
    ambient_high: Rgb
    lobes: tuple[Lobe, ...]
    glow: Rgb = (0.0, 0.0, 0.0)
    backlight: Backlight | None = None

    def radiance(self, direction: Floats) -> Floats:
        """Radiance (... x 3) of unit directions (... x 3)."""
        up = np.clip(direction[..., 2:], 0.0, 1.0)
        out = np.array(self.ambient_low) * (1 - up) + np.array(self.ambient_high) * up
        for lobe in self.lobes:
            out = out + _lobe_cover(lobe, direction)[..., None] * np.array(lobe.rgb)
        return np.asarray(out)


def _lobe_cover(lobe: Lobe, direction: Floats) -> Floats:
    """Soft rectangle about the lobe's middle, measured in angles along its own two axes."""
    az, el = math.radians(lobe.azimuth_deg), math.radians(lobe.elevation_deg)
    middle = np.array([math.cos(el) * math.cos(az), math.cos(el) * math.sin(az), math.sin(el)])
    side = np.array([-math.sin(az), math.cos(az), 0.0])
    rise = np.array([-math.sin(el) * math.cos(az), -math.sin(el) * math.sin(az), math.cos(el)])
    ahead = direction @ middle
    u = np.degrees(np.arctan2(direction @ side, ahead))
    v = np.degrees(np.arctan2(direction @ rise, np.hypot(direction @ side, ahead)))
    v = np.where(ahead > 0, v, 180.0)
    cover = _soft_box(u, lobe.half_width_deg, lobe.softness_deg) * _soft_box(v, lobe.half_height_deg, lobe.softness_deg)
    if lobe.bars:
        cover = cover * (1 - 0.9 * _soft_box(u, 0.06 * lobe.half_width_deg, 0.5))
        cover = cover * (1 - 0.9 * _soft_box(v, 0.06 * lobe.half_width_deg, 0.5))
    return np.asarray(cover)


def _soft_box(x: Floats, half: float, soft: float) -> Floats:
    return np.asarray(1.0 / (1.0 + np.exp(np.clip((np.abs(x) - half) / max(soft, 0.05), -40, 40))))


def map_directions(size: int = MAP_SIZE) -> tuple[Floats, Floats]:
    """Unit directions (size x size x 3) of a stereographic map of the upper half-space, and their solid angles."""
    axis = np.linspace(-MAP_REACH, MAP_REACH, size)
    u, v = np.meshgrid(axis, axis)
    r2 = u * u + v * v
    direction = np.stack([2 * u, 2 * v, 1 - r2], axis=-1) / (1 + r2)[..., None]
    solid = 4.0 * (axis[1] - axis[0]) ** 2 / (1 + r2) ** 2
    return direction, np.where(direction[..., 2] > 0, solid, 0.0)


@dataclass(frozen=True)
class Sky:
    """The light as a map, blurred for the lobe of a rough mirror. `table` is size x size x 3, on the backend."""

    backend: Backend
    table: Array

    def look(self, direction: Array) -> Array:
        """Radiance (N x 3) in unit directions (N x 3); below the horizon it gives the horizon's."""
        up = 1.0 + self.backend.xp.clip(direction[:, 2], -0.05, None)
        scale = (MAP_SIZE - 1) / (2 * MAP_REACH)
        u, v = (direction[:, 0] / up + MAP_REACH) * scale, (direction[:, 1] / up + MAP_REACH) * scale
        return self.backend.bilinear(self.table, u, v)


def sky_of(
    light: Light,
    blurs: Sequence[tuple[float, float]],
    backend: Backend,
    blocker: Blocker | None = None,
    at_mm: Sequence[float] = (0.0, 0.0, 0.0),
) -> Sky:
    """Tabulate `light`, blurred by a sum of Gaussians: their weights and standard deviations in degrees.

    The mean is over the part of each blur above the horizon that `blocker` leaves free, seen from `at_mm` (3); horizon
    and blocker themselves are not the sky's business.
    """
    return Sky(backend, backend.put(_sky_table(light, tuple(blurs), blocker, tuple(float(v) for v in at_mm))))


@lru_cache(maxsize=32)
def _sky_table(
    light: Light, blurs: tuple[tuple[float, float], ...], blocker: Blocker | None, at_mm: tuple[float, ...]
) -> Floats:
    direction, _ = map_directions()
    free = (direction[..., 2:] > 0).astype(np.float32)
    if blocker is not None:
        free = free * (1.0 - blocker.cover(np, np.array(at_mm), direction))
    sharp = light.radiance(direction)
    table = np.concatenate([sharp * free, free], axis=2).astype(np.float32)
    some = np.sum([weight * _blurred(table, degrees) for weight, degrees in blurs], axis=0)
    return np.asarray(np.where(some[..., 3:] > 1e-3, some[..., :3] / np.clip(some[..., 3:], 1e-3, None), sharp))


def _blurred(table: Floats, degrees: float) -> Floats:
    """Blur the map by the same angle everywhere: one radian is half as long in its middle as at the horizon."""
    middle, rim = (
        _smooth(table, math.radians(degrees) * scale * (MAP_SIZE - 1) / (2 * MAP_REACH)) for scale in (0.5, 1)
    )
    axis = np.linspace(-MAP_REACH, MAP_REACH, MAP_SIZE, dtype=np.float32)
    outer = np.minimum(axis[:, None] ** 2 + axis**2, 1.0)[..., None]
    return np.asarray(middle + (rim - middle) * outer)


def _smooth(table: Floats, sigma: float) -> Floats:
    """Gaussian blur with nothing beyond the map; a wide one at a quarter of the resolution."""
    if sigma <= 0.2:
        return table
    if sigma < 10.0:
        return np.asarray(cv2.GaussianBlur(table, (0, 0), sigma, borderType=cv2.BORDER_CONSTANT))
    small = cv2.resize(table, (MAP_SIZE // 4, MAP_SIZE // 4), interpolation=cv2.INTER_AREA)
    small = cv2.GaussianBlur(small, (0, 0), min(sigma, MAP_SIZE) / 4, borderType=cv2.BORDER_CONSTANT)
    return np.asarray(cv2.resize(small, (MAP_SIZE, MAP_SIZE), interpolation=cv2.INTER_LINEAR))


def overhead(sky: Sky, blocker: Blocker | None, start: Array, direction: Array) -> Array:
    """Radiance (N x 3) of the room with the camera's body in it, seen from `start` (N x 3 or 3) along `direction`."""
    out = sky.look(direction)
    if blocker is None:
        return out
    hidden = blocker.cover(sky.backend.xp, start, direction)
    return out * (1.0 - hidden) + hidden * sky.backend.constant(blocker.rgb)


def through_lobe(
    light: Light, blocker: Blocker | None, alpha: float, at_mm: Sequence[float], backend: Backend
) -> tuple[Sky, Blocker | None]:
    """The room and the camera's body as rough metal of this alpha near `at_mm` (3) mirrors them."""
    sky = sky_of(light, blurs(alpha), backend, blocker, at_mm)
    return sky, None if blocker is None else replace(blocker, lobe=2.0 * KEPT * max(alpha, 1e-3))
