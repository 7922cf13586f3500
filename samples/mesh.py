"""An instrument as a triangle mesh, for other programs: the same surface that is rendered here."""

import numpy as np

from samples.arrays import CPU, Floats
from samples.barbs import barb_prisms, notches_mm
from samples.bodies import place
from samples.centreline import Centreline
from samples.instrument import Instrument
from samples.outline import turning_radius
from samples.pose import Pose

AT_ORIGIN = Pose("none", 0.0, 0.0, 0.0, 0.0)
STRAIGHT = Centreline(np.array([[0.0, 0.0, 0.0], [0.02, 0.0, 0.0]]), np.stack([np.eye(3)] * 2), True)


def mesh(instrument: Instrument, x_step_mm: float = 0.01, angles: int = 360) -> tuple[Floats, Floats]:
    """Closed mesh of the metal in the instrument's frame (right-handed, tip at 0 when straight): vertices V x 3 in mm,
    faces F x 3 (indices, outward by the right-hand rule). The barbs of a broach come as separate closed parts, each a
    prism over its notch. A skew break is square here.
    """
    vertices, faces = tube(instrument, x_step_mm, np.linspace(0, 2 * np.pi, angles, endpoint=False))
    for prism_vertices, prism_faces in barb_prisms(instrument):
        faces = np.concatenate([faces, prism_faces + len(vertices)])
        vertices = np.concatenate([vertices, prism_vertices])
    return vertices, faces


def tube(instrument: Instrument, x_step_mm: float, angles: Floats) -> tuple[Floats, Floats]:
    """Closed mesh of the metal without barbs, but with their notches: rings every `x_step_mm` along the axis, their
    vertices at `angles` (rad) that turn with the blank; then the middle of the first ring and of the last.
    """
    placed = place(instrument, AT_ORIGIN, CPU)
    x = np.append(np.arange(0.0, instrument.length_mm, x_step_mm), instrument.length_mm)
    phi, radius = turning_radius(placed.surface, x, angles)
    radius = radius - notches_mm(instrument, x, phi)
    point, frame = placed.line.at(x)
    across = np.cos(phi)[..., None] * frame[:, None, 1] + np.sin(phi)[..., None] * frame[:, None, 2]
    ring = (point[:, None] + radius[..., None] * across).reshape(-1, 3)
    vertices = np.concatenate([ring, point[:1], point[-1:]])
    return vertices, _tube_faces(x.size, len(angles))


def turned_mesh(
    profile: tuple[tuple[float, float], ...], from_mm: float, angles: int = 96, line: Centreline | None = None
) -> tuple[Floats, Floats]:
    """Closed mesh of a handle or stop: a profile of (mm behind its front, radius mm) turned about the axis, which is
    `line` (default: straight along x).
    """
    at, radius = (np.array(c) for c in zip(*profile, strict=True))
    phi = np.linspace(0, 2 * np.pi, angles, endpoint=False)
    point, frame = (line or STRAIGHT).at(at + from_mm)
    across = np.cos(phi)[:, None] * frame[:, None, 1] + np.sin(phi)[:, None] * frame[:, None, 2]
    ring = point[:, None] + radius[:, None, None] * across
    return np.concatenate([ring.reshape(-1, 3), point[:1], point[-1:]]), _tube_faces(at.size, angles)


def _tube_faces(rings: int, angles: int) -> Floats:
    """Two triangles a cell between neighbouring rings, and a fan at each end (its centre comes after the rings)."""
    row, col = np.meshgrid(np.arange(rings - 1), np.arange(angles), indexing="ij")
    nxt = (col + 1) % angles
    a, b = row * angles + col, row * angles + nxt
    c, d = a + angles, b + angles
    sides = np.concatenate([np.stack([a, b, c], -1).reshape(-1, 3), np.stack([b, d, c], -1).reshape(-1, 3)])
    k = np.arange(angles)
    n = (k + 1) % angles
    last = (rings - 1) * angles
    front = np.stack([np.full(angles, rings * angles), n, k], 1)
    back = np.stack([np.full(angles, rings * angles + 1), last + k, last + n], 1)
    return np.concatenate([sides, front, back])
