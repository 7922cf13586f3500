"""The axis of an instrument in its own frame: straight along x, or bent by a kink, a pre-curve or a slight bow.

The handle end stays on the x axis; what lies nearer the tip swings away from it.
"""

import math
from dataclasses import dataclass

import numpy as np

from samples.arrays import Array, Backend, Floats
from samples.instrument import Instrument

STEP_MM = 0.02


@dataclass(frozen=True)
class Centreline:
    """Tables over arc length s = 0 (tip), STEP_MM, 2 STEP_MM, ...: points and a rotation-minimising frame, mm.

    `points` N x 3; `frames` N x 3 x 3 with rows tangent (toward the handle), second and third axis.
    """

    points: Floats
    frames: Floats
    straight: bool

    def at(self, s_mm: Floats) -> tuple[Floats, Floats]:
        """Point (M x 3) and frame (M x 3 x 3) at s; beyond both ends the axis runs on straight."""
        last = len(self.points) - 1
        t = np.clip(np.asarray(s_mm, float) / STEP_MM, 0, last)
        low = np.minimum(t.astype(int), last - 1)
        share = (t - low)[..., None]
        point = self.points[low] * (1 - share) + self.points[low + 1] * share
        frame = self.frames[low] * (1 - share[..., None]) + self.frames[low + 1] * share[..., None]
        beyond = np.asarray(s_mm, float) - t * STEP_MM
        return point + beyond[..., None] * frame[..., 0, :], frame


def centreline_of(instrument: Instrument) -> Centreline:
    """Integrate the curvature from the handle to the tip."""
    count = math.ceil(instrument.length_mm / STEP_MM) + 1
    s = np.arange(count) * STEP_MM
    bend = _curvature(instrument, s)
    straight = not bool(np.any(bend))
    points, frames = np.zeros((count, 3)), np.zeros((count, 3, 3))
    points[-1, 0], frames[-1] = s[-1], np.eye(3)
    if straight:
        points[:, 0], frames[:] = s, np.eye(3)
        return Centreline(points, frames, True)
    for i in range(count - 2, -1, -1):
        turn = _small_turn(-0.5 * (bend[i] + bend[i + 1]) * STEP_MM)
        frames[i] = turn @ frames[i + 1]
        middle = frames[i, 0] + frames[i + 1, 0]
        points[i] = points[i + 1] - STEP_MM * middle / np.linalg.norm(middle)
    return Centreline(points, frames, False)


def _curvature(instrument: Instrument, s: Floats) -> Floats:
    """Curvature components along the second and third axis, 1/mm, N x 2; bends the tip TOWARD the stated angle."""
    out = np.zeros((s.size, 2))
    for arc in (instrument.pre_curve, instrument.bow):
        if arc is not None:
            out += _direction(arc.angle_deg) * _plateau(s, arc.from_mm, arc.to_mm, 0.5)[:, None] / arc.radius_mm
    for damage in instrument.damage:
        if damage.kind == "kinked":
            half = 0.5 * math.radians(damage.strength) * damage.bend_radius_mm
            middle = 0.5 * (damage.from_mm + damage.to_mm)
            shape = np.exp(-0.5 * ((s - middle) / max(half, 0.05)) ** 2)
            shape *= math.radians(damage.strength) / (shape.sum() * STEP_MM)
            out += _direction(damage.angle_deg) * shape[:, None]
    return out


def _direction(angle_deg: float) -> Floats:
    return np.array([math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))])


def _plateau(s: Floats, from_mm: float, to_mm: float, ramp_mm: float) -> Floats:
    """1 inside [from, to], smooth ramps of `ramp_mm` centred on both ends; a start at the tip has no ramp."""
    up = np.ones_like(s) if from_mm <= 0 else np.clip((s - from_mm) / ramp_mm + 0.5, 0, 1)
    return up * np.clip((to_mm - s) / ramp_mm + 0.5, 0, 1)


def _small_turn(bend: Floats) -> Floats:
    """Rotation of a frame (rows) by the bend vector: the tangent leans toward second and third axis by bend radians."""
    angle = float(np.hypot(*bend))
    if angle == 0.0:
        return np.eye(3)
    c, s = math.cos(angle), math.sin(angle)
    u, v = bend / angle
    return np.array(
        [
            [c, s * u, s * v],
            [-s * u, 1 + (c - 1) * u * u, (c - 1) * u * v],
            [-s * v, (c - 1) * u * v, 1 + (c - 1) * v * v],
        ]
    )


@dataclass(frozen=True)
class Straightener:
    """Carries points of the bent frame back to (s, second, third) of the straight one, on any backend.

    `points` N x 3, `frames` N x 9, `both` side by side, so that one look-up fetches them; `steps` the first six of their columns,
    all that a step along the axis asks for.
    """

    backend: Backend
    points: Array
    frames: Array
    both: Array
    steps: Array
    straight: bool

    @classmethod
    def of(cls, line: Centreline, backend: Backend) -> "Straightener":
        """Put the tables of `line` where `backend` computes."""
        frames, put = line.frames.reshape(-1, 9), backend.put
        both = put(np.concatenate([line.points, frames], 1))
        return cls(backend, put(line.points), put(frames), both, both[:, :6], line.straight)

    def __call__(self, x: Array, y: Array, z: Array) -> tuple[Array, Array, Array]:
        """Foot of each point on the axis by Newton steps from its chord position; exact where bends are gentle."""
        if self.straight:
            return x, y, z
        s = x
        for _ in range(4):
            dx, dy, dz, f = self._offset(self.steps, s, x, y, z)
            s = s + dx * f[:, 0] + dy * f[:, 1] + dz * f[:, 2]
        dx, dy, dz, f = self._offset(self.both, s, x, y, z)
        return s, dx * f[:, 3] + dy * f[:, 4] + dz * f[:, 5], dx * f[:, 6] + dy * f[:, 7] + dz * f[:, 8]

    def frame(self, s: Array) -> Array:
        """The axis's frame at s (N): N x 9, three rows one after the other."""
        return self.backend.sample(self.frames, s / STEP_MM)

    def _offset(self, table: Array, s: Array, x: Array, y: Array, z: Array) -> tuple[Array, Array, Array, Array]:
        row = self.backend.sample(table, s / STEP_MM)
        point, frame = row[:, :3], row[:, 3:]
        beyond = s - self.backend.xp.clip(s, 0.0, (self.points.shape[0] - 1) * STEP_MM)
        px, py, pz = (point[:, k] + beyond * frame[:, k] for k in range(3))
        return x - px, y - py, z - pz, frame
