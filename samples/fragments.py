"""Rays of the camera through the solids of an instrument, shaded and averaged over each pixel."""

from dataclasses import dataclass

import cv2
import numpy as np

from samples.arrays import Array, Backend, Floats
from samples.bodies import Body, Placed
from samples.camera import Camera
from samples.centreline import STEP_MM
from samples.layers import Fragments
from samples.metal import metal
from samples.rays import depths, directions, disc_px
from samples.shade import plastic
from samples.surroundings import Surroundings
from samples.tarnish import tarnish
from samples.trace import first_hits

CHUNK_RAYS = 120_000
"""Rays that share one draw of facets; how many are traced in one call is the backend's business."""


@dataclass(frozen=True)
class Box:
    """A part of the picture and which of its pixels a solid may touch."""

    left: int
    top: int
    mask: Floats


def fragments_of(
    placed: Placed, body: Body, camera: Camera, around: Surroundings, rng: np.random.Generator
) -> Fragments | None:
    """Trace one solid; None when it lies outside the picture."""
    box = _touched(placed, body, camera)
    if box is None:
        return None
    rows, cols = np.nonzero(box.mask)
    backend = placed.surface.backend
    rgba, disc, depth = backend.zeros((rows.size, 4)), backend.zeros((rows.size,)), backend.zeros((rows.size,))
    per_draw = max(CHUNK_RAYS // body.supersample**2, 1)
    step = per_draw * max(backend.wide // CHUNK_RAYS, 1)
    for first in range(0, rows.size, step):
        part = slice(first, first + step)
        px = np.stack([cols[part] + box.left, rows[part] + box.top], 1)
        colour, cover, mean = _pixels(placed, body, camera, around, px, Chance(rng, per_draw * body.supersample**2))
        rgba[part, :3], rgba[part, 3], depth[part] = colour, cover, mean
        disc[part] = backend.xp.where(cover > 0, disc_px(camera, mean), 0.0)
    at = backend.as_index(backend.exact(np.flatnonzero(box.mask)))
    picture, sizes, depths_mm = (backend.zeros((box.mask.size, *more)) for more in ((4,), (), ()))
    picture[at], sizes[at], depths_mm[at] = rgba, disc, depth
    shape = box.mask.shape
    return Fragments(box.left, box.top, picture.reshape(*shape, 4), sizes.reshape(shape), depths_mm.reshape(shape))


@dataclass(frozen=True)
class Chance:
    """Random numbers for rays, drawn for each `rays` of them in turn, so that they do not depend on the backend."""

    rng: np.random.Generator
    rays: int

    def pair(self, backend: Backend, ray: Array, total: int) -> tuple[Array, Array]:
        """Two even numbers, 0 to 1, for each of the rays `ray` (N, ascending, out of `total`)."""
        ends = np.arange(0, total + self.rays, self.rays, dtype=np.int64)
        counts = np.diff(backend.get(backend.xp.searchsorted(ray, backend.as_index(backend.exact(ends)))))
        drawn = [self.rng.random((2, count), np.float32) for count in counts]
        first, second = (backend.put(np.concatenate([pair[k] for pair in drawn])) for k in range(2))
        return first, second


def _touched(placed: Placed, body: Body, camera: Camera) -> Box | None:
    """Draw the solid's bounding tube as a chain of quads on a mask."""
    s = np.linspace(body.from_mm - 0.02, body.to_mm + 0.02, max(int((body.to_mm - body.from_mm) / 0.4), 3) + 1)
    axis = placed.axis_points(s)
    px = camera.project(axis)
    scale = camera.focal_px / camera.depth_mm(axis)
    reach = body.bound(np.clip(s, body.from_mm, body.to_mm)) * scale * 1.15 + 2.0
    run = np.gradient(px, axis=0)
    run /= np.linalg.norm(run, axis=1, keepdims=True) + 1e-9
    side = np.stack([-run[:, 1], run[:, 0]], 1) * reach[:, None]
    px[0] -= run[0] * reach[0]
    px[-1] += run[-1] * reach[-1]
    all_px = np.concatenate([px + side, px - side])
    low = np.maximum(np.floor(all_px.min(0)).astype(int), 0)
    high = np.minimum(np.ceil(all_px.max(0)).astype(int) + 1, [camera.width_px, camera.height_px])
    if np.any(high - low < 2):
        return None
    mask = np.zeros((high[1] - low[1], high[0] - low[0]), np.uint8)
    upper, lower = px + side - low, px - side - low
    for k in range(len(s) - 1):
        quad = np.array([upper[k], upper[k + 1], lower[k + 1], lower[k]])
        cv2.fillConvexPoly(mask, np.round(quad * 16).astype(np.int32), 1, cv2.LINE_8, 4)
    return Box(int(low[0]), int(low[1]), mask)


def _pixels(
    placed: Placed, body: Body, camera: Camera, around: Surroundings, px: Floats, chance: Chance
) -> tuple[Array, Array, Array]:
    """Premultiplied colour (N x 3), coverage (N) and mean depth (N, mm) of the pixels `px` (N x 2)."""
    n, pose, backend = body.supersample, placed.pose, placed.surface.backend
    offset = (np.arange(n) + 0.5) / n - 0.5
    grid = np.stack(np.meshgrid(offset, offset), -1).reshape(-1, 2)
    rays_px = (backend.exact(px)[:, None, :] + backend.exact(grid)).reshape(-1, 2)
    direction = directions(backend.xp, camera, rays_px)
    direction = direction / backend.xp.sqrt((direction * direction).sum(-1))[:, None]
    local_ray = direction @ backend.exact(pose.axes.T)
    eye = pose.to_instrument(camera.position)
    start = backend.exact(eye) + local_ray * _nearest_axis(placed, eye, local_ray)[:, None]
    hits = first_hits(backend, body, backend.single(start), backend.single(local_ray))
    local = backend.xp.stack(list(hits.points), 1)
    axes = backend.put(pose.axes)
    point = local @ axes + backend.put(pose.origin)
    normal = backend.xp.stack(list(hits.normals), 1) @ axes
    view = backend.single(direction)[hits.rays]
    pair = chance.pair(backend, hits.rays, len(px) * n * n) if body.name == "metal" else None
    colour = _shade(placed, body, point, normal, view, local, around, pair)
    return _averaged(backend, camera, len(px), n * n, hits.rays, point, colour)


def _averaged(
    backend: Backend, camera: Camera, count: int, per_pixel: int, ray: Array, point: Array, colour: Array
) -> tuple[Array, Array, Array]:
    """Average the rays of each pixel: premultiplied colour, coverage, mean depth."""
    depth = depths(camera, point)
    each = backend.xp.stack([colour[:, 0], colour[:, 1], colour[:, 2], depth, 0.0 * depth + 1.0], 1)
    total = backend.sums(ray // per_pixel, each, count)
    hit, xp = total[:, 4], backend.xp
    mean_depth = xp.where(hit > 0, total[:, 3] / xp.clip(hit, 1.0, None), camera.z_mm)
    return total[:, :3] / per_pixel, hit / per_pixel, mean_depth


def _nearest_axis(placed: Placed, eye: Floats, ray: Array) -> Array:
    """Distance along each ray to where it passes the axis: at the height of the axis that it meets."""
    backend, straighten = placed.surface.backend, placed.bodies[0].straighten
    up = placed.pose.axes[:, 2]
    rise = ray @ backend.exact(up)
    base = -float(eye @ up) / rise
    s = backend.xp.clip(float(eye[0]) + base * ray[:, 0], 0.0, placed.instrument.length_mm)
    y, z = 0.0, 0.0
    if not straighten.straight:
        middle = backend.sample(straighten.points, s / STEP_MM)
        y, z = middle[:, 1], middle[:, 2]
    across = ray[:, 1] * ray[:, 1] + ray[:, 2] * ray[:, 2]
    along = (y - float(eye[1])) * ray[:, 1] + (z - float(eye[2])) * ray[:, 2]
    return along / backend.xp.clip(across, 1e-9, None)


def _shade(
    placed: Placed,
    body: Body,
    point: Array,
    normal: Array,
    view: Array,
    local: Array,
    around: Surroundings,
    chance: tuple[Array, Array] | None,
) -> Array:
    instrument = placed.instrument
    if chance is not None:
        colour = metal(placed, body, point, normal, view, local, around, chance)
        return tarnish(instrument, point, normal, view, local, colour, around)
    if body.name == "stop" and instrument.stop is not None:
        return plastic(instrument.stop.rgb, 0.4, point, normal, view, around)
    return plastic(instrument.handle.rgb, 1.0, point, normal, view, around)
