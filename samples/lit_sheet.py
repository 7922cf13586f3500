"""The light that falls on the sheet: the room's, slowly varying under the camera, times the instruments' shadows."""

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from samples.arrays import CPU, Array, Backend, Floats
from samples.bars import Bar, bars_of
from samples.bodies import Placed
from samples.fresnel import coat_passes
from samples.light import Blocker, Light, map_directions
from samples.ripple import WIDER, slants, wider_share
from samples.shadow import Rays, light_left

REACH_MM = 9.0
SPREAD_MM = 0.12
"""Width of the near zone of a shadow strip, where its columns stand closest."""

ALONG_STEP_MM = 0.12
FINE_STEP_MM = 0.04
"""Rows at which bars are summed, and at which the ripple of a shaft's shadow is told."""

RIPPLE_MM = 3.0
"""How far from the working part its shadow ripples."""

COLUMNS = 141


@dataclass(frozen=True)
class Irradiance:
    """Unshadowed irradiance (radiance units x sr) on a grid of the sheet: rows y, columns x, r g b."""

    x0_mm: float
    y0_mm: float
    step_mm: float
    table: Floats

    def columns_rows(self, x_mm: Array, y_mm: Array) -> tuple[Array, Array]:
        """Fractional columns and rows of sheet points."""
        return (x_mm - self.x0_mm) / self.step_mm, (y_mm - self.y0_mm) / self.step_mm

    def at(self, x_mm: float, y_mm: float) -> Floats:
        """Irradiance (3) at one sheet point."""
        u, v = self.columns_rows(np.array([x_mm]), np.array([y_mm]))
        return np.asarray(CPU.bilinear(self.table, u, v)[0])


def irradiance_of(
    light: Light,
    blocker: Blocker | None,
    box_mm: tuple[float, float, float, float],
    backend: Backend = CPU,
    coated: bool = False,
) -> Irradiance:
    """Integrate the light over the upper half-space on a grid that covers `box_mm` (x0, y0, x1, y1).

    Under a clear coat the irradiance is what the coat lets in, against light from straight above.
    """
    step = max(box_mm[2] - box_mm[0], box_mm[3] - box_mm[1]) / 20.0
    nx, ny = int((box_mm[2] - box_mm[0]) / step) + 2, int((box_mm[3] - box_mm[1]) / step) + 2
    direction, solid = map_directions(97)
    keep = solid > 0
    direction, weight = direction[keep], (direction[..., 2] * solid)[keep]
    if coated:
        weight = weight * coat_passes(direction[:, 2])
    radiance = light.radiance(direction)
    if blocker is None:
        return Irradiance(box_mm[0], box_mm[1], step, np.full((ny, nx, 3), weight @ radiance, np.float32))
    # Where the camera's body covers the room by h, the room's share is 1 - h and the body's h.
    room, body, ways = backend.exact(weight[:, None] * radiance), backend.exact(weight), backend.exact(direction)
    grid = np.stack(np.meshgrid(np.arange(nx), np.arange(ny), [0.0]), -1).reshape(-1, 3)
    places = backend.exact(np.array([box_mm[0], box_mm[1], 0.0]) + step * grid)
    together = max(10 * backend.wide // len(direction), 1) if backend.xp is not np else 1
    rows = []
    for first in range(0, len(grid), together):
        hidden = blocker.cover(backend.xp, places[first : first + together, None], ways)[..., 0]
        rows.append((1.0 - hidden) @ room + (hidden @ body)[:, None] * backend.exact(blocker.rgb))
    table = backend.get(backend.xp.concatenate(rows)).astype(np.float32).reshape(ny, nx, 3)
    return Irradiance(box_mm[0], box_mm[1], step, table)


@dataclass(frozen=True)
class ShadowStrip:
    """Share of light left on the sheet around one instrument: rows along its axis, columns across (closer near it)."""

    origin: Floats
    along: Floats
    across: Floats
    first_mm: float
    table: Floats

    def distance_mm(self, point: Floats) -> float:
        """Distance of a sheet point from the axis that casts the shadow."""
        off = np.asarray(point)[:2] - self.origin[:2]
        length = len(self.table) * FINE_STEP_MM + 2 * self.first_mm
        along = float(np.clip(off @ self.along, 0.0, length))
        return float(np.linalg.norm(off - along * self.along))

    def columns_rows(self, xp: Any, x_mm: Array, y_mm: Array) -> tuple[Array, Array]:
        """Fractional columns and rows of sheet points."""
        dx, dy = x_mm - float(self.origin[0]), y_mm - float(self.origin[1])
        s = dx * float(self.along[0]) + dy * float(self.along[1])
        d = dx * float(self.across[0]) + dy * float(self.across[1])
        scale = (COLUMNS - 1) / 2 / math.asinh(REACH_MM / SPREAD_MM)
        return xp.arcsinh(d / SPREAD_MM) * scale + (COLUMNS - 1) / 2, (s - self.first_mm) / FINE_STEP_MM


def shadow_strip(placed: Placed, rays: Rays) -> ShadowStrip:
    """Tabulate the shadow of one instrument."""
    ends = placed.axis_points(np.array([0.0, placed.instrument.length_mm]))
    along = (ends[1] - ends[0])[:2]
    along = along / np.linalg.norm(along)
    across = np.array([-along[1], along[0]])
    length = placed.instrument.length_mm + placed.instrument.handle.length_mm
    first = -REACH_MM
    s = np.arange(first, length + REACH_MM, ALONG_STEP_MM)
    scale = (COLUMNS - 1) / 2 / np.arcsinh(REACH_MM / SPREAD_MM)
    d = SPREAD_MM * np.sinh((np.arange(COLUMNS) - (COLUMNS - 1) / 2) / scale)
    xy = ends[0][:2] + s[:, None, None] * along + d[None, :, None] * across
    points = np.concatenate([xy, np.zeros((*xy.shape[:2], 1))], axis=2).reshape(-1, 3)
    bars = bars_of(placed)
    left = light_left(points, bars, rays, placed.surface.backend).reshape(s.size, COLUMNS, 3)
    fade = np.minimum(1.0, np.minimum(np.arange(s.size), np.arange(s.size)[::-1]) / 12.0)[:, None]
    fade = fade * np.minimum(1.0, np.minimum(np.arange(COLUMNS), np.arange(COLUMNS)[::-1]) / 8.0)[None, :]
    fine = np.arange(0.0, s.size - 1, FINE_STEP_MM / ALONG_STEP_MM)
    table = _rows(1.0 - (1.0 - left) * fade[..., None], fine)
    at = first + fine * ALONG_STEP_MM
    if placed.instrument.twist is not None:
        off = d[None, :] - _aside(placed, at, ends[0], across)[:, None]
        near = (s > -RIPPLE_MM) & (s < placed.instrument.working_part_mm + RIPPLE_MM), np.abs(d) < RIPPLE_MM
        more = _thicker(placed, bars, rays, points.reshape(*left.shape)[np.ix_(*near)])
        change = np.zeros_like(left)
        change[np.ix_(*near)] = more - left[np.ix_(*near)]
        share = wider_share(placed, at, off, placed.axis_points(at)[:, 2], slants(rays, along, across))
        share = share * np.clip(RIPPLE_MM - np.abs(d), 0.0, 1.0)[None, :]
        table = table + share[..., None] * _rows(change * fade[..., None], fine)
    return ShadowStrip(ends[0], along, across, first, np.clip(table, 0.02, None).astype(np.float32))


def _aside(placed: Placed, s_mm: Floats, start: Floats, across: Floats) -> Floats:
    """How far a bent axis lies beside the straight line from its start, by s."""
    points = placed.axis_points(np.clip(s_mm, 0.0, placed.instrument.length_mm))
    return np.asarray((points[:, :2] - start[:2]) @ across)


def _thicker(placed: Placed, bars: list[Bar], rays: Rays, points: Floats) -> Floats:
    """Light left at points (R x C x 3) by bars of metal WIDER times as thick."""
    wider = [replace(bar, radius_mm=bar.radius_mm * WIDER) if bar.alpha is not None else bar for bar in bars]
    return light_left(points.reshape(-1, 3), wider, rays, placed.surface.backend).reshape(points.shape)


def _rows(table: Floats, at: Floats) -> Floats:
    """Rows of a table at fractional places, by straight lines."""
    low = at.astype(int)
    part = (at - low)[:, None, None]
    return np.asarray(table[low] * (1.0 - part) + table[low + 1] * part, dtype=np.float32)
