"""Barbs of a broach: slivers cut from a round wire and lifted, each over the notch that it left."""

import math
from dataclasses import dataclass

import numpy as np

from samples.arrays import Array, Backend, Floats
from samples.instrument import Barb, Instrument

BIN_MM = 0.05
SECTORS = 12
SLOTS = 6
"""Most barbs that may meet in one bin and sector."""

FAR_MM = 9.0

NOTCH = 1.1
"""Depth of a notch against the thickness of the sliver that was cut from it."""

INWARD = 30
"""Steps in which the side of a notch is found."""


@dataclass(frozen=True)
class BarbTable:
    """Which barbs reach each bin of x, and their numbers.

    `bins` one row a bin of x and sector of angle, as many columns as barbs meet anywhere: indices; `numbers` rows
    (root x, angle, length, height, half width, thickness, direction, wire radius, lifted, depth of the notch), the last one a
    dummy far away.
    """

    bins: Array
    numbers: Array

    def join(self, backend: Backend, core: Array, x: Array, across: Array, angle: Array) -> Array:
        """Cut the notches out of the wire's field `core` and add the barbs."""
        xp = backend.xp
        last = self.bins.shape[0] // SECTORS - 1
        sector = (angle / (2.0 * math.pi) + 1.0) * SECTORS
        sector = sector - SECTORS * xp.floor(sector / SECTORS)
        index = backend.as_index(xp.clip(x / BIN_MM, 0, last)) * SECTORS
        index = index + backend.as_index(xp.clip(sector, 0, SECTORS - 1))
        which = backend.rows(self.bins, index)
        # Most points have fewer barbs near them than the fullest bin: only the pairs of a point and a barb are worked out.
        point, slot = xp.where(which < self.numbers.shape[0] - 1)
        barb, dip = self._pairs(backend, which[point, slot], x[point], across[point], angle[point])
        barbs, notch = xp.full_like(which, FAR_MM, dtype=core.dtype), xp.full_like(which, 0.0, dtype=core.dtype)
        barbs[point, slot], notch[point, slot] = barb, dip
        return _smaller(xp, core + xp.amax(notch, 1), xp.amin(barbs, 1))

    def _pairs(self, backend: Backend, which: Array, x: Array, across: Array, angle: Array) -> tuple[Array, Array]:
        """Field of barb `which` at each of as many points, and how deep its notch lowers the wire there."""
        xp = backend.xp
        n = backend.rows(self.numbers, which)
        u = (x - n[:, 0]) * n[:, 6] / n[:, 2]
        turn = angle - n[:, 1]
        aside = xp.abs(turn - 2.0 * math.pi * xp.round(turn / (2.0 * math.pi))) * across
        inside = xp.clip(u, 0.0, 1.0)
        level = n[:, 7] + n[:, 3] * inside**1.6 - 0.5 * n[:, 5] * (1.0 - inside)
        over = xp.abs(across - level) - 0.5 * n[:, 5] * (1.0 - 0.8 * inside)
        wide = aside - n[:, 4] * (1.0 - 0.85 * inside * inside)
        long = xp.abs(u - 0.5) * n[:, 2] - 0.5 * n[:, 2]
        barb = _larger(xp, _larger(xp, over, wide), long) + (1.0 - n[:, 8]) * FAR_MM
        dip = xp.clip(4.0 * (u - 0.02), 0.0, 1.0) * xp.clip(3.0 * (1.15 - u), 0.0, 1.0)
        dip = dip * xp.clip((1.15 * n[:, 4] - aside) / (0.3 * n[:, 4]), 0.0, 1.0)
        return barb, dip * n[:, 9]


def _larger(xp: object, a: Array, b: Array) -> Array:
    return xp.where(a > b, a, b)  # type: ignore[attr-defined]


def _smaller(xp: object, a: Array, b: Array) -> Array:
    return xp.where(a < b, a, b)  # type: ignore[attr-defined]


def barb_table(instrument: Instrument, backend: Backend) -> BarbTable:
    """Sort the barbs into bins of x; a missing barb leaves its notch, a folded one lies back over it."""
    rows = []
    for barb in instrument.barbs:
        radius = 0.5 * instrument.envelope_mm(barb.x_mm)
        rows.append(
            (barb.x_mm, math.radians(barb.angle_deg), barb.length_mm, _height_mm(barb), 0.5 * barb.width_mm)
            + (barb.thickness_mm, 1.0, radius, 0.0 if barb.missing else 1.0, _notch_mm(barb))
        )
    rows.append((-FAR_MM, 0.0, 0.1, 0.0, 0.01, 0.01, 1.0, 0.1, 0.0, 0.0))
    empty = len(rows) - 1
    bins = np.full((math.ceil(instrument.length_mm / BIN_MM) + 1, SECTORS, SLOTS), empty)
    for i, barb in enumerate(instrument.barbs):
        low, high = int((barb.x_mm - 0.1) / BIN_MM), int((barb.x_mm + 1.3 * barb.length_mm) / BIN_MM)
        for sector in _sectors(barb, 0.5 * instrument.envelope_mm(barb.x_mm)):
            for b in range(max(low, 0), min(high + 1, len(bins))):
                free = np.flatnonzero(bins[b, sector] == empty)
                bins[b, sector, free[:1]] = i
    used = max(int(np.max(np.sum(bins < empty, axis=2))), 1)
    flat = bins[:, :, :used].reshape(-1, used)
    return BarbTable(backend.as_index(backend.put(flat)), backend.put(np.array(rows)))


def _height_mm(barb: Barb) -> float:
    return barb.height_mm * (barb.lying if barb.folded else 1.0)


def _notch_mm(barb: Barb) -> float:
    return NOTCH * barb.thickness_mm * barb.notch


def _sectors(barb: Barb, radius_mm: float) -> list[int]:
    """Sectors of angle that a barb or its notch touches; the core inside half the radius is left out."""
    half = math.degrees(1.2 * barb.width_mm / radius_mm) + 2.0
    step = 360.0 / SECTORS
    first, last = math.floor((barb.angle_deg - half) / step), math.floor((barb.angle_deg + half) / step)
    return [k % SECTORS for k in range(first, min(last, first + SECTORS - 1) + 1)]


def notches_mm(instrument: Instrument, x_mm: Floats, angle: Floats) -> Floats:
    """How deep notches lower the bare wire at as many places `x_mm` and rows of angles (rad), for a mesh of it.

    A notch is as wide at its floor as outside, so it spans more of the angle there: what is met first from outside counts.
    """
    deep = np.zeros_like(angle)
    for barb in instrument.barbs:
        u = (x_mm - barb.x_mm) / barb.length_mm
        near = (u > 0.0) & (u < 1.2)
        turn = angle[near] - math.radians(barb.angle_deg)
        turn = np.abs(turn - 2.0 * math.pi * np.round(turn / (2.0 * math.pi)))
        along = np.clip(4.0 * (u[near] - 0.02), 0.0, 1.0) * np.clip(3.0 * (1.15 - u[near]), 0.0, 1.0)
        floor, radius = _notch_mm(barb) * along[:, None], 0.5 * instrument.envelope_mm(barb.x_mm)
        dip = np.zeros_like(turn)
        for _ in range(INWARD):
            across = (0.575 * barb.width_mm - turn * (radius - dip)) / (0.15 * barb.width_mm)
            dip = floor * np.clip(across, 0.0, 1.0)
        deep[near] = np.maximum(deep[near], dip)
    return deep


def barb_prisms(instrument: Instrument) -> list[tuple[Floats, Floats]]:
    """Each lifted barb as a closed mesh (vertices, faces) in the straight frame: a blade between root and point."""
    u = np.linspace(0.0, 1.0, 9)
    return [_prism(instrument, barb, u) for barb in instrument.barbs if not barb.missing]


def _prism(instrument: Instrument, barb: Barb, u: Floats) -> tuple[Floats, Floats]:
    radius = 0.5 * instrument.envelope_mm(barb.x_mm)
    level = radius + _height_mm(barb) * u**1.6 - 0.5 * barb.thickness_mm * (1.0 - u)
    half = 0.5 * barb.thickness_mm * (1.0 - 0.8 * u)
    wide = 0.5 * barb.width_mm * (1.0 - 0.85 * u * u)
    rows = []
    for up, side in ((1, 1), (1, -1), (-1, -1), (-1, 1)):
        across = level + up * half
        turn = math.radians(barb.angle_deg) + side * wide / across
        rows.append(np.stack([barb.x_mm + u * barb.length_mm, across * np.cos(turn), across * np.sin(turn)], 1))
    ring = np.stack(rows, 1).reshape(-1, 3)
    faces = []
    for k in range(len(u) - 1):
        for j in range(4):
            a, b = 4 * k + j, 4 * k + (j + 1) % 4
            faces += [(a, a + 4, b), (b, a + 4, b + 4)]
    last = 4 * (len(u) - 1)
    faces += [(0, 1, 2), (0, 2, 3), (last, last + 2, last + 1), (last, last + 3, last + 2)]
    return ring, np.array(faces)
