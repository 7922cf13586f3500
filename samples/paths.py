"""Rays as they run in the straightened frame of a bent instrument: three smooth functions of the distance along the ray.

A tube is so thin against the radius of its bend that a parabola through three straightened points of the ray is within
1 um of the true path for bend radii above 5 mm; hits near a kink are corrected once with the exact map.
"""

from dataclasses import dataclass

from samples.arrays import Array
from samples.bodies import Body

Triple = tuple[Array, Array, Array]


@dataclass(frozen=True)
class Paths:
    """x, y, z of N rays as constant + slope t + bend t^2; `bend` is None where the axis is straight."""

    constant: Triple
    slope: Triple
    bend: Triple | None

    def at(self, t: Array) -> Triple:
        """Straightened points at distances t (N) along the rays."""
        if self.bend is None:
            x, y, z = (c + t * s for c, s in zip(self.constant, self.slope, strict=True))
            return x, y, z
        x, y, z = (c + t * (s + t * b) for c, s, b in zip(self.constant, self.slope, self.bend, strict=True))
        return x, y, z

    def pick(self, index: Array) -> "Paths":
        """The same for some of the rays (indices or a mask)."""
        bend = None if self.bend is None else _pick(self.bend, index)
        return Paths(_pick(self.constant, index), _pick(self.slope, index), bend)


def _pick(triple: Triple, index: Array) -> Triple:
    return triple[0][index], triple[1][index], triple[2][index]


def paths_of(body: Body, origin: Array, ray: Array, between: tuple[Array, Array], straightened: list[Triple]) -> Paths:
    """Paths of rays (N x 3 origins and unit directions, instrument's frame) between two distances; `straightened`: their
    points at the first, half-way and at the second.
    """
    if body.straighten.straight:
        return Paths(_columns(origin), _columns(ray), None)
    half = 0.5 * (between[1] - between[0])
    middle = between[0] + half
    low, mid, high = straightened
    constant, slope, bend = [], [], []
    for a, m, b in zip(low, mid, high, strict=True):
        second = 0.5 * (a + b - 2.0 * m) / (half * half)
        first = 0.5 * (b - a) / half
        constant.append(m - first * middle + second * middle * middle)
        slope.append(first - 2.0 * second * middle)
        bend.append(second)
    return Paths(tuple(constant), tuple(slope), tuple(bend))


def _columns(a: Array) -> Triple:
    return a[:, 0], a[:, 1], a[:, 2]
