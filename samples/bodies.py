"""The solids of a placed instrument, each as a field that rays can be marched through."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from samples.arrays import Array, Backend, Floats
from samples.centreline import Centreline, Straightener, centreline_of
from samples.instrument import Instrument
from samples.pose import Pose
from samples.surface import Surface, surface_of

PROFILE_STEP_MM = 0.02

CONVEX_STEPS, GROOVE_STEPS, BARB_STEPS = 9, 20, 28
"""Samples along a ray; metal that is not convex needs more."""


@dataclass(frozen=True)
class Body:
    """One solid: `field` of points of the straightened frame, `straighten` into it from the instrument's own, `bound`
    radius over s (for rays), s range in mm. `hollow`: it has grooves deep enough to mirror itself.
    """

    name: str
    field: Callable[[Array, Array, Array], Array]
    straighten: Straightener
    bound: Callable[[Floats], Floats]
    from_mm: float
    to_mm: float
    steps: int
    supersample: int
    hollow: bool = False


@dataclass(frozen=True)
class Placed:
    """An instrument in its pose with everything that tracing, shadows and truth need."""

    instrument: Instrument
    pose: Pose
    line: Centreline
    surface: Surface
    bodies: tuple[Body, ...]

    def axis_points(self, s_mm: Floats) -> Floats:
        """Points of the axis in sheet coordinates, mm, M x 3."""
        return self.pose.to_sheet(self.line.at(s_mm)[0])


def place(instrument: Instrument, pose: Pose, backend: Backend, supersample: int = 3) -> Placed:
    """Build the solids: metal, handle, stop."""
    line, surface = centreline_of(instrument), surface_of(instrument, backend)
    straighten = Straightener.of(line, backend)

    steps = BARB_STEPS if instrument.barbs else GROOVE_STEPS if surface.groove is not None else CONVEX_STEPS
    bodies = [
        Body(
            "metal",
            surface.field,
            straighten,
            surface.bound_mm,
            0.0,
            instrument.length_mm + 0.05,
            steps,
            supersample,
            steps > CONVEX_STEPS,
        ),
        _turned("handle", backend, straighten, instrument.length_mm, instrument.handle.profile, supersample - 1),
    ]
    if instrument.stop is not None:
        stop, thick = instrument.stop, instrument.stop.thickness_mm
        r, e = stop.diameter_mm / 2, 0.12
        profile = ((0.0, r - e), (e, r), (thick - e, r), (thick, r - e))
        bodies.append(_turned("stop", backend, straighten, stop.from_tip_mm, profile, supersample - 1))
    return Placed(instrument, pose, line, surface, tuple(bodies))


def _turned(
    name: str,
    backend: Backend,
    straighten: Straightener,
    from_mm: float,
    profile: tuple[tuple[float, float], ...],
    supersample: int,
) -> Body:
    """A solid of revolution about the axis with `profile` (mm from its front, radius mm)."""
    xp = backend.xp
    at, radius = (np.array(c) for c in zip(*profile, strict=True))
    grid = np.arange(0.0, at[-1] + PROFILE_STEP_MM, PROFILE_STEP_MM)
    table = backend.put(np.interp(grid, at, radius))
    length = float(at[-1])

    def field(x: Array, y: Array, z: Array) -> Array:
        u = x - from_mm
        out = xp.sqrt(y * y + z * z) - backend.sample(table, u / PROFILE_STEP_MM)
        ends = xp.abs(u - 0.5 * length) - 0.5 * length
        return xp.where(out > ends, out, ends)

    def bound(s: Floats) -> Floats:
        return np.full_like(s, radius.max() + 0.01)

    return Body(name, field, straighten, bound, from_mm, from_mm + length, 16, max(supersample, 2))
