"""How the shadow of a twisted or grooved shaft swells and shrinks along it.

The shadow strip is summed for round bars. Seen from a point of the sheet, the shaft's real silhouette stands now farther
out, now nearer than the bar's: by the section's support function toward the two rays that touch it. The strip is therefore
summed twice, for bars of the mean radius and for thicker ones, and every point takes what its own silhouette asks for.
Light that comes from many directions along the axis blurs the ripple in proportion to the distance; a lamp moves it along.
"""

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import gaussian_filter1d

from samples.arrays import Floats
from samples.bodies import Placed
from samples.shadow import Rays

WIDER = 1.25
"""Radius of the thicker bars over the mean one's."""

ANGLES, WAYS = 240, 24
"""Steps of the angle about the axis, and directions in which the silhouette is asked for."""

BLURS_MM = (0.02, 0.06, 0.15, 0.4, 1.0)
LEAST, MOST = 0.6, 1.7
"""Silhouettes beyond these shares of the mean radius are cut: the two strips say nothing about them."""


@dataclass(frozen=True)
class Slant:
    """Light that passes the shaft toward one side: how far it runs along the axis for 1 mm across, mean and spread."""

    mean: float
    spread: float


def slants(rays: Rays, along: Floats, across: Floats) -> tuple[Slant, Slant]:
    """For the side of negative and of positive `across` (2 each, on the sheet)."""
    ahead, side = rays.direction[:, :2] @ along, rays.direction[:, :2] @ across
    run = ahead / np.sqrt(np.maximum(1.0 - ahead**2, 1e-6))
    weight = rays.share[:, 1]
    return _slant(run, weight * (side > 0)), _slant(run, weight * (side <= 0))


def _slant(run: Floats, weight: Floats) -> Slant:
    run, weight = np.clip(run, -2.0, 2.0), weight / max(float(weight.sum()), 1e-12)
    mean = float(run @ weight)
    return Slant(mean, float(np.clip(np.sqrt(((run - mean) ** 2) @ weight), 0.05, 0.9)))


def silhouette(placed: Placed, s_mm: Floats) -> Floats:
    """Support of the metal's section over its mean radius, by s and by WAYS directions from across toward up (S x WAYS).

    1 beyond the working part, where the shaft is round.
    """
    instrument, backend = placed.instrument, placed.surface.backend
    angle = np.arange(ANGLES) * (2 * np.pi / ANGLES)
    within = (s_mm > 0.0) & (s_mm < instrument.working_part_mm)
    grid = np.repeat(s_mm[within], ANGLES), np.tile(angle, int(within.sum()))
    radius = backend.get(placed.surface.radius(*(backend.put(g) for g in grid))).reshape(-1, ANGLES)
    # The instrument's angle runs from its second axis, which is turned by the roll from sideways, against across.
    about = np.pi - (angle + np.radians(placed.pose.roll_deg))
    way = np.arange(WAYS) * (2 * np.pi / WAYS)
    out = np.ones((s_mm.size, WAYS))
    support = (radius[:, :, None] * np.cos(about[:, None] - way)).max(1)
    out[within] = np.clip(support / radius.mean(1, keepdims=True), LEAST, MOST)
    return out


def wider_share(
    placed: Placed, s_mm: Floats, from_axis_mm: Floats, height_mm: Floats, sides: tuple[Slant, Slant]
) -> Floats:
    """How far each point of the sheet lies from the mean bar's strip (0) toward the thicker bars' (1), S x D.

    `s_mm` (S) evenly spaced; `from_axis_mm` S x D across the axis; `height_mm` (S) of the axis.
    """
    shape = silhouette(placed, s_mm)
    step = float(s_mm[1] - s_mm[0])
    blurred = np.stack([gaussian_filter1d(shape, blur / step, axis=0, mode="nearest") for blur in BLURS_MM])
    height = np.maximum(height_mm, 1e-3)[:, None]
    distance = np.hypot(from_axis_mm, height)
    right = from_axis_mm > 0
    blur = np.where(right, sides[1].spread, sides[0].spread) * distance
    moved = np.where(right, sides[1].mean, sides[0].mean) * distance
    level = np.interp(np.log(blur), np.log(BLURS_MM), np.arange(len(BLURS_MM)))
    row = np.clip(np.arange(s_mm.size)[:, None] + moved / step, 0, s_mm.size - 1)
    upper = np.where(right, 1.0, -1.0)
    toward = np.arctan2(upper * from_axis_mm, upper * height)
    rise = np.arctan2(height, np.abs(from_axis_mm))
    half = np.arcsin(np.minimum(placed.surface.bound_mm(s_mm)[:, None] * 0.85 / distance, 1.0))
    weights = np.sin(np.minimum(rise + half, np.pi / 2)), np.sin(np.maximum(rise - half, 0.0))
    seen = [_read(blurred, level, row, angle) for angle in (toward, toward + np.pi)]
    mean = (seen[0] * weights[0] + seen[1] * weights[1]) / (weights[0] + weights[1])
    return np.asarray((mean - 1.0) / (WIDER - 1.0))


def _read(blurred: Floats, level: Floats, row: Floats, angle: Floats) -> Floats:
    """Silhouettes at fractional blur level, row and angle; the nearest direction is near enough."""
    way = np.round(np.mod(angle, 2 * np.pi) / (2 * np.pi) * WAYS).astype(int) % WAYS
    low, at = np.minimum(level.astype(int), len(BLURS_MM) - 2), np.round(row).astype(int)
    part = level - low
    return np.asarray(blurred[low, at, way] * (1.0 - part) + blurred[low + 1, at, way] * part)
