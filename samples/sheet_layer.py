"""The sheet as a pinhole sees it: print, light, shadows, holes, sheen."""

import cv2
import numpy as np

from samples.arrays import CPU, Floats
from samples.lit_sheet import ALONG_STEP_MM, REACH_MM, ShadowStrip
from samples.stage import Stage
from samples.surroundings import Surroundings

ROWS = 128
SHEEN_STEP_PX = 16


def sheet_layer(stage: Stage, around: Surroundings) -> tuple[Floats, Floats]:
    """Radiance of the sheet (H x W x 3) as a pinhole sees it, and its signed out-of-focus disc (H x W)."""
    camera = stage.scene.camera
    out = np.empty((camera.height_px, camera.width_px, 3), np.float32)
    disc = np.empty(out.shape[:2], np.float32)
    for top in range(0, camera.height_px, ROWS):
        rows = np.arange(top, min(top + ROWS, camera.height_px), dtype=np.float32)
        px = np.stack(np.meshgrid(np.arange(camera.width_px, dtype=np.float32), rows), -1)
        ray = camera.rays(px)
        reach = np.float32(-camera.position[2]) / ray[..., 2]
        xy = camera.position[:2].astype(np.float32) + ray[..., :2] * reach[..., None]
        disc[top : top + len(rows)] = camera.blur_disc_px(reach)
        out[top : top + len(rows)] = _sheet_radiance(stage, xy[..., 0], xy[..., 1], ray)
    if stage.texture.paper.kind != "matt":
        out += _sheen(stage, around)
    return out, disc


def _sheen(stage: Stage, around: Surroundings) -> Floats:
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
    return np.asarray(cv2.remap(coarse, u, v, cv2.INTER_LINEAR))


def _sheet_radiance(stage: Stage, x: Floats, y: Floats, ray: Floats) -> Floats:
    def look(table: Floats, place: tuple[Floats, Floats]) -> Floats:
        u, v = (np.asarray(a, np.float32) for a in place)
        return np.asarray(cv2.remap(table, u, v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE))

    texture, light = stage.texture, stage.irradiance
    where = texture.columns_rows(x, y)
    share = look(texture.white_share, where)
    falling = look(light.table, light.columns_rows(x, y)) / np.pi
    for strip in stage.shadows:
        part = _part_near(strip, x, y)
        if part is not None:
            falling[part] *= look(strip.table, strip.columns_rows(np, x[part], y[part]))
    room = stage.scene.light
    out = texture.reflectance(share) * falling
    if any(room.glow):
        out = out + np.array(room.glow, np.float32) * (0.08 + 0.92 * share)[..., None]
    if texture.present is not None:
        here = look(texture.present, where)[..., None]
        below = texture.table_reflectance(x, y) * falling
        if room.backlight is not None:
            below = room.backlight.radiance(CPU, x, y, ray / np.linalg.norm(ray, axis=-1, keepdims=True))
        out = out * here + (1 - here) * below
    return np.asarray(out, np.float32)


def _part_near(strip: ShadowStrip, x: Floats, y: Floats) -> tuple[slice, slice] | None:
    """The smallest block of a picture part that holds every point the strip may darken; None when there is none."""
    s = (x[::8, ::8] - strip.origin[0]) * strip.along[0] + (y[::8, ::8] - strip.origin[1]) * strip.along[1]
    d = (x[::8, ::8] - strip.origin[0]) * strip.across[0] + (y[::8, ::8] - strip.origin[1]) * strip.across[1]
    margin = 2.0
    long = (s > strip.first_mm - margin) & (s < strip.first_mm + len(strip.table) * ALONG_STEP_MM + margin)
    rows, cols = np.nonzero(long & (np.abs(d) < REACH_MM + margin))
    if rows.size == 0:
        return None
    low = max(int(rows.min()) - 1, 0) * 8, max(int(cols.min()) - 1, 0) * 8
    return slice(low[0], (int(rows.max()) + 2) * 8), slice(low[1], (int(cols.max()) + 2) * 8)
