"""Triangles of a staged scene for the path tracer: metal with its grinding marks, handles, stops, the sheet with its
holes. World: right-handed, X right, Y up the page, Z toward the camera, mm, origin at the sheet point that the camera aims at.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy.spatial import Delaunay

from samples.arrays import Floats
from samples.barbs import barb_prisms
from samples.bodies import Placed
from samples.mesh import tube
from samples.outline import turning_angles
from samples.paper import Paper

X_STEP_MM = 0.01
HANDLE_ANGLES = 360
FLIP = np.array([1.0, -1.0, 1.0])
ROUND_MM = 1.5
"""Radius of a hole's corners, as the sheet's own drawing has it."""


@dataclass(frozen=True)
class Triangles:
    """`vertices` V x 3 (mm), `faces` F x 3, outward by the right-hand rule; `normals` V x 3 or None for flat faces; `uv`
    V x 2 or None.
    """

    vertices: Floats
    faces: Floats
    normals: Floats | None = None
    uv: Floats | None = None


def metal_of(one: Placed, origin_mm: Floats) -> list[Triangles]:
    """The wire, smoothly shaded, and each barb with flat faces."""
    instrument = one.instrument
    angles = turning_angles(instrument)
    vertices, faces = tube(instrument, X_STEP_MM, angles)
    world = _to_world(one, vertices, origin_mm)
    # Rings are joined to the middles of both ends by edges that are sharp: the middles' triangles do not bend normals.
    normals = _normals(world, faces[: -2 * len(angles)])
    normals[-2:] = _unit(world[[-2, -1]] - world[[-1, -2]])
    marks = _grinding(one, len(angles), len(vertices))
    along = one.pose.axes[0] * FLIP
    normals = _unit(normals + marks[:, None] * (along - (normals @ along)[:, None] * normals))
    out = [Triangles(world, faces, normals)]
    out += [Triangles(_to_world(one, v, origin_mm), f) for v, f in barb_prisms(instrument)]
    return out


def turned(one: Placed, profile: tuple[tuple[float, float], ...], from_mm: float, origin_mm: Floats) -> Triangles:
    """A handle or a stop, with the creases of its profile kept sharp."""
    at, radius = (np.array(c) for c in zip(*profile, strict=True))
    at, radius = np.concatenate([at[:1], at, at[-1:]]) + from_mm, np.concatenate([[0.0], radius, [0.0]])
    phi = np.linspace(0, 2 * np.pi, HANDLE_ANGLES, endpoint=False)
    vertices, normals, faces = [], [], []
    k = np.arange(HANDLE_ANGLES)
    n = (k + 1) % HANDLE_ANGLES
    for first in range(at.size - 1):
        point, frame = one.line.at(at[first : first + 2])
        radial = np.cos(phi)[:, None] * frame[:, None, 1] + np.sin(phi)[:, None] * frame[:, None, 2]
        rise, run = np.diff(radius[first : first + 2])[0], np.diff(at[first : first + 2])[0]
        vertices.append((point[:, None] + radius[first : first + 2, None, None] * radial).reshape(-1, 3))
        normals.append((run * radial - rise * frame[:, None, 0]).reshape(-1, 3))
        a = 2 * HANDLE_ANGLES * first
        c = a + HANDLE_ANGLES
        faces += [np.stack([a + k, a + n, c + k], 1), np.stack([a + n, c + n, c + k], 1)]
    outward = _unit(np.concatenate(normals)) @ one.pose.axes * FLIP
    return Triangles(_to_world(one, np.concatenate(vertices), origin_mm), np.concatenate(faces), outward)


def stop_profile(diameter_mm: float, thickness_mm: float) -> tuple[tuple[float, float], ...]:
    """A rubber disc with its edges broken by 0.12 mm, as everywhere in these samples."""
    r, e = diameter_mm / 2, 0.12
    return ((0.0, r - e), (e, r), (thickness_mm - e, r), (thickness_mm, r - e))


def sheet_of(
    paper: Paper, page_mm: tuple[float, float], box: tuple[float, float, float, float], origin_mm: Floats
) -> Triangles:
    """The sheet without what is cut away; uv run from 0 to 1 over the part `box` (x0, y0, x1, y1; nominal mm)."""
    low, high = np.zeros(2), np.array([min(paper.cut_at_mm or page_mm[0], page_mm[0]), page_mm[1]])
    holes = [hole for hole in (paper.slot_mm, paper.window_mm) if hole is not None]
    points = np.concatenate([_frame(low, high, 6), *(_rounded(hole) for hole in holes)])
    inside = points[np.all((points > low - 1e-6) & (points < high + 1e-6), axis=1)]
    faces = np.asarray(Delaunay(inside).simplices)
    for hole in holes:
        faces = faces[_outside(hole, inside[faces].mean(1))]
    uv = (inside - [box[0], box[1]]) / [box[2] - box[0], box[3] - box[1]]
    flat = np.column_stack([inside * np.array(paper.print_scale), np.zeros(len(inside))])
    return Triangles((flat - origin_mm) * FLIP, _upward(flat, faces), None, uv)


def _to_world(one: Placed, points: Floats, origin_mm: Floats) -> Floats:
    return np.asarray((one.pose.to_sheet(points) - origin_mm) * FLIP)


def _unit(v: Floats) -> Floats:
    return np.asarray(v / np.maximum(np.linalg.norm(v, axis=-1, keepdims=True), 1e-12))


def _normals(vertices: Floats, faces: Floats) -> Floats:
    """Unit vertex normals, each face weighted by its area."""
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    face = np.cross(b - a, c - a)
    total = [sum(np.bincount(faces[:, k], face[:, d], len(vertices)) for k in range(3)) for d in range(3)]
    return _unit(np.stack(total, 1))


def _grinding(one: Placed, around: int, count: int) -> Floats:
    """Slope (V) toward the handle that grinding marks give each vertex: rings, random from one mark to the next."""
    finish = one.instrument.finish
    rings = (count - 2) // around
    x = np.append(np.arange(rings - 1) * X_STEP_MM, one.instrument.length_mm)
    cell = x / finish.grind_period_mm
    marks = np.random.default_rng(11).standard_normal(int(cell.max()) + 3)
    slope = np.interp(cell, np.arange(marks.size), marks) * finish.grind
    return np.concatenate([np.repeat(slope, around), [0.0, 0.0]])


def _frame(low: Floats, high: Floats, per_side: int) -> Floats:
    u = np.linspace(0, 1, per_side + 1)[:-1]
    x, y = low[0] + u * (high[0] - low[0]), low[1] + u * (high[1] - low[1])
    sides = [(x, 0 * x + low[1]), (0 * y + high[0], y), (x[::-1] + high[0] - x[-1], 0 * x + high[1])]
    sides.append((0 * y + low[0], y[::-1] + high[1] - y[-1]))
    return np.concatenate([np.stack(side, 1) for side in sides])


def _rounded(hole: tuple[float, float, float, float]) -> Floats:
    """Points along the outline of a rounded rectangle, close enough that its edges are edges of the triangles."""
    x0, y0, x1, y1 = hole
    out = []
    for k, (x, y) in enumerate(((x1, y1), (x0, y1), (x0, y0), (x1, y0))):
        centre = np.array([x - ROUND_MM * np.sign(x - x0 - 1e-9), y - ROUND_MM * np.sign(y - y0 - 1e-9)])
        turn = np.radians(90 * k + np.linspace(0, 90, 19))
        out.append(centre + ROUND_MM * np.stack([np.cos(turn), np.sin(turn)], 1))
    ring = np.concatenate([*out, out[0][:1]])
    parts = [ring[:1]]
    for a, b in pairwise(ring):
        steps = max(int(np.ceil(np.linalg.norm(b - a) / 0.2)), 1)
        parts.append(a + (b - a) * np.linspace(0, 1, steps + 1)[1:, None])
    return np.concatenate(parts)[:-1]


def _outside(hole: tuple[float, float, float, float], at: Floats) -> Floats:
    x0, y0, x1, y1 = hole
    d = np.abs(at - [(x0 + x1) / 2, (y0 + y1) / 2]) - [(x1 - x0) / 2 - ROUND_MM, (y1 - y0) / 2 - ROUND_MM]
    distance = np.hypot(*np.maximum(d, 0).T) + np.minimum(d.max(1), 0) - ROUND_MM
    return np.asarray(distance > 0)


def _upward(flat: Floats, faces: Floats) -> Floats:
    """Order the corners so that the faces look toward the camera once Y is negated."""
    a, b, c = (flat[faces[:, k], :2] for k in range(3))
    turn = (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0])
    return np.where((turn < 0)[:, None], faces, faces[:, ::-1])
