"""A scene made ready: solids placed, sheet drawn, light and shadows summed."""

from dataclasses import dataclass

import numpy as np

from calib.sheet import sheet_named
from samples.arrays import Backend
from samples.bodies import Placed, place
from samples.camera import Camera
from samples.lit_sheet import Irradiance, ShadowStrip, irradiance_of, shadow_strip
from samples.paper import SheetTexture, sheet_texture
from samples.scene import Scene
from samples.shadow import light_rays
from samples.surroundings import Surroundings, surroundings

SAME_LIGHT_SHARE = 0.15
"""Two instruments nearer to each other than this share of the camera's height see the same light."""


@dataclass(frozen=True)
class Stage:
    """A scene made ready: solids placed, sheet drawn, light summed."""

    scene: Scene
    placed: tuple[Placed, ...]
    texture: SheetTexture
    irradiance: Irradiance
    shadows: tuple[ShadowStrip, ...]


def set_stage(scene: Scene, backend: Backend) -> Stage:
    """Place the solids, draw the sheet and sum the light."""
    camera = scene.camera
    supersample = scene.supersample or (3 if camera.px_per_mm > 35 else 4)
    placed = tuple(place(laid.instrument, laid.pose, backend, supersample) for laid in scene.laid)
    box = _seen_box(camera)
    texture = sheet_texture(sheet_named(scene.sheet), scene.paper, box, 1.25 * camera.px_per_mm)
    irradiance = irradiance_of(scene.light, scene.blocker, box, backend, scene.paper.kind != "matt")
    return Stage(scene, placed, texture, irradiance, _shadows(scene, placed, texture))


def _shadows(scene: Scene, placed: tuple[Placed, ...], texture: SheetTexture) -> tuple[ShadowStrip, ...]:
    """One strip an instrument; those close together share their view of the light."""
    paper = float(texture.reflectance(texture.coarse).mean())
    strips, rays, seen_from = [], None, np.zeros(3)
    for one in placed:
        at = one.axis_points(np.array([0.4 * one.instrument.length_mm]))[0] * [1.0, 1.0, 0.0]
        if rays is None or np.linalg.norm(at - seen_from) > SAME_LIGHT_SHARE * scene.camera.z_mm:
            rays, seen_from = light_rays(scene.light, scene.blocker, at, paper, scene.paper.kind != "matt"), at
        strips.append(shadow_strip(one, rays))
    return tuple(strips)


def surroundings_of(stage: Stage) -> Surroundings:
    """What the metal of a staged scene mirrors."""
    scene = stage.scene
    middle = np.array([*scene.camera.target_mm, 2.0])
    backend = stage.placed[0].surface.backend
    return surroundings(backend, scene.light, scene.blocker, stage.texture, stage.irradiance, stage.shadows, middle)


def _seen_box(camera: Camera) -> tuple[float, float, float, float]:
    """Sheet rectangle (x0, y0, x1, y1) that holds everything the picture sees, with a margin for mirrored parts."""
    w, h = camera.width_px - 1, camera.height_px - 1
    edge = np.array([[0, 0], [w / 2, 0], [w, 0], [w, h / 2], [w, h], [w / 2, h], [0, h], [0, h / 2]], float)
    xy = camera.on_sheet(edge)
    low, high = xy.min(0) - 1.0, xy.max(0) + 1.0
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])
