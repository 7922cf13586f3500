"""Soft shadows of an instrument on the sheet, without noise.

Seen from a point of the sheet, a round bar hides the directions whose angle ABOUT the bar's axis lies within
asin(r/D) of the axis's own, and whose angle ALONG it lies between its two ends. So one table of the light, summed over
both angles, gives the hidden irradiance of any piece of bar by four look-ups. Pieces differ in radius (taper, stop,
handle) and, on a bent instrument, in direction.
"""

from dataclasses import dataclass

import numpy as np

from samples.arrays import CPU, Array, Backend, Floats
from samples.bodies import Placed
from samples.light import Blocker, Light, map_directions

BINS_ABOUT, BINS_ALONG = 360, 240
MAP_CELLS = 513


@dataclass(frozen=True)
class Rays:
    """The light as many directions with their share of the sheet's irradiance (N x 3 each, shares sum to 1).

    `around`: radiance that a bar's flank sees, half of it sheet and half low sky on the dark side,
    relative to the mean of the sky.
    """

    direction: Floats
    share: Floats
    around: float


def light_rays(light: Light, blocker: Blocker | None, at_mm: Floats, paper: float) -> Rays:
    """Directions and shares as seen from the sheet point `at_mm` (3,), the camera's body taken out.

    `paper` is the mean reflectance of the sheet.
    """
    direction, solid = map_directions(MAP_CELLS)
    keep = solid > 0
    direction = direction[keep]
    radiance = light.radiance(direction)
    if blocker is not None:
        hidden = blocker.cover(np, np.asarray(at_mm), direction)
        radiance = radiance * (1 - hidden) + hidden * np.array(blocker.rgb)
    share = radiance * (direction[:, 2] * solid[keep])[:, None]
    total = share.sum(axis=0)
    # The flank that faces a shadow mirrors the side away from the lamps: the median of the low sky, not its mean.
    low = direction[:, 2] < 0.64
    horizon = float(np.median(radiance[low].mean(1)) * np.pi / total.mean())
    return Rays(direction, share / total, 0.5 * (paper + horizon))


@dataclass(frozen=True)
class Bar:
    """A straight piece of round bar: ends and radius in mm, sheet coordinates; `reflects`: its mean
    reflectance; what it hides from the sheet it replaces by its own reflection of the surroundings."""

    start: Floats
    end: Floats
    radius_mm: float
    reflects: float


def bars_of(placed: Placed) -> list[Bar]:
    """Cut an instrument into bars: metal every 1.5 mm (closer when bent), stop, handle."""
    instrument = placed.instrument
    pieces = 40 if not placed.line.straight else max(int(instrument.length_mm / 1.5), 4)
    ends = np.linspace(0.0, instrument.length_mm, pieces + 1)
    points = placed.axis_points(ends)
    angles = np.linspace(0, 2 * np.pi, 48, endpoint=False)
    s = np.concatenate([np.linspace(ends[k], ends[k + 1], 6)[1:-1] for k in range(pieces)])
    get, put = placed.surface.backend.get, placed.surface.backend.put
    radius = get(placed.surface.radius(put(np.repeat(s, angles.size)), put(np.tile(angles, s.size))))
    bars = [
        Bar(points[k], points[k + 1], float(np.mean(part)), instrument.finish.f0[1])
        for k, part in enumerate(np.split(radius, pieces))
    ]
    for body in placed.bodies[1:]:
        cuts = np.linspace(body.from_mm, body.to_mm, 7 if body.name == "handle" else 2)
        where = placed.axis_points(cuts)
        profile = np.array(instrument.handle.profile)
        for k in range(len(cuts) - 1):
            middle = 0.5 * (cuts[k] + cuts[k + 1]) - body.from_mm
            wide = np.interp(middle, *profile.T) if body.name == "handle" else body.bound(cuts[:1])[0]
            bars.append(Bar(where[k], where[k + 1], float(wide), 0.25))
    return bars


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

    def hidden(self, points: Array, bars: list[Bar], axis: list[int]) -> Array:
        """Share of the irradiance at sheet points (N x 3) that each of `bars` (B) hides, B x N x 3 (r, g, b).

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
        first = b.exact(np.array(axis) * (BINS_ABOUT + 1.0))[:, None]
        rows, cols = [], []
        for angle, reach in ((about - half, ahead), (about + half, ahead + length)):
            row = xp.clip(b.single(angle / np.pi * BINS_ABOUT), 0.0, BINS_ABOUT - 1e-3)
            rows.append((row + b.single(first)).reshape(-1))
            cols.append(b.single((xp.arctan2(reach, distance) / np.pi + 0.5) * BINS_ALONG).reshape(-1))
        corner = [[b.bilinear(self.sums, cols[j], rows[i]) for j in (0, 1)] for i in (0, 1)]
        out = corner[1][1] - corner[1][0] - corner[0][1] + corner[0][0]
        return out.reshape(len(bars), -1, 3)


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
    for first in range(0, len(bars), together):
        some = slice(first, first + together)
        share = backend.exact([1.0 - bar.reflects * min(rays.around, 1.2) for bar in bars[some]])
        left = left - (share[:, None, None] * table.hidden(at, bars[some], axis[some])).sum(0)
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
