"""First hit of rays with a solid: even steps through its bounding tube, then a search between two of them.

A ray that only grazes a crest may pass between two steps outside the solid, so wherever the smallest sample is near the
surface, a golden-section search looks for the dip between them (the field along a ray is convex across a crest).
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from samples.arrays import Array, Backend
from samples.bodies import Body
from samples.paths import Paths, Triple, paths_of

GOLDEN = (math.sqrt(5.0) - 1.0) / 2.0
NORMAL_STEP_MM = 0.0015
BOUND_ROWS = 4001


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
    paths = _paths(backend, body, origin, ray, begin, end)
    low, high, found = _bracket(backend, body, paths, begin, end)
    found = xp.where(found)[0]
    rays, origin, ray, paths = rays[found], origin[found], ray[found], paths.pick(found)
    hit, slope = _refine(backend, body, paths, low[found], high[found])
    straight = paths.at(hit)
    if not body.straighten.straight:
        exact = body.straighten(*_along(origin, ray, hit))
        hit = hit - xp.clip(body.field(*exact) / slope, -0.03, 0.03)
        straight = body.straighten(*_along(origin, ray, hit))
    return Hits(rays, _along(origin, ray, hit), _bent_back(body, straight, normals_at(backend, body, straight)))


def _paths(backend: Backend, body: Body, origin: Array, ray: Array, begin: Array, end: Array) -> Paths:
    middle = begin + 0.5 * (end - begin)
    points = straightened(backend, body, [_along(origin, ray, t) for t in (begin, middle, end)])
    return paths_of(body, origin, ray, (begin, end), points)


def _along(origin: Array, ray: Array, t: Array | float) -> tuple[Array, Array, Array]:
    return origin[:, 0] + t * ray[:, 0], origin[:, 1] + t * ray[:, 1], origin[:, 2] + t * ray[:, 2]


def _refine(backend: Backend, body: Body, paths: Paths, low: Array, high: Array) -> tuple[Array, Array]:
    """Narrow the bracket 32 times, then cut it by the chord; returns the crossing and the field's slope there."""
    narrowed = _halved if backend.xp is np else _divided
    low, high, outer, inner = narrowed(backend, body, paths, low, high)
    drop = outer - inner + 1e-9
    return low + (high - low) * outer / drop, -drop / (high - low + 1e-9)


def _halved(backend: Backend, body: Body, paths: Paths, low: Array, high: Array) -> tuple[Array, Array, Array, Array]:
    """Halve the bracket five times; returns its ends and the field there."""
    xp = backend.xp
    outer, inner = body.field(*paths.at(low)), body.field(*paths.at(high))
    for _ in range(5):
        middle = 0.5 * (low + high)
        value = body.field(*paths.at(middle))
        inside = value < 0
        low, outer = xp.where(inside, low, middle), xp.where(inside, outer, value)
        high, inner = xp.where(inside, middle, high), xp.where(inside, value, inner)
    return low, high, outer, inner


def _divided(backend: Backend, body: Body, paths: Paths, low: Array, high: Array) -> tuple[Array, Array, Array, Array]:
    """The same in two steps, each of many places at once: into eight parts, then into four."""
    for parts in (8, 4):
        part = (high - low) / parts
        values = backend.xp.stack(_fields_along(backend, body, paths, [low + k * part for k in range(parts + 1)]))
        first = backend.xp.clip((1 * (values[1:] < 0)).argmax(0), 0, parts - 1)
        outer, inner = (values.take_along_dim(at[None], 0)[0] for at in (first, first + 1))
        low, high = low + first * part, low + (first + 1) * part
    return low, high, outer, inner


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
    near, far = straightened(backend, body, [_along(origin, ray, 0.0), _along(origin, ray, 0.1)])
    y, z = near[1], near[2]
    dy, dz = (far[1] - y) * 10.0, (far[2] - z) * 10.0
    bound = _bound(backend, body, near[0]) * 1.05
    a = dy * dy + dz * dz + 1e-9
    b, c = y * dy + z * dz, y * y + z * z - bound * bound
    inside = b * b - a * c
    root = xp.sqrt(xp.clip(inside, 0.0, None))
    beyond = (near[0] > body.from_mm - 1.0) & (near[0] < body.to_mm + 1.0)
    return (-b - root) / a, (-b + root) / a, (inside > 0) & beyond


def _bound(backend: Backend, body: Body, x: Array) -> Array:
    """The bounding radius at x (N), mm; tabulated where fetching x would keep the device waiting."""
    if backend.xp is np:
        return backend.put(body.bound(np.clip(x, body.from_mm, body.to_mm)))
    at = np.linspace(body.from_mm, body.to_mm, BOUND_ROWS)
    table = body.bound(at)
    table[1:-1] = np.maximum(table[1:-1], np.maximum(table[:-2], table[2:]))
    return backend.sample(backend.put(table), (x - body.from_mm) * ((BOUND_ROWS - 1) / (body.to_mm - body.from_mm)))


def fields(backend: Backend, body: Body, points: list[Triple]) -> list[Array]:
    """The field at several sets of points (N each), in as few calls as `backend` likes."""
    return [value for (value,) in _together(backend, lambda *p: (body.field(*p),), points)]


def straightened(backend: Backend, body: Body, points: list[Triple]) -> list[Triple]:
    """Several sets of points (N each) in the straight frame, in as few calls as `backend` likes."""
    if body.straighten.straight:
        return points
    return _together(backend, body.straighten, points)


def _together(backend: Backend, work: Callable[..., Any], points: list[Triple]) -> list[Any]:
    """`work` (three arrays to several) on each set of points; as many sets at once as the backend is wide."""
    count = points[0][0].shape[0]
    together = max(backend.wide // max(count, 1), 1)
    if together == 1 or len(points) == 1:
        return [work(*p) for p in points]
    out: list[Any] = []
    for first in range(0, len(points), together):
        some = points[first : first + together]
        parts = work(*(backend.xp.concatenate(list(column)) for column in zip(*some, strict=True)))
        out.extend(zip(*(part.reshape(len(some), count) for part in parts), strict=True))
    return out


def _fields_along(backend: Backend, body: Body, paths: Paths, places: list[Array]) -> list[Array]:
    """The field on every path at several distances (N each)."""
    together = max(backend.wide // max(places[0].shape[0], 1), 1)
    if together == 1:
        return [body.field(*paths.at(t)) for t in places]
    out: list[Array] = []
    for first in range(0, len(places), together):
        t = backend.xp.stack(places[first : first + together])
        out.extend(body.field(*(column.reshape(-1) for column in paths.at(t))).reshape(t.shape))
    return out


def _bracket(backend: Backend, body: Body, paths: Paths, begin: Array, end: Array) -> tuple[Array, Array, Array]:
    """Two positions on each ray, the first outside and the second inside, and which rays have such a pair."""
    xp = backend.xp
    step = (end - begin) / body.steps
    along = [begin + k * step for k in range(body.steps + 1)]
    values = xp.stack(_fields_along(backend, body, paths, along))
    inside = values < 0
    found, first = inside.any(0), backend.single((1 * inside).argmax(0))
    high = begin + first * step
    low = xp.where(first > 0, high - step, begin)
    least, at = xp.amin(values, 0), backend.single(values.argmin(0))
    graze = xp.where(~found & (least < 0.7 * step))[0]
    if graze.shape[0]:
        where = begin[graze] + at[graze] * step[graze]
        dip, deep = _dip(backend, body, paths.pick(graze), where - step[graze], where + step[graze])
        deep = xp.where(deep < 0)[0]
        hit = graze[deep]
        low[hit], high[hit], found[hit] = where[deep] - step[hit], dip[deep], True
    return low, high, found


def _dip(backend: Backend, body: Body, paths: Paths, low: Array, high: Array) -> tuple[Array, Array]:
    """Place and value of the smallest field on [low, high] of each ray."""
    if backend.xp is np:
        return _golden(body, paths, low, high)
    for _ in range(2):  # the golden section's eight steps in two, each of many places at once
        places = [low + k / 16 * (high - low) for k in range(17)]
        values = backend.xp.stack(_fields_along(backend, body, paths, places))
        best = low + values.argmin(0) / 16 * (high - low)
        low, high = best - (high - low) / 16, best + (high - low) / 16
    return best, backend.xp.amin(values, 0)


def _golden(body: Body, paths: Paths, low: Array, high: Array) -> tuple[Array, Array]:
    """Golden-section search for the smallest field on [low, high]; returns its place and value."""
    xp = np
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


def normals_at(backend: Backend, body: Body, point: tuple[Array, Array, Array]) -> tuple[Array, Array, Array]:
    """Outward unit normals by central differences, in the straightened frame."""
    x, y, z = point
    h = NORMAL_STEP_MM
    around = [(x + h, y, z), (x - h, y, z), (x, y + h, z), (x, y - h, z), (x, y, z + h), (x, y, z - h)]
    value = fields(backend, body, around)
    nx, ny, nz = value[0] - value[1], value[2] - value[3], value[4] - value[5]
    size = backend.xp.sqrt(nx * nx + ny * ny + nz * nz) + 1e-12
    return nx / size, ny / size, nz / size
