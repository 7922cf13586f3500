"""Soft shadows of an instrument on the sheet and the light that it throws there, without noise.

Seen from a point of the sheet, a round bar hides the directions whose angle ABOUT the bar's axis lies within
asin(r/D) of the axis's own, and whose angle ALONG it lies between its two ends. So one table of the light, summed over
both angles, gives the hidden irradiance of any piece of bar by four look-ups. Pieces differ in radius (taper, stop,
handle) and, on a bent instrument, in direction.
"""

from dataclasses import dataclass

import numpy as np

from samples.arrays import CPU, Array, Backend, Floats
from samples.bars import Bar
from samples.fresnel import coat_passes
from samples.light import Blocker, Light, map_directions
from samples.thrown import Room, Thrown, seen_at, thrown

BINS_ABOUT, BINS_ALONG = 360, 240
MAP_CELLS = 513


@dataclass(frozen=True)
class Rays:
    """The light as many directions with their share of the sheet's irradiance (N x 3 each, shares sum to 1); `room`:
    where they come from.
    """

    direction: Floats
    share: Floats
    room: Room


def light_rays(light: Light, blocker: Blocker | None, at_mm: Floats, paper: float, coated: bool = False) -> Rays:
    """Directions and shares as seen from the sheet point `at_mm` (3,), the camera's body taken out.

    `paper` is the mean reflectance of the sheet; a clear coat lets less of the low light in.
    """
    direction, solid = map_directions(MAP_CELLS)
    keep = solid > 0
    direction = direction[keep]
    radiance = light.radiance(direction)
    if blocker is not None:
        hidden = blocker.cover(np, np.asarray(at_mm), direction)
        radiance = radiance * (1 - hidden) + hidden * np.array(blocker.rgb)
    passes = coat_passes(direction[:, 2]) if coated else 1.0
    share = radiance * (direction[:, 2] * solid[keep] * passes)[:, None]
    total = share.sum(axis=0)
    return Rays(direction, share / total, Room(light, blocker, np.asarray(at_mm), total, paper, coated))


@dataclass(frozen=True)
class AxisTable:
    """Sums of the light over the angle about and along each of D axis directions.

    `along`, `side`, `rise` D x 3; `sums` (D times (BINS_ABOUT + 1)) x (BINS_ALONG + 1) x 3, on the backend.
    """

    backend: Backend
    along: Floats
    side: Floats
    rise: Floats
    sums: Array

    def axes(self, axis: int) -> tuple[Floats, Floats, Floats]:
        """Along, across and up of one direction, 3 each."""
        return self.along[axis], self.side[axis], self.rise[axis]

    def long_bars(self, ratios: Floats, axis: list[int]) -> Array:
        """Share of the irradiance that endless bars hide (B x M x 3), seen at the M angles of `seen_at`; `ratios` (B):
        radius over height of the axis.
        """
        b = self.backend
        about = np.broadcast_to(seen_at(), (len(ratios), seen_at().size))
        half = np.arcsin(np.minimum(ratios[:, None] * np.sin(about), 1.0))
        ends = [b.exact(np.full(about.size, end)) for end in (0.0, BINS_ALONG)]
        return self._between(b.exact(about), b.exact(half), axis, [b.single(end) for end in ends])

    def hidden(self, points: Array, bars: list[Bar], axis: list[int], lights: Thrown | None, part: slice) -> Array:
        """Share of the irradiance at sheet points (N x 3) that each of `bars` (B) hides, B x N x 3 (r, g, b), less what it
        throws there by `lights`, where it is number `part`.

        `axis`: the number of each bar's direction.
        """
        b, xp = self.backend, self.backend.xp
        start, end = (np.array([getattr(bar, name) for bar in bars]) for name in ("start", "end"))
        along, side, rise = self.along[axis], self.side[axis], self.rise[axis]
        length = b.exact(np.sum((end - start) * along, 1))[:, None]
        radius = b.exact([bar.radius_mm for bar in bars])[:, None]
        ahead, across, up = (
            b.exact(np.sum(start * way, 1))[:, None] - b.exact(way) @ points.T for way in (along, side, rise)
        )
        distance = xp.clip(xp.sqrt(across * across + up * up), 1e-6, None)
        half = xp.arcsin(xp.clip(radius / distance, 0.0, 1.0))
        about = xp.arctan2(up, across)
        ends = xp.arctan2(ahead, distance), xp.arctan2(ahead + length, distance)
        cols = [b.single((end / np.pi + 0.5) * BINS_ALONG).reshape(-1) for end in ends]
        out = self._between(about, half, axis, cols)
        return out if lights is None else out - lights.light(part, about, up, ends)

    def _between(self, about: Array, half: Array, axis: list[int], cols: list[Array]) -> Array:
        """Sum of the light within `half` of the angles `about` (B x N each) and between two columns (B N each)."""
        b, xp = self.backend, self.backend.xp
        first = b.exact(np.array(axis) * (BINS_ABOUT + 1.0))[:, None]
        rows = []
        for angle in (about - half, about + half):
            row = xp.clip(b.single(angle / np.pi * BINS_ABOUT), 0.0, BINS_ABOUT - 1e-3)
            rows.append((row + b.single(first)).reshape(-1))
        corner = [[b.bilinear(self.sums, cols[j], rows[i]) for j in (0, 1)] for i in (0, 1)]
        out = corner[1][1] - corner[1][0] - corner[0][1] + corner[0][0]
        return out.reshape(*about.shape, 3)


def axis_table(rays: Rays, along: Floats, backend: Backend = CPU) -> AxisTable:
    """Sum the light for bars that run `along` one of the directions (D x 3, unit vectors)."""
    level = np.hypot(along[:, 0], along[:, 1])[:, None]
    side = np.stack([-along[:, 1], along[:, 0], 0.0 * along[:, 0]], 1) / level
    rise = np.cross(along, side)
    rise *= np.where(rise[:, 2:] > 0, 1.0, -1.0)
    direction, share = backend.exact(rays.direction), backend.exact(rays.share)
    together = max(4 * backend.wide // len(rays.share), 1) if backend.xp is not np else 1
    tables = []
    for first in range(0, len(along), together):
        some = slice(first, first + together)
        tables.append(_summed(backend, direction, share, *(backend.exact(way[some]) for way in (along, side, rise))))
    return AxisTable(backend, along, side, rise, backend.xp.concatenate(tables))


def _summed(backend: Backend, direction: Array, share: Array, along: Array, side: Array, rise: Array) -> Array:
    """Running sums of the light over both angles for D axes, (D (BINS_ABOUT + 1)) x (BINS_ALONG + 1) x 3."""
    xp, count = backend.xp, along.shape[0]
    across, up, ahead = (way @ direction.T for way in (side, rise, along))
    about = xp.arctan2(xp.clip(up, 0.0, None), across)
    leaning = xp.arctan2(ahead, xp.sqrt(across * across + up * up))
    cell = _bin(backend, about, np.linspace(0, np.pi, BINS_ABOUT + 1)) * BINS_ALONG
    cell = cell + _bin(backend, leaning, np.linspace(-np.pi / 2, np.pi / 2, BINS_ALONG + 1))
    cell = cell + backend.as_index(backend.exact(np.arange(count) * BINS_ABOUT * BINS_ALONG))[:, None]
    weight = share if count == 1 else xp.tile(share, (count, 1))
    counts = backend.sums(cell.reshape(-1), weight, count * BINS_ABOUT * BINS_ALONG)
    sums = backend.zeros((count, BINS_ABOUT + 1, BINS_ALONG + 1, 3))
    sums[:, 1:, 1:] = backend.single(counts.reshape(count, BINS_ABOUT, BINS_ALONG, 3).cumsum(1).cumsum(2))
    return sums.reshape(-1, BINS_ALONG + 1, 3)


def _bin(backend: Backend, values: Array, edges: Floats) -> Array:
    """Index of the bin of each value; the last bin holds its upper edge, values outside go to the nearest bin."""
    return backend.xp.clip(backend.xp.searchsorted(backend.exact(edges), values, side="right") - 1, 0, edges.size - 2)


def light_left(points: Floats, bars: list[Bar], rays: Rays, backend: Backend = CPU) -> Floats:
    """Irradiance at sheet points (N x 3) relative to that without the instrument, N x 3."""
    at = backend.exact(points)
    left = 0.0 * at + 1.0
    together = max(10 * backend.wide // len(points), 1) if backend.xp is not np else 1
    along, axis = _directions(bars)
    table = axis_table(rays, along, backend)
    ratios = np.array([bar.radius_mm / bar.height_mm for bar in bars])
    lights = thrown(backend, bars, table.long_bars(ratios, axis), rays.room, [table.axes(k) for k in axis])
    for first in range(0, len(bars), together):
        some = slice(first, first + together)
        left = left - table.hidden(at, bars[some], axis[some], lights, some).sum(0)
    return backend.get(backend.xp.clip(left, 0.02, None))


def _directions(bars: list[Bar]) -> tuple[Floats, list[int]]:
    """The directions along which bars lie (D x 3), and the number of each bar's own."""
    found: list[Floats] = []
    axis = []
    for bar in bars:
        along = (bar.end - bar.start) / np.linalg.norm(bar.end - bar.start)
        if not found or along @ found[-1] < 1 - 1e-7:
            found.append(along)
        axis.append(len(found) - 1)
    return np.array(found), axis
