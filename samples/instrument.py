"""What one instrument is: plain numbers, no pixels.

Positions x are in mm from the present end of the metal along the (possibly curved) axis. `blank` numbers describe the
instrument as made; a lost tip shifts them (`lost_mm`).
"""

from dataclasses import dataclass, field
from typing import Literal

Family = Literal["k-file", "reamer", "hedstroem-file", "barbed-broach", "spreader", "plugger", "paste-carrier", "other"]
CrossSection = Literal["square", "triangle", "rhombus", "round"]
Population = Literal["nominal", "wide", "free"]

SIDES = {"square": 4, "triangle": 3, "rhombus": 4}
"""Corners of each twisted blank; the rhombus has two high and two low ones."""


@dataclass(frozen=True)
class Twist:
    """How the blank turns. `pitch_mm` is the spacing of successive crests at x = 8 mm of the blank as made.

    drift: relative change of pitch per mm (0 = constant pitch). `scatter_deg` is the rms of a smooth random deviation
    with correlation length `scatter_length_mm`.
    """

    pitch_mm: float
    drift_per_mm: float = 0.0
    scatter_deg: float = 0.0
    scatter_length_mm: float = 2.0
    start_deg: float = 0.0
    seed: int = 0


@dataclass(frozen=True)
class Damage:
    """One damage; `kind` and the unit of `strength` are those of a reading's findings.

    `angle_deg` is the direction of a kink about the axis, or the edge that is chipped.
    `bend_radius_mm` is that of a kink's curve along the axis; `skew_deg` that of a broken end against square.
    """

    kind: str
    from_mm: float
    to_mm: float
    strength: float
    angle_deg: float = 0.0
    bend_radius_mm: float = 0.6
    skew_deg: float = 0.0
    seed: int = 0


@dataclass(frozen=True)
class Arc:
    """A gentle curve over [from_mm, to_mm] towards `angle_deg` about the axis."""

    radius_mm: float
    from_mm: float
    to_mm: float
    angle_deg: float = 0.0


@dataclass(frozen=True)
class Barb:
    """A sliver cut and lifted from the wire: rooted at `x_mm`, pointing to the handle, over the notch that it left.

    `notch`: how deep the notch is, in shares of NOTCH times the sliver's thickness; `lying`: height of a folded barb
    against that of a lifted one.
    """

    x_mm: float
    angle_deg: float
    length_mm: float
    height_mm: float
    width_mm: float
    thickness_mm: float
    folded: bool = False
    missing: bool = False
    notch: float = 1.0
    lying: float = 0.12


@dataclass(frozen=True)
class Handle:
    """A plastic handle; `profile` holds (mm behind the front face, radius mm).

    `colour` is what it looks like now, `moulded` what it was made in (None: the same); `faded`: share of the colour
    that is gone, 0 to 1.
    """

    colour: str
    shape: str
    rgb: tuple[float, float, float]
    profile: tuple[tuple[float, float], ...]
    moulded: str | None = None
    faded: float = 0.0

    @property
    def moulded_colour(self) -> str:
        """Name of the colour it was made in."""
        return self.moulded or self.colour

    @property
    def diameter_mm(self) -> float:
        """Largest thickness."""
        return 2.0 * max(radius for _, radius in self.profile)

    @property
    def length_mm(self) -> float:
        """Front face to end."""
        return self.profile[-1][0]


@dataclass(frozen=True)
class Stop:
    """A rubber disc on the shaft; `from_tip_mm` is its face toward the tip."""

    from_tip_mm: float
    diameter_mm: float
    thickness_mm: float
    rgb: tuple[float, float, float]


@dataclass(frozen=True)
class Finish:
    """Look of the metal: reflectance at normal incidence (r, g, b), roughness (GGX alpha) and grinding marks."""

    f0: tuple[float, float, float] = (0.60, 0.585, 0.56)
    alpha: float = 0.12
    grind: float = 0.04
    grind_period_mm: float = 0.02


@dataclass(frozen=True)
class Instrument:
    """A hand instrument lying along x, tip at 0. Lengths in mm, corner radius in um.

    `size`: the ISO number that it was made to be, 0 for none. `population`: what it was drawn from. `stranger`:
    what it is when it is none of the four families.
    `marks` are look-alikes of damage that do no harm: kind 'scratch' (strength: slant, deg) or 'debris' (mm2).
    `bevel_deg`: a ground end, against square, as on a needle.
    """

    family: Family
    size: int
    cross_section: CrossSection
    blank_d0_mm: float
    taper_mm_per_mm: float
    blank_length_mm: float
    blank_working_part_mm: float
    shank_width_mm: float
    twist: Twist | None
    handle: Handle
    stop: Stop | None = None
    twist_hand: Literal["right", "left"] = "right"
    corner_um: float = 6.0
    rhombus_ratio: float = 0.7
    core_ratio: float = 0.5
    steep_share: float = 0.12
    crest_share: float = 0.01
    runout_mm: float = 0.8
    tip_angle_deg: float = 75.0
    tip_kind: Literal["cone", "pyramid"] = "pyramid"
    tip_blunt_mm: float = 0.008
    barbs: tuple[Barb, ...] = ()
    damage: tuple[Damage, ...] = ()
    marks: tuple[Damage, ...] = ()
    bevel_deg: float = 0.0
    pre_curve: Arc | None = None
    bow: Arc | None = None
    finish: Finish = field(default_factory=Finish)
    population: Population = "nominal"
    stranger: str | None = None

    @property
    def number(self) -> int:
        """ISO number nearest to the blank's D0: the size where there is one, else D0 in hundredths of a millimetre."""
        return self.size or round(100.0 * self.blank_d0_mm)

    @property
    def lost_mm(self) -> float:
        """Metal missing from the tip."""
        return sum(d.strength for d in self.damage if d.kind == "tip-lost")

    @property
    def length_mm(self) -> float:
        """Present end to handle front, along the axis."""
        return self.blank_length_mm - self.lost_mm

    @property
    def working_part_mm(self) -> float:
        """Present end to where the crests' swing has fallen to half; for a broach to the last barb."""
        return self.blank_working_part_mm - self.lost_mm

    @property
    def d0_mm(self) -> float:
        """Diameter of the crest envelope at the present end."""
        return self.blank_d0_mm + self.taper_mm_per_mm * self.lost_mm

    def envelope_mm(self, x_mm: float) -> float:
        """Diameter of the enclosing circle's taper line at x."""
        return self.d0_mm + self.taper_mm_per_mm * x_mm
