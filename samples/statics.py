"""How an instrument comes to rest on a plane: on the edge of its lower hull that carries the centre of mass.

Seen from the side, a straight solid of revolution touches the plane with the lower hull of its profile. It can rest on
a hull edge exactly when the foot of its centre of mass lies between the edge's ends.
"""

import itertools
import math
from dataclasses import dataclass

import numpy as np

from samples.instrument import Instrument

STEEL_MG_MM3 = 7.8
"""Density of stainless steel (handbook value, 7.7 to 8.0 g/cm3)."""

PLASTIC_MG_MM3 = 1.1
RUBBER_MG_MM3 = 1.2
INSERTED_MM = 3.0
"""Length of shaft inside the handle, where it takes the plastic's place; an assumption, no source."""


@dataclass(frozen=True)
class Rest:
    """A rest pose: the axis height at the tip end (x = 0), its rise toward the handle, and what touches."""

    tip_height_mm: float
    slope_deg: float
    touches: tuple[str, str]


@dataclass(frozen=True)
class Weights:
    """Mass in mg and centre of mass along the axis, mm from the tip."""

    mass_mg: float
    centre_mm: float


def weights(instrument: Instrument) -> Weights:
    """Add up shaft, handle and stop."""
    area = {"square": 2 / math.pi, "triangle": 0.414, "rhombus": 0.45, "round": 0.9}[instrument.cross_section]
    x = np.linspace(0, instrument.length_mm + INSERTED_MM, 400)
    fluted = x < instrument.working_part_mm
    diameter = np.where(fluted, instrument.d0_mm + instrument.taper_mm_per_mm * x, instrument.shank_width_mm)
    density = STEEL_MG_MM3 - PLASTIC_MG_MM3 * (x > instrument.length_mm)
    steel = density * np.pi / 4 * diameter**2 * np.where(fluted, area, 1.0) * (x[1] - x[0])
    at, radius = (np.array(c) for c in zip(*instrument.handle.profile, strict=True))
    u = np.linspace(0, at[-1], 200)
    shell = PLASTIC_MG_MM3 * np.pi * np.interp(u, at, radius) ** 2 * (u[1] - u[0])
    parts = [(steel.sum(), (steel * x).sum()), (shell.sum(), (shell * (u + instrument.length_mm)).sum())]
    if instrument.stop is not None:
        stop = instrument.stop
        mass = RUBBER_MG_MM3 * np.pi / 4 * stop.diameter_mm**2 * stop.thickness_mm
        parts.append((mass, mass * (stop.from_tip_mm + stop.thickness_mm / 2)))
    mass_mg = float(sum(m for m, _ in parts))
    return Weights(mass_mg, float(sum(moment for _, moment in parts)) / mass_mg)


def rests(instrument: Instrument) -> list[Rest]:
    """Every rest pose on a plane, the lowest centre of mass first."""
    points = _profile(instrument)
    hull = _lower_hull([(x, -r, what) for x, r, what in points])
    centre = weights(instrument).centre_mm
    found = []
    for (x0, y0, what0), (x1, y1, what1) in itertools.pairwise(hull):
        length = math.hypot(x1 - x0, y1 - y0)
        foot = ((centre - x0) * (x1 - x0) - y0 * (y1 - y0)) / length
        if -1e-9 <= foot <= length + 1e-9:
            slope = math.atan2(y0 - y1, x1 - x0)
            height = (x0 * (y1 - y0) - y0 * (x1 - x0)) / length
            lift = (centre * -(y1 - y0)) / length + height
            found.append((lift, Rest(height, math.degrees(slope), (what0, what1))))
    return [rest for _, rest in sorted(found, key=lambda pair: pair[0])]


def _profile(instrument: Instrument) -> list[tuple[float, float, str]]:
    out = [
        (0.05, 0.5 * instrument.envelope_mm(0.0), "tip"),
        (instrument.length_mm, instrument.shank_width_mm / 2, "shank"),
    ]
    if instrument.stop is not None:
        stop = instrument.stop
        out += [(stop.from_tip_mm + e * stop.thickness_mm, stop.diameter_mm / 2, "stop") for e in (0.0, 1.0)]
    out += [(instrument.length_mm + u, radius, "handle") for u, radius in instrument.handle.profile]
    return out


def _lower_hull(points: list[tuple[float, float, str]]) -> list[tuple[float, float, str]]:
    """Lower convex hull, left to right (Andrew's monotone chain)."""
    hull: list[tuple[float, float, str]] = []
    for p in sorted(points, key=lambda q: (q[0], q[1])):
        while len(hull) >= 2 and _turn(hull[-2], hull[-1], p) <= 0:
            hull.pop()
        hull.append(p)
    return hull


def _turn(a: tuple[float, float, str], b: tuple[float, float, str], c: tuple[float, float, str]) -> float:
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
