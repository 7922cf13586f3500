"""The sheet as a pinhole sees it: print, light, shadows, holes, sheen."""

from dataclasses import dataclass

import cv2
import numpy as np

from samples.arrays import Array, Backend, Floats
from samples.images import looked_up
from samples.lit_sheet import FINE_STEP_MM, REACH_MM, ShadowStrip
from samples.rays import directions, disc_px
from samples.stage import Stage
from samples.surroundings import Surroundings

ROWS = 128
SHEEN_STEP_PX = 16


def sheet_layer(stage: Stage, around: Surroundings) -> tuple[Array, Array]:
    """Radiance of the sheet (H x W x 3) as a pinhole sees it, and its signed out-of-focus disc (H x W)."""
    camera, backend = stage.scene.camera, around.backend
    out = backend.zeros((camera.height_px, camera.width_px, 3))
    disc = backend.zeros((camera.height_px, camera.width_px))
    tables = _tables(stage, backend)
    cols = np.arange(camera.width_px, dtype=np.float32)
    together = max(ROWS, backend.wide * 4 // camera.width_px) if backend.xp is not np else ROWS
    for top in range(0, camera.height_px, together):
        rows = np.arange(top, min(top + together, camera.height_px), dtype=np.float32)
        ray = directions(backend.xp, camera, backend.put(np.stack(np.meshgrid(cols, rows), -1)))
        reach = -float(camera.position[2]) / ray[..., 2]
        x, y = (float(camera.position[k]) + ray[..., k] * reach for k in range(2))
        disc[top : top + len(rows)] = disc_px(camera, reach)
        out[top : top + len(rows)] = _sheet_radiance(stage, tables, x, y, ray)
    if stage.texture.paper.kind != "matt":
        out += _sheen(stage, around)
    return out, disc


@dataclass(frozen=True)
class Tables:
    """The stage's tables where its backend computes."""

    backend: Backend
    white_share: Array
    present: Array | None
    light: Array
    shadows: tuple[Array, ...]


def _tables(stage: Stage, backend: Backend) -> Tables:
    present = stage.texture.present
    return Tables(
        backend,
        backend.put(stage.texture.white_share),
        None if present is None else backend.put(present),
        backend.put(stage.irradiance.table),
        tuple(backend.put(strip.table) for strip in stage.shadows),
    )


def _sheen(stage: Stage, around: Surroundings) -> Array:
    """What a laminated or glossy sheet mirrors of the room, H x W x 3, worked out on a coarse grid (n = 1.5)."""
    camera, backend = stage.scene.camera, around.backend
    size = camera.width_px // SHEEN_STEP_PX + 2, camera.height_px // SHEEN_STEP_PX + 2
    px = np.stack(np.meshgrid(*(np.arange(n) * float(SHEEN_STEP_PX) for n in size)), -1).reshape(-1, 2)
    ray = camera.rays(px)
    ray /= np.linalg.norm(ray, axis=1, keepdims=True)
    mirrored = ray * [1.0, 1.0, -1.0]
    start = np.concatenate([camera.on_sheet(px), np.zeros((len(px), 1))], 1)
    soft = stage.texture.paper.kind == "gloss"
    seen = backend.get(around.seen(backend.put(start), backend.put(mirrored), soft))
    fresnel = 0.04 + 0.96 * (1.0 - np.abs(ray[:, 2:])) ** 5
    coarse = (fresnel * seen).astype(np.float32).reshape(size[1], size[0], 3)
    reach = np.arange(camera.width_px, dtype=np.float32), np.arange(camera.height_px, dtype=np.float32)
    u, v = np.meshgrid(*(r / np.float32(SHEEN_STEP_PX) for r in reach))
    return backend.put(cv2.remap(coarse, u, v, cv2.INTER_LINEAR))


def _sheet_radiance(stage: Stage, tables: Tables, x: Array, y: Array, ray: Array) -> Array:
    texture, light, backend = stage.texture, stage.irradiance, tables.backend
    xp = backend.xp
    where = texture.columns_rows(x, y)
    share = looked_up(backend, tables.white_share, *where)[..., None]
    falling = looked_up(backend, tables.light, *light.columns_rows(x, y)) / np.pi
    for strip, left in zip(stage.shadows, tables.shadows, strict=True):
        part = _part_near(strip, x, y) if xp is np else (slice(None), slice(None))
        if part is not None:
            falling[part] *= looked_up(backend, left, *strip.columns_rows(xp, x[part], y[part]))
    room = stage.scene.light
    white, ink = backend.constant(texture.paper.white), backend.constant(texture.paper.ink)
    out = (ink + (white - ink) * share) * falling
    if any(room.glow):
        out = out + backend.constant(room.glow) * (0.08 + 0.92 * share)
    if tables.present is not None:
        here = looked_up(backend, tables.present, *where)[..., None]
        below = texture.table_reflectance(x, y, backend) * falling
        if room.backlight is not None:
            below = room.backlight.radiance(backend, x, y, ray / xp.sqrt((ray * ray).sum(-1))[..., None])
        out = out * here + (1 - here) * below
    return backend.single(out)


def _part_near(strip: ShadowStrip, x: Floats, y: Floats) -> tuple[slice, slice] | None:
    """The smallest block of a picture part that holds every point the strip may darken; None when there is none."""
    s = (x[::8, ::8] - strip.origin[0]) * strip.along[0] + (y[::8, ::8] - strip.origin[1]) * strip.along[1]
    d = (x[::8, ::8] - strip.origin[0]) * strip.across[0] + (y[::8, ::8] - strip.origin[1]) * strip.across[1]
    margin = 2.0
    long = (s > strip.first_mm - margin) & (s < strip.first_mm + len(strip.table) * FINE_STEP_MM + margin)
    rows, cols = np.nonzero(long & (np.abs(d) < REACH_MM + margin))
    if rows.size == 0:
        return None
    low = max(int(rows.min()) - 1, 0) * 8, max(int(cols.min()) - 1, 0) * 8
    return slice(low[0], (int(rows.max()) + 2) * 8), slice(low[1], (int(cols.max()) + 2) * 8)
