"""Renders a scene: sheet, shadows, solids, blur, sensor."""

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np

from calib.sheet import sheet_named
from samples.arrays import CPU, Floats
from samples.bodies import Placed, place
from samples.camera import Camera
from samples.fragments import fragments_of
from samples.layers import blur_by_map, lay_over
from samples.lit_sheet import Irradiance, ShadowStrip, irradiance_of, shadow_strip
from samples.paper import SheetTexture, sheet_texture
from samples.scene import Scene
from samples.sensor import develop, expose
from samples.shadow import light_rays
from samples.surroundings import Surroundings, surroundings
from samples.truth import truth_of

ROWS = 128


@dataclass(frozen=True)
class Stage:
    """A scene made ready: solids placed, sheet drawn, light summed."""

    scene: Scene
    placed: tuple[Placed, ...]
    texture: SheetTexture
    irradiance: Irradiance
    shadows: tuple[ShadowStrip, ...]


def render(scene: Scene) -> tuple[Floats, dict[str, Any]]:
    """Picture (uint8, height x width x 3, red green blue) and truth (see samples/README.md) of a scene."""
    stage = set_stage(scene)
    linear = render_linear(stage)
    camera, sensor = scene.camera, scene.sensor
    level = _paper_level(stage)
    if camera.blur_px > 0.15:
        linear = cv2.GaussianBlur(linear, (0, 0), camera.blur_px)
    rng = np.random.default_rng([scene.seed, 2])
    picture = develop(expose(linear, camera, sensor, level), sensor, rng)
    return picture, truth_of(scene, stage.placed)


def set_stage(scene: Scene) -> Stage:
    """Place the solids, draw the sheet and sum the light."""
    camera = scene.camera
    supersample = scene.supersample or (3 if camera.px_per_mm > 35 else 4)
    placed = tuple(place(laid.instrument, laid.pose, CPU, supersample) for laid in scene.laid)
    box = _seen_box(camera)
    texture = sheet_texture(sheet_named(scene.sheet), scene.paper, box, 1.25 * camera.px_per_mm)
    irradiance = irradiance_of(scene.light, scene.blocker, box)
    strips = []
    for one in placed:
        at = one.axis_points(np.array([0.4 * one.instrument.length_mm]))[0]
        under = np.array([at[0], at[1], 0.0])
        strips.append(
            shadow_strip(
                one, light_rays(scene.light, scene.blocker, under, float(texture.reflectance(texture.coarse).mean()))
            )
        )
    return Stage(scene, placed, texture, irradiance, tuple(strips))


def render_linear(stage: Stage) -> Floats:
    """Linear radiance on the sensor before lens blur, height x width x 3, float32."""
    scene, camera = stage.scene, stage.scene.camera
    picture, disc = _sheet_layer(stage)
    picture = blur_by_map(picture, disc)
    around = surroundings_of(stage)
    coverage = np.zeros(picture.shape[:2], np.float32)
    rng = np.random.default_rng([scene.seed, 1])
    for one in sorted(stage.placed, key=lambda p: p.pose.height_mm):
        polished = around.for_metal(one.instrument.finish)
        for body in one.bodies:
            solid = fragments_of(one, body, camera, polished if body.name == "metal" else around, rng)
            if solid is not None:
                lay_over(picture, coverage, solid)
    return picture


def surroundings_of(stage: Stage) -> Surroundings:
    """What the metal of a staged scene mirrors."""
    scene = stage.scene
    return surroundings(CPU, scene.light, scene.blocker, stage.texture, stage.irradiance, stage.shadows, _middle(stage))


def _middle(stage: Stage) -> Floats:
    """A point at a handle's height where the picture looks, sheet coordinates."""
    return np.array([*stage.scene.camera.target_mm, 2.0])


def _seen_box(camera: Camera) -> tuple[float, float, float, float]:
    """Sheet rectangle (x0, y0, x1, y1) that holds everything the picture sees, with a margin for mirrored parts."""
    w, h = camera.width_px - 1, camera.height_px - 1
    edge = np.array([[0, 0], [w / 2, 0], [w, 0], [w, h / 2], [w, h], [w / 2, h], [0, h], [0, h / 2]], float)
    xy = camera.on_sheet(edge)
    low, high = xy.min(0) - 1.0, xy.max(0) + 1.0
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])


def _sheet_layer(stage: Stage) -> tuple[Floats, Floats]:
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
    return out, disc


def _sheet_radiance(stage: Stage, x: Floats, y: Floats, ray: Floats) -> Floats:
    def look(table: Floats, place: tuple[Floats, Floats]) -> Floats:
        u, v = (np.asarray(a, np.float32) for a in place)
        return np.asarray(cv2.remap(table, u, v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE))

    texture, light = stage.texture, stage.irradiance
    where = texture.columns_rows(x, y)
    share = look(texture.white_share, where)
    falling = look(light.table, light.columns_rows(x, y)) / np.pi
    for strip in stage.shadows:
        falling = falling * look(strip.table, strip.columns_rows(np, x, y))
    room = stage.scene.light
    out = texture.reflectance(share) * falling
    if any(room.glow):
        out = out + np.array(room.glow, np.float32) * (0.08 + 0.92 * share)[..., None]
    if texture.present is not None:
        here = look(texture.present, where)[..., None]
        below = np.array(texture.paper.table, np.float32) * 0.4 * falling
        if room.backlight is not None:
            below = room.backlight.radiance(CPU, x, y, ray / np.linalg.norm(ray, axis=-1, keepdims=True))
        out = out * here + (1 - here) * below
    return np.asarray(out, np.float32)


def _paper_level(stage: Stage) -> float:
    """Radiance (green) of white, unshadowed paper in the middle of the picture."""
    x, y = stage.scene.camera.target_mm
    light = stage.irradiance.at(x, y)[1]
    return float(light * stage.scene.paper.white[1] / np.pi + stage.scene.light.glow[1])
