"""The metal of one instrument as a field: distance from the axis minus the surface's radius, in the straight frame.

Frame: x from the present tip toward the handle, y and z across, right-handed; the angle about the axis runs from y to z.
A right-hand twist turns from y to z as x grows. The field is negative inside and has slope 1 across the axis.
"""

import math
from dataclasses import dataclass, replace

import numpy as np

from samples.arrays import Array, Backend, Floats
from samples.barbs import BarbTable, barb_table
from samples.instrument import Damage, Instrument
from samples.section import groove_profile, polygon_radius, rhombus_radius
from samples.twist import twist_rad

STEP_MM = 0.01
"""Spacing of the tables along the axis."""

COLUMNS = ("twist_rad", "radius_mm", "corner_mm", "shank_share")


@dataclass(frozen=True)
class Surface:
    """Tables of an instrument, put where `backend` computes; `table` has the columns of COLUMNS."""

    backend: Backend
    instrument: Instrument
    table: Array
    groove: Array | None
    barbs: BarbTable | None
    chips: tuple[tuple[float, float, float, float], ...]
    lumps: tuple[tuple[float, float, float], ...] = ()
    break_plane: tuple[float, float, float] | None = None

    def radius(self, x: Array, angle: Array) -> Array:
        """Distance from the axis to the surface, mm, at x (mm) and angle (rad); barbs left out."""
        xp = self.backend.xp
        row = self.backend.sample(self.table, x / STEP_MM)
        hand = 1.0 if self.instrument.twist_hand == "right" else -1.0
        turned = hand * angle - row[:, 0]
        radius = self._section(turned, row[:, 1], row[:, 2])
        for centre, half, edge, depth in self.chips:
            off = turned - edge
            off = off - 2 * math.pi * xp.round(off / (2 * math.pi))
            radius = radius - depth * xp.exp(-(((x - centre) / half) ** 4)) * xp.exp(-((off / 0.25) ** 4))
        shank = 0.5 * self.instrument.shank_width_mm
        radius = radius * (1.0 - row[:, 3]) + shank * row[:, 3]
        if self.instrument.tip_kind == "cone":
            radius = xp.where(radius < self._cone(x), radius, self._cone(x))
        return radius

    def _cone(self, x: Array) -> Array:
        slope = math.tan(math.radians(self.instrument.tip_angle_deg) / 2.0)
        return slope * (self.backend.xp.clip(x, 0.0, None) + self.instrument.lost_mm) + self.instrument.tip_blunt_mm

    def _section(self, turned: Array, radius: Array, corner: Array) -> Array:
        xp, kind = self.backend.xp, self.instrument.cross_section
        if kind == "square":
            return polygon_radius(xp, turned, radius, corner, 4)
        if kind == "triangle":
            return polygon_radius(xp, turned, radius, corner, 3)
        if kind == "rhombus":
            return rhombus_radius(xp, turned, radius, corner, self.instrument.rhombus_ratio)
        if self.groove is None:
            return radius
        turns = -turned / (2.0 * math.pi)
        rise = self.backend.sample(self.groove, (turns - xp.floor(turns)) * (self.groove.shape[0] - 1))
        return radius * (self.instrument.core_ratio + (1.0 - self.instrument.core_ratio) * rise)

    def field(self, x: Array, y: Array, z: Array) -> Array:
        """Signed field in mm at points of the straight frame; the end is a plane, skew where a tip broke."""
        xp = self.backend.xp
        across = xp.sqrt(y * y + z * z)
        angle = xp.arctan2(z, y)
        out = across - self.radius(x, angle)
        for lump in self.lumps:
            out = out - self._lump(lump, x, across, angle)
        if self.barbs is not None:
            out = self.barbs.join(self.backend, out, x, across, angle)
        end = -x if self.break_plane is None else self._broken(x, y, z, self.break_plane)
        return xp.where(out > end, out, end)

    def _lump(self, lump: tuple[float, float, float], x: Array, across: Array, angle: Array) -> Array:
        """Height of stuck debris: a low dome of radius lump[2] about (x, angle)."""
        xp = self.backend.xp
        turn = angle - lump[1]
        round_mm = (turn - 2 * math.pi * xp.round(turn / (2 * math.pi))) * across
        far = ((x - lump[0]) ** 2 + round_mm**2) / lump[2] ** 2
        return 0.35 * lump[2] * xp.clip(1.0 - far, 0.0, None)

    @staticmethod
    def _broken(x: Array, y: Array, z: Array, plane: tuple[float, float, float]) -> Array:
        return plane[0] * y + plane[1] * z + plane[2] - x

    def bound_mm(self, x: Floats) -> Floats:
        """Radius that no point of the metal at x exceeds."""
        metal = np.maximum(
            0.5 * self.instrument.shank_width_mm * (x > self.instrument.working_part_mm - self.instrument.runout_mm),
            0.5 * self.instrument.envelope_mm(1.0) + 0.5 * self.instrument.taper_mm_per_mm * (x - 1.0),
        )
        tallest = max((b.height_mm for b in self.instrument.barbs), default=0.0)
        lump = max((lump[2] for lump in self.lumps), default=0.0)
        return np.asarray(metal + 1.2 * tallest + 0.35 * lump + 0.003)


def surface_of(instrument: Instrument, backend: Backend) -> Surface:
    """Work out the tables of an instrument."""
    x = np.arange(math.ceil(instrument.length_mm / STEP_MM) + 2) * STEP_MM
    table = np.stack(
        [twist_rad(instrument, x), *_radius_and_corner(instrument, x), _shank_share(instrument, x)], axis=1
    )
    grooved = instrument.cross_section == "round" and instrument.twist is not None
    profile = np.array(groove_profile(instrument.steep_share, instrument.crest_share))
    chips = tuple(
        (
            0.5 * (d.from_mm + d.to_mm),
            0.5 * (d.to_mm - d.from_mm),
            math.radians(d.angle_deg),
            _chip_depth(instrument, d),
        )
        for d in instrument.damage
        if d.kind == "crest-chipped"
    )
    surface = Surface(
        backend,
        instrument,
        backend.put(table),
        backend.put(profile) if grooved else None,
        barb_table(instrument, backend) if instrument.barbs else None,
        chips,
        tuple(
            (0.5 * (m.from_mm + m.to_mm), math.radians(m.angle_deg), 1.2 * math.sqrt(m.strength / math.pi))
            for m in instrument.marks
            if m.kind == "debris"
        ),
    )
    return _with_break(surface)


def _with_break(surface: Surface) -> Surface:
    """Cut the end by the skew plane of a lost tip or a bevel, so placed that the foremost point of the metal stays at x = 0."""
    backend = surface.backend
    ends = [(d.skew_deg, d.angle_deg) for d in surface.instrument.damage if d.kind == "tip-lost"]
    skew_deg, toward_deg = (*ends, (surface.instrument.bevel_deg, 0.0))[0]
    if skew_deg == 0.0:
        return surface
    slope, toward = math.tan(math.radians(skew_deg)), math.radians(toward_deg)
    angle = np.linspace(0, 2 * math.pi, 720, endpoint=False)
    radius = backend.get(surface.radius(backend.put(0 * angle), backend.put(angle)))
    foremost = float(np.max(-radius * np.cos(angle - toward)))
    return replace(surface, break_plane=(slope * math.cos(toward), slope * math.sin(toward), slope * foremost))


def _chip_depth(instrument: Instrument, damage: Damage) -> float:
    middle = 0.5 * (damage.from_mm + damage.to_mm)
    swing = {"square": 1 - 0.5**0.5, "triangle": 0.5, "rhombus": 1 - instrument.rhombus_ratio}
    share: float = swing.get(instrument.cross_section, 1 - instrument.core_ratio)
    return share * 0.5 * instrument.envelope_mm(middle) * damage.strength / 100.0


def _radius_and_corner(instrument: Instrument, x: Floats) -> tuple[Floats, Floats]:
    """Enclosing radius and corner radius at x; wear rounds the corners and leaves the faces where they were."""
    radius = 0.5 * (instrument.d0_mm + instrument.taper_mm_per_mm * x)
    corner = np.full_like(x, instrument.corner_um / 1000.0)
    if instrument.cross_section in ("square", "triangle"):
        half = math.pi / (4 if instrument.cross_section == "square" else 3)
        for d in instrument.damage:
            if d.kind == "worn":
                inside = np.clip((x - d.from_mm) / 0.3, 0, 1) * np.clip((d.to_mm - x) / 0.3, 0, 1)
                grown = inside * max(d.strength / 1000.0 - instrument.corner_um / 1000.0, 0.0)
                grown = np.minimum(grown, 0.6 * radius - corner)
                corner = corner + grown
                radius = radius - grown * (1.0 / math.cos(half) - 1.0)
    if instrument.tip_kind == "pyramid":
        slope = math.tan(math.radians(instrument.tip_angle_deg) / 2.0)
        tip = slope * (x + instrument.lost_mm) + instrument.tip_blunt_mm
        radius = np.minimum(radius, tip)
    return radius, np.minimum(corner, 0.95 * radius)


def _shank_share(instrument: Instrument, x: Floats) -> Floats:
    """0 on the working part, 1 on the smooth shank; one half exactly at the end of the working part."""
    if not _fluted(instrument):
        return np.clip((x - instrument.working_part_mm - 0.3) / 0.1, 0.0, 1.0)
    u = np.clip((x - instrument.working_part_mm) / instrument.runout_mm + 0.5, 0.0, 1.0)
    return u * u * (3.0 - 2.0 * u)


def _fluted(instrument: Instrument) -> bool:
    return instrument.twist is not None
