"""First hit of rays with a solid: even steps through its bounding tube, then a search between two of them.

A ray that only grazes a crest may pass between two steps outside the solid, so wherever the smallest sample is near the
surface, a golden-section search looks for the dip between them (the field along a ray is convex across a crest).
"""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from samples.arrays import Array, Backend
from samples.bodies import Body
from samples.paths import Paths, paths_of

GOLDEN = (math.sqrt(5.0) - 1.0) / 2.0
NORMAL_STEP_MM = 0.0015


@dataclass(frozen=True)
class Hits:
    """`rays`: indices of the rays that hit; `points`, `normals` in the instrument's frame (three arrays each)."""

    rays: Array
    points: tuple[Array, Array, Array]
    normals: tuple[Array, Array, Array]


def first_hits(backend: Backend, body: Body, origin: Array, ray: Array) -> Hits:
    """March rays (N x 3 origins near the axis, N x 3 unit directions, mm, instrument's frame)."""
    xp = backend.xp
    begin, end, live = _interval(backend, body, origin, ray)
    rays = xp.where(live)[0]
    origin, ray, begin, end = origin[rays], ray[rays], begin[rays], end[rays]
    paths = paths_of(body, origin, ray, begin, end)
    low, high, found = _bracket(xp, body, paths, begin, end)
    rays, origin, ray, paths = rays[found], origin[found], ray[found], paths.pick(found)
    hit, slope = _refine(xp, body, paths, low[found], high[found])
    straight = paths.at(hit)
    if not body.straighten.straight:
        exact = body.straighten(*_along(origin, ray, hit))
        hit = hit - xp.clip(body.field(*exact) / slope, -0.03, 0.03)
        straight = body.straighten(*_along(origin, ray, hit))
    return Hits(rays, _along(origin, ray, hit), _bent_back(body, straight, normals_at(xp, body, straight)))


def _along(origin: Array, ray: Array, t: Array) -> tuple[Array, Array, Array]:
    return origin[:, 0] + t * ray[:, 0], origin[:, 1] + t * ray[:, 1], origin[:, 2] + t * ray[:, 2]


def _refine(xp: Any, body: Body, paths: Paths, low: Array, high: Array) -> tuple[Array, Array]:
    """Halve the bracket five times, then cut it by the chord; returns the crossing and the field's slope there."""
    outer, inner = body.field(*paths.at(low)), body.field(*paths.at(high))
    for _ in range(5):
        middle = 0.5 * (low + high)
        value = body.field(*paths.at(middle))
        inside = value < 0
        low, outer = xp.where(inside, low, middle), xp.where(inside, outer, value)
        high, inner = xp.where(inside, middle, high), xp.where(inside, value, inner)
    drop = outer - inner + 1e-9
    return low + (high - low) * outer / drop, -drop / (high - low + 1e-9)


def _bent_back(
    body: Body, straight: tuple[Array, Array, Array], normal: tuple[Array, Array, Array]
) -> tuple[Array, Array, Array]:
    """Normals of the straightened frame in the instrument's own."""
    if body.straighten.straight:
        return normal
    frame = body.straighten.frame(straight[0])
    x, y, z = (sum(normal[j] * frame[:, 3 * j + k] for j in range(3)) for k in range(3))
    return x, y, z


def _interval(backend: Backend, body: Body, origin: Array, ray: Array) -> tuple[Array, Array, Array]:
    """Entry and exit of each ray through the bounding tube, from the local frame at its origin."""
    xp = backend.xp
    near = body.straighten(origin[:, 0], origin[:, 1], origin[:, 2])
    far = body.straighten(*(origin[:, k] + 0.1 * ray[:, k] for k in range(3)))
    y, z = near[1], near[2]
    dy, dz = (far[1] - y) * 10.0, (far[2] - z) * 10.0
    bound = backend.put(body.bound(np.clip(backend.get(near[0]), body.from_mm, body.to_mm))) * 1.05
    a = dy * dy + dz * dz + 1e-9
    b, c = y * dy + z * dz, y * y + z * z - bound * bound
    inside = b * b - a * c
    root = xp.sqrt(xp.clip(inside, 0.0, None))
    beyond = (near[0] > body.from_mm - 1.0) & (near[0] < body.to_mm + 1.0)
    return (-b - root) / a, (-b + root) / a, (inside > 0) & beyond


def _bracket(xp: Any, body: Body, paths: Paths, begin: Array, end: Array) -> tuple[Array, Array, Array]:
    """Two positions on each ray, the first outside and the second inside, and which rays have such a pair."""
    step = (end - begin) / body.steps
    previous = body.field(*paths.at(begin))
    low, high = begin, begin
    found = previous < 0
    least, where = previous, begin
    for k in range(1, body.steps + 1):
        t = begin + k * step
        value = body.field(*paths.at(t))
        new = (value < 0) & ~found
        low, high = xp.where(new, t - step, low), xp.where(new, t, high)
        found = found | new
        lower = (value < least) & ~found
        least, where = xp.where(lower, value, least), xp.where(lower, t, where)
    graze = xp.where(~found & (least < 0.7 * step))[0]
    if graze.shape[0]:
        dip, deep = _dip(xp, body, paths.pick(graze), where[graze] - step[graze], where[graze] + step[graze])
        hit = graze[deep < 0]
        low[hit], high[hit], found[hit] = where[hit] - step[hit], dip[deep < 0], True
    return low, high, found


def _dip(xp: Any, body: Body, paths: Paths, low: Array, high: Array) -> tuple[Array, Array]:
    """Golden-section search for the smallest field on [low, high]; returns its place and value."""
    left, right = high - GOLDEN * (high - low), low + GOLDEN * (high - low)
    f_left, f_right = body.field(*paths.at(left)), body.field(*paths.at(right))
    for _ in range(8):
        go_left = f_left < f_right
        low, high = xp.where(go_left, low, left), xp.where(go_left, right, high)
        probe = xp.where(go_left, high - GOLDEN * (high - low), low + GOLDEN * (high - low))
        value = body.field(*paths.at(probe))
        left, right, f_left, f_right = (
            xp.where(go_left, probe, right),
            xp.where(go_left, left, probe),
            xp.where(go_left, value, f_right),
            xp.where(go_left, f_left, value),
        )
    better = f_left < f_right
    return xp.where(better, left, right), xp.where(better, f_left, f_right)


def normals_at(xp: Any, body: Body, point: tuple[Array, Array, Array]) -> tuple[Array, Array, Array]:
    """Outward unit normals by central differences, in the straightened frame."""
    x, y, z = point
    h = NORMAL_STEP_MM
    nx = body.field(x + h, y, z) - body.field(x - h, y, z)
    ny = body.field(x, y + h, z) - body.field(x, y - h, z)
    nz = body.field(x, y, z + h) - body.field(x, y, z - h)
    size = xp.sqrt(nx * nx + ny * ny + nz * nz) + 1e-12
    return nx / size, ny / size, nz / size
