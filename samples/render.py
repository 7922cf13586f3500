"""Renders a scene: sheet, shadows, solids, blur, sensor."""

from typing import Any

import numpy as np

from samples.arrays import CPU, Array, Backend, Floats
from samples.fragments import fragments_of
from samples.images import gaussian
from samples.layers import Fragments, blur_by_map, in_front, lay_over
from samples.scene import Scene
from samples.sensor import develop, expose, fringe
from samples.sheet_layer import sheet_layer
from samples.stage import Stage, set_stage, surroundings_of
from samples.truth import truth_of


def render(scene: Scene, backend: Backend = CPU) -> tuple[Floats, dict[str, Any]]:
    """Picture (uint8, height x width x 3, red green blue) and truth (see samples/README.md) of a scene.

    `backend` runs all work on pixels and rays; only the CPU promises the same picture for the same seed everywhere.
    """
    stage = set_stage(scene, backend)
    linear = render_linear(stage)
    camera, sensor = scene.camera, scene.sensor
    level = _paper_level(stage)
    if camera.blur_px > 0.15:
        linear = gaussian(backend, linear, camera.blur_px)
    linear = fringe(linear, camera, backend)
    rng = np.random.default_rng([scene.seed, 2])
    picture = develop(expose(linear, camera, sensor, level, backend), sensor, rng, backend)
    return picture, truth_of(scene, stage.placed)


def render_linear(stage: Stage) -> Array:
    """Linear radiance on the sensor before lens blur, height x width x 3, float32, where the stage's backend computes."""
    scene, camera = stage.scene, stage.scene.camera
    around = surroundings_of(stage)
    picture, disc = sheet_layer(stage, around)
    backend = around.backend
    picture = blur_by_map(picture, disc, backend)
    rng = np.random.default_rng([scene.seed, 1])
    for one in sorted(stage.placed, key=lambda p: p.pose.height_mm):
        middle = one.axis_points(np.array([0.5 * one.instrument.length_mm]))[0]
        near = around.near(middle)
        polished = near.for_metal(one.instrument.finish, middle)
        metal: Fragments | None = None
        for body in one.bodies:
            solid = fragments_of(one, body, camera, polished if body.name == "metal" else near, rng)
            if solid is None:
                continue
            lay_over(picture, solid, backend)
            shown = None if metal is None else in_front(metal, solid, backend)
            if shown is not None:
                lay_over(picture, shown, backend)
            metal = solid if body.name == "metal" else metal
    return picture


def _paper_level(stage: Stage) -> float:
    """Radiance (green) of white, unshadowed paper in the middle of the picture."""
    x, y = stage.scene.camera.target_mm
    light = stage.irradiance.at(x, y)[1]
    return float(light * stage.scene.paper.white[1] / np.pi + stage.scene.light.glow[1])
