"""Rays of the camera through the solids of an instrument, shaded and averaged over each pixel."""

from dataclasses import dataclass

import cv2
import numpy as np

from samples.arrays import Array, Floats
from samples.bodies import Body, Placed
from samples.camera import Camera
from samples.layers import Fragments
from samples.metal import metal
from samples.shade import plastic
from samples.surroundings import Surroundings
from samples.tarnish import tarnish
from samples.trace import first_hits

CHUNK_RAYS = 120_000


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
    rgba = np.zeros((*box.mask.shape, 4), np.float32)
    disc = np.zeros(box.mask.shape, np.float32)
    per_pixel = body.supersample**2
    step = max(CHUNK_RAYS // per_pixel, 1)
    for first in range(0, rows.size, step):
        r, c = rows[first : first + step], cols[first : first + step]
        colour, cover, size = _pixels(placed, body, camera, around, np.stack([c + box.left, r + box.top], 1), rng)
        rgba[r, c, :3], rgba[r, c, 3], disc[r, c] = colour, cover, size
    return Fragments(box.left, box.top, rgba, disc)


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
    placed: Placed, body: Body, camera: Camera, around: Surroundings, px: Floats, rng: np.random.Generator
) -> tuple[Floats, Floats, Floats]:
    """Premultiplied colour (N x 3), coverage (N) and disc (N) of the pixels `px` (N x 2)."""
    n = body.supersample
    offset = (np.arange(n) + 0.5) / n - 0.5
    grid = np.stack(np.meshgrid(offset, offset), -1).reshape(-1, 2)
    rays_px = (px[:, None, :] + grid).reshape(-1, 2)
    direction = camera.rays(rays_px)
    direction /= np.linalg.norm(direction, axis=1, keepdims=True)
    pose, backend = placed.pose, placed.surface.backend
    local_ray = direction @ pose.axes.T
    eye = pose.to_instrument(camera.position)
    start = eye + local_ray * _nearest_axis(placed, eye, local_ray)[:, None]
    hits = first_hits(backend, body, backend.put(start), backend.put(local_ray))
    local = backend.xp.stack(list(hits.points), 1)
    axes = backend.put(pose.axes)
    point = local @ axes + backend.put(pose.origin)
    normal = backend.xp.stack(list(hits.normals), 1) @ axes
    colour = _shade(placed, body, point, normal, backend.put(direction)[hits.rays], local, around, rng)
    return _averaged(camera, len(px), n * n, backend.get(hits.rays), backend.get(point), backend.get(colour))


def _averaged(
    camera: Camera, count: int, per_pixel: int, ray: Floats, point: Floats, colour: Floats
) -> tuple[Floats, Floats, Floats]:
    """Sum the rays of each pixel: premultiplied colour, coverage, out-of-focus disc at the mean depth."""
    owner = ray // per_pixel
    hit = np.bincount(owner, minlength=count)
    total = np.stack([np.bincount(owner, colour[:, k], count) for k in range(3)], 1) / per_pixel
    depth = np.bincount(owner, camera.depth_mm(point), count) / np.maximum(hit, 1)
    disc = np.where(hit > 0, camera.blur_disc_px(np.where(hit > 0, depth, camera.z_mm)), 0.0)
    return total, hit / per_pixel, disc


def _nearest_axis(placed: Placed, eye: Floats, ray: Floats) -> Floats:
    """Distance along each ray to where it passes the axis: at the height of the axis that it meets."""
    up = placed.pose.axes[:, 2]
    rise = ray @ up
    base = -(eye @ up) / rise
    s = np.clip((eye + base[:, None] * ray)[:, 0], 0.0, placed.instrument.length_mm)
    middle = placed.line.at(s)[0]
    across = ray.copy()
    across[:, 0] = 0.0
    weight = np.sum(across * across, axis=1)
    return np.asarray(np.sum((middle - eye) * across, axis=1) / np.maximum(weight, 1e-9))


def _shade(
    placed: Placed,
    body: Body,
    point: Array,
    normal: Array,
    view: Array,
    local: Array,
    around: Surroundings,
    rng: np.random.Generator,
) -> Array:
    instrument = placed.instrument
    if body.name == "metal":
        colour = metal(placed, body, point, normal, view, local, around, rng)
        return tarnish(instrument, point, normal, view, local, colour, around)
    if body.name == "stop" and instrument.stop is not None:
        return plastic(instrument.stop.rgb, 0.4, point, normal, view, around)
    return plastic(instrument.handle.rgb, 1.0, point, normal, view, around)
