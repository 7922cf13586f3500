"""Soft shadows of an instrument on the sheet, without noise.

Seen from a point of the sheet, a round bar hides the directions whose angle ABOUT the bar's axis lies within
asin(r/D) of the axis's own, and whose angle ALONG it lies between its two ends. So one table of the light, summed over
both angles, gives the hidden irradiance of any piece of bar by four look-ups. Pieces differ in radius (taper, stop,
handle) and, on a bent instrument, in direction.
"""

from dataclasses import dataclass

import numpy as np

from samples.arrays import CPU, Floats
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
    get, put = placed.surface.backend.get, placed.surface.backend.put
    bars = []
    for k in range(pieces):
        s = np.repeat(np.linspace(ends[k], ends[k + 1], 6)[1:-1], angles.size)
        radius = float(np.mean(get(placed.surface.radius(put(s), put(np.tile(angles, 4))))))
        bars.append(Bar(points[k], points[k + 1], radius, instrument.finish.f0[1]))
    for body in placed.bodies[1:]:
        cuts = np.linspace(body.from_mm, body.to_mm, 7 if body.name == "handle" else 2)
        where = placed.axis_points(cuts)
        profile = np.array(instrument.handle.profile)
        for k in range(len(cuts) - 1):
            middle = 0.5 * (cuts[k] + cuts[k + 1]) - body.from_mm
            radius = np.interp(middle, *profile.T) if body.name == "handle" else float(body.bound(cuts[:1])[0])
            bars.append(Bar(where[k], where[k + 1], float(radius), 0.25))
    return bars


@dataclass(frozen=True)
class AxisTable:
    """Sums of the light over the angle about and along one axis direction."""

    along: Floats
    side: Floats
    rise: Floats
    sums: Floats

    def hidden(self, points: Floats, bar: Bar) -> Floats:
        """Share of the irradiance at sheet points (N x 3) that `bar` hides, N x 3 (r, g, b)."""
        off = bar.start - points
        ahead = off @ self.along
        across, up = off @ self.side, off @ self.rise
        distance = np.maximum(np.hypot(across, up), 1e-6)
        half = np.arcsin(np.clip(bar.radius_mm / distance, 0.0, 1.0))
        about = np.arctan2(up, across)
        length = (bar.end - bar.start) @ self.along
        a0, a1 = np.arctan2(ahead, distance), np.arctan2(ahead + length, distance)
        rows = (np.stack([about - half, about + half]) / np.pi * BINS_ABOUT).astype(np.float32)
        cols = ((np.stack([a0, a1]) / np.pi + 0.5) * BINS_ALONG).astype(np.float32)
        corner = [[CPU.bilinear(self.sums, cols[j], rows[i]) for j in (0, 1)] for i in (0, 1)]
        return np.asarray(corner[1][1] - corner[1][0] - corner[0][1] + corner[0][0])


def axis_table(rays: Rays, along: Floats) -> AxisTable:
    """Sum the light for bars that run `along` (unit vector)."""
    side = np.array([-along[1], along[0], 0.0]) / np.hypot(along[0], along[1])
    rise = np.cross(along, side)
    rise = rise if rise[2] > 0 else -rise
    d = rays.direction
    across, up, ahead = d @ side, d @ rise, d @ along
    about = np.arctan2(np.maximum(up, 0.0), across)
    leaning = np.arctan2(ahead, np.hypot(across, up))
    sums = np.zeros((BINS_ABOUT + 1, BINS_ALONG + 1, 3), np.float32)
    edges = [np.linspace(0, np.pi, BINS_ABOUT + 1), np.linspace(-np.pi / 2, np.pi / 2, BINS_ALONG + 1)]
    for c in range(3):
        counts, _, _ = np.histogram2d(about, leaning, bins=edges, weights=rays.share[:, c])
        sums[1:, 1:, c] = counts.cumsum(0).cumsum(1)
    return AxisTable(along, side, rise, sums)


def light_left(points: Floats, bars: list[Bar], rays: Rays) -> Floats:
    """Irradiance at sheet points (N x 3) relative to that without the instrument, N x 3."""
    left = np.ones((len(points), 3))
    table: AxisTable | None = None
    for bar in bars:
        along = (bar.end - bar.start) / np.linalg.norm(bar.end - bar.start)
        if table is None or along @ table.along < 1 - 1e-7:
            table = axis_table(rays, along)
        left -= (1.0 - bar.reflects * min(rays.around, 1.2)) * table.hidden(points, bar)
    return np.maximum(left, 0.02)
