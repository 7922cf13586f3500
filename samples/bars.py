"""An instrument as straight pieces of round bar, which is what shades the sheet and throws light on it."""

from dataclasses import dataclass

import numpy as np

from samples.arrays import Floats
from samples.bodies import Placed
from samples.instrument import Instrument


@dataclass(frozen=True)
class Bar:
    """A straight piece of round bar: ends and radius in mm, sheet coordinates. `reflects`: its reflectance, of metal at
    normal incidence; `alpha`: the metal's roughness, None for plastic, which scatters."""

    start: Floats
    end: Floats
    radius_mm: float
    reflects: tuple[float, float, float]
    alpha: float | None = None

    @property
    def height_mm(self) -> float:
        """Height of the middle of its axis above the sheet; kept off zero, where it is divided by."""
        return max(float(0.5 * (self.start[2] + self.end[2])), 1e-3)


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
        Bar(points[k], points[k + 1], float(np.mean(part)), instrument.finish.f0, instrument.finish.alpha)
        for k, part in enumerate(np.split(radius, pieces))
    ]
    for body in placed.bodies[1:]:
        cuts = np.linspace(body.from_mm, body.to_mm, 7 if body.name == "handle" else 2)
        where = placed.axis_points(cuts)
        profile = np.array(instrument.handle.profile)
        for k in range(len(cuts) - 1):
            middle = 0.5 * (cuts[k] + cuts[k + 1]) - body.from_mm
            wide = np.interp(middle, *profile.T) if body.name == "handle" else body.bound(cuts[:1])[0]
            bars.append(Bar(where[k], where[k + 1], float(wide), _colour(instrument, body.name)))
    return bars


def _colour(instrument: Instrument, name: str) -> tuple[float, float, float]:
    return instrument.stop.rgb if name == "stop" and instrument.stop is not None else instrument.handle.rgb
