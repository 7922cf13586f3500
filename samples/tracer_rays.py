"""Rays of a camera with lens and distortion, followed through the path tracer's scene."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from samples.arrays import Floats
from samples.camera import Camera
from samples.tracer_engine import arrays, engine
from samples.tracer_solids import FLIP

LANES = 4_000_000
"""Paths followed at a time."""

CLEAR_SHARE = 0.1
"""Rays begin this share of the distance in front of the lens, clear of the camera's own dark shape, which lies in it."""


@dataclass(frozen=True)
class Tracing:
    """`per_pixel`: paths a pixel; a square number makes the best use of them. `depth`: longest path, in segments.

    `seed` drives the paths.
    """

    per_pixel: int = 256
    depth: int = 8
    seed: int = 0


def trace_pixels(scene: Any, camera: Camera, origin_mm: Floats, px: Floats, how: Tracing) -> Floats:
    """Mean radiance (N x 3, float32) over the area of each pixel `px` (N x 2, column and row), the whole lens open."""
    step = max(LANES // how.per_pixel, 1)
    integrator = engine().load_dict({"type": "path", "max_depth": how.depth, "rr_depth": 6})
    parts = [
        _part(scene, integrator, camera, origin_mm, px[k : k + step], how, k // step) for k in range(0, len(px), step)
    ]
    return np.concatenate(parts) if parts else np.zeros((0, 3), np.float32)


def _part(scene: Any, integrator: Any, camera: Camera, origin: Floats, px: Floats, how: Tracing, turn: int) -> Floats:
    mi, dr = engine(), arrays()
    sampler = mi.load_dict({"type": "multijitter", "sample_count": how.per_pixel})
    each = sampler.sample_count()  # the next number that fills a grid
    sampler.set_samples_per_wavefront(each)
    sampler.seed(how.seed * 1009 + turn, len(px) * each)
    owner = dr.arange(mi.UInt32, len(px) * each) // each
    column, row = (dr.gather(mi.Float, mi.Float(np.ascontiguousarray(px[:, k], np.float32)), owner) for k in (0, 1))
    ray = lens_rays(camera, origin, column, row, sampler)
    light, _, _ = integrator.sample(scene, sampler, ray)
    return np.stack([np.array(dr.block_sum(light[k], each)) for k in range(3)], 1).astype(np.float32) / np.float32(each)


def lens_rays(camera: Camera, origin_mm: Floats, column: Any, row: Any, sampler: Any) -> Any:
    """Rays through points of the lens that meet in the sharp plane, one a lane: spread over pixel and lens."""
    mi, dr = engine(), arrays()
    spread = sampler.next_2d()
    u, v = _undistorted(camera, column + spread.x - 0.5, row + spread.y - 0.5)
    right, down, ahead = (mi.Vector3f(*(row * FLIP).tolist()) for row in camera.rotation)
    sharp = camera.z_mm - camera.focus_height_mm
    at_lens = mi.warp.square_to_uniform_disk_concentric(sampler.next_2d())
    at_lens = at_lens * (0.5 * camera.focal_mm / camera.f_number)
    eye = mi.Point3f(*((camera.position - origin_mm) * FLIP).tolist())
    start = eye + right * at_lens.x + down * at_lens.y
    target = eye + (ahead + right * u + down * v) * sharp
    towards = dr.normalize(target - start)
    return mi.RayDifferential3f(start + towards * (CLEAR_SHARE * sharp), towards)


def _undistorted(camera: Camera, column: Any, row: Any) -> tuple[Any, Any]:
    """Offsets from the axis for unit depth: r (1 + k1 r^2) solved for r by Newton's steps, r in half diagonals."""
    dr = arrays()
    cx, cy = (float(c) for c in camera.centre_px)
    dx, dy = column - cx, row - cy
    seen = dr.sqrt(dx * dx + dy * dy) / camera.half_diagonal_px
    r = seen
    for _ in range(4):
        r = r - (r * (1 + camera.k1 * r * r) - seen) / (1 + 3 * camera.k1 * r * r)
    scale = dr.select(seen > 1e-9, r / seen, 1.0) / camera.focal_px
    return dx * scale, dy * scale
