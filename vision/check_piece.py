"""Stage 6i: Photo, Scale, Candidates, a known diameter -> the check piece's bias.

A straight smooth wire or pin of known diameter lies beside the instruments and is measured by the same code: outline
model, mapping, robust envelope. What it reads too much or too little is shown as a laboratory shows a check standard.
E_n = (measured - known) / sqrt(U_measured^2 + U_known^2) with U = 2 u (ISO/IEC 17043, from memory); beyond 1 the bias is
more than the budget explains.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.axis import Axis, trace_axis
from vision.edges import Edges, locate_edges
from vision.envelope import Cone, along_edges
from vision.errors import PhotoError
from vision.find import Candidate
from vision.outline import CORRELATED_MM
from vision.photo import Photo
from vision.place import Profile, to_profile
from vision.plane import Plane
from vision.pose import ON_PLANE, Height
from vision.quantity import Quantity, combined
from vision.reading import CheckReading
from vision.scale import Scale
from vision.width_budget import DOUBT_SHARE, SHANK_THIN_PX, edge_u_px

Array = NDArray[np.floating[Any]]
GAP_MM = 0.10  # a bare wire lies on the paper or up to this much above it, where the sheet is not flat
CLEAR_MM, LEAST_MM, LEAST_SEEN = 1.5, 6.0, 0.7  # kept off both ends; shortest stretch; share of it seen on both edges
MOST_TAPER, MOST_BOW, MOST_ROUGH = 0.003, 0.02, 0.05  # mm a mm; of the length; of the diameter
NEAR_MM, NEAR_SHARE = 0.06, 0.15  # a wire this near the stated diameter is taken for it; renders read up to 0.06 mm off
COVERAGE_K = 2.0


@dataclass(frozen=True)
class KnownWire:
    """The diameter that the user states for the check piece, with its standard uncertainty, mm."""

    diameter_mm: float
    u_mm: float


@dataclass(frozen=True)
class Wire:
    """One bare thing on the sheet, measured as a cylinder: diameter, slope of its width, roughness, and bow over length."""

    candidate: Candidate
    diameter_mm: Quantity
    taper: float
    rough_mm: float
    bow: float
    box_px: tuple[int, int, int, int]

    @property
    def is_smooth(self) -> bool:
        """Whether it is straight, of one thickness and without flutes."""
        thick = abs(self.diameter_mm.value)
        return abs(self.taper) < MOST_TAPER and self.bow < MOST_BOW and self.rough_mm < MOST_ROUGH * thick


def check_against(
    photo: Photo, scale: Scale, plane: Plane, candidates: Sequence[Candidate], known: KnownWire
) -> tuple[CheckReading, Candidate]:
    """Find the check piece among the candidates and compare it with what is known of it.

    Raises PhotoError ``check-piece`` when no bare smooth wire lies near the stated diameter, or more than one does.
    """
    bare = [one for one in candidates if not one.handle.any() and not one.stop.any()]
    wires = [wire for one in bare if (wire := measure_wire(photo, scale, plane, one)) is not None]
    wire = pick(wires, known)
    return compare(wire.diameter_mm, known, wire.box_px), wire.candidate


def pick(wires: Sequence[Wire], known: KnownWire) -> Wire:
    """Return the one smooth wire near the known diameter. Raises PhotoError when none or several are."""
    reach = max(NEAR_MM, NEAR_SHARE * known.diameter_mm)
    smooth = [wire for wire in wires if wire.is_smooth]
    fitting = [wire for wire in smooth if abs(wire.diameter_mm.value - known.diameter_mm) < reach]
    if len(fitting) == 1:
        return fitting[0]
    stated, tolerance = f"{known.diameter_mm:.3f} mm", f"{reach:.2f} mm"
    if fitting:
        widths = ", ".join(f"{wire.diameter_mm.value:.3f} mm" for wire in fitting)
        raise PhotoError(
            "check-piece",
            f"{len(fitting)} bare smooth wires lie within {tolerance} of the stated {stated} ({widths}), needs exactly one: "
            "take the others off the sheet and photograph again",
        )
    seen = ", ".join(f"{wire.diameter_mm.value:.3f} mm{'' if wire.is_smooth else ' (not smooth or not straight)'}" for wire in wires)
    raise PhotoError(
        "check-piece",
        f"found no straight smooth wire without handle within {tolerance} of the stated {stated} (bare things seen: "
        f"{seen or 'none'}): lay the whole wire on a white lane, clear of the rest, or leave out --check-wire",
    )


def compare(measured: Quantity, known: KnownWire, box_px: tuple[int, int, int, int]) -> CheckReading:
    """Return bias and E_n of a check piece."""
    bias = measured.value - known.diameter_mm
    u = math.hypot(measured.u, known.u_mm)
    e_n = bias / (COVERAGE_K * u) if u > 0.0 else math.inf
    return CheckReading(Quantity(known.diameter_mm, known.u_mm), measured, Quantity(bias, u), e_n, box_px)


def measure_wire(photo: Photo, scale: Scale, plane: Plane, candidate: Candidate) -> Wire | None:
    """Measure a bare candidate as a cylinder lying on the sheet; None when it has no outline to measure."""
    axis = trace_axis(plane, scale, candidate)
    if axis is None:
        return None
    middle = axis.px[len(axis.px) // 2]
    scale_at = scale.px_per_mm_at((float(middle[0]), float(middle[1])))
    edges = locate_edges(photo, axis, scale_at.value)
    profile = _lying(edges, axis, scale, scale_at.value)
    part = _clear_part(profile, axis)
    if part is None:
        return None
    cone = along_edges(
        profile.x_mm[part],
        profile.upper_mm[part],
        profile.lower_mm[part],
        barbs=False,
        correlated_points=CORRELATED_MM * profile.px_per_mm,
    )
    if cone is None:
        return None
    return Wire(
        candidate,
        _diameter(cone, profile, edges, scale_at),
        cone.taper,
        cone.misfit_mm,
        _bow(profile, part),
        _box(edges.strip.axis_px[part]),
    )


def _lying(edges: Edges, axis: Axis, scale: Scale, px_per_mm: float) -> Profile:
    """Bring the outline to mm for a wire that lies on the sheet: its axis is half its own thickness up."""
    ends = (float(axis.tip_index or 0), float(axis.front_index if axis.front_index is not None else len(axis.px) - 1))
    if scale.sheet is None:
        return to_profile(edges, scale, ON_PLANE, *ends)
    width = (edges.upper_px - edges.lower_px) / px_per_mm
    thick = float(np.nanmedian(width)) if np.isfinite(width).any() else 0.5
    rise, u = thick / 2.0 + GAP_MM / 2.0, GAP_MM / math.sqrt(12.0)
    return to_profile(edges, scale, Height(rise, rise, u, u, 1.0, "lying on the sheet"), *ends)


def _clear_part(profile: Profile, axis: Axis) -> slice | None:
    """Columns clear of both ends; None when they are short or too little of them is seen."""
    first, last = axis.tip_index or 0, axis.front_index if axis.front_index is not None else len(profile.x_mm) - 1
    low, high = sorted((first, min(last, len(profile.x_mm) - 1)))
    inside = (profile.x_mm > profile.x_mm[low] + CLEAR_MM) & (profile.x_mm < profile.x_mm[high] - CLEAR_MM)
    at = np.flatnonzero(inside)
    if len(at) < 2 or profile.x_mm[at[-1]] - profile.x_mm[at[0]] < LEAST_MM:
        return None
    part = slice(int(at[0]), int(at[-1]) + 1)
    seen = np.isfinite(profile.upper_mm[part]) & np.isfinite(profile.lower_mm[part])
    return part if seen.mean() > LEAST_SEEN else None


def _diameter(cone: Cone, profile: Profile, edges: Edges, scale_at: Quantity) -> Quantity:
    """Diameter at the middle, the outline's known thinness put right, with the labels of every width."""
    value = cone.diameter_mm(cone.middle_mm) + 2.0 * SHANK_THIN_PX / profile.px_per_mm
    edge_px = edge_u_px(edges.spread_px, edges.row_px) + DOUBT_SHARE * edges.doubt_px + edges.smoothed_px
    sheet = scale_at.parts or (("scale", scale_at.u),)
    parts = [(label, value * u / scale_at.value) for label, u in sheet]
    parts += [("height", value * profile.magnification_u), ("edge model", 2.0 * edge_px / profile.px_per_mm)]
    return combined(value, [*parts, ("fit", math.hypot(cone.u_middle_mm, cone.misfit_mm))])


def _bow(profile: Profile, part: slice) -> float:
    """How far the middle line leaves its chord, over the length."""
    x, middle = profile.x_mm[part], (profile.upper_mm[part] + profile.lower_mm[part]) / 2.0
    good = np.isfinite(middle)
    line = np.polynomial.Polynomial.fit(x[good], middle[good], 2)
    away = line(x) - np.interp(x, [x[0], x[-1]], [line(x[0]), line(x[-1])])
    return float(np.abs(away).max() / (x[-1] - x[0]))


def _box(points: Array) -> tuple[int, int, int, int]:
    low, high = np.floor(points.min(axis=0)).astype(int), np.ceil(points.max(axis=0)).astype(int)
    return int(low[0]), int(low[1]), int(high[0] - low[0]), int(high[1] - low[1])
