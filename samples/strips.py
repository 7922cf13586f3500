"""Crops along one shaft, rendered alone: for training and for studies that do not need the whole photo."""

from dataclasses import replace
from pathlib import Path

import numpy as np

from samples.instrument import Family
from samples.lay import PoseKind
from samples.photo import save
from samples.population import draw_macro
from samples.render import render
from samples.scene import Scene


def draw_strip(
    seed: int,
    family: Family | None = None,
    pose: PoseKind = "free",
    px_per_mm: float | None = None,
    *,
    height_px: int = 256,
    size: int | None = None,
    preset: str | None = None,
    used: bool = False,
) -> Scene:
    """The scene of `draw_macro`, its picture cut down to the shaft: the tip on the left, the axis within 3 degrees of
    level and within a few pixels of the middle.
    """
    rng = np.random.default_rng([seed, 9])
    px_per_mm = px_per_mm or float(rng.uniform(50, 100))
    scene = draw_macro(seed, family, pose, px_per_mm, size=size, preset=preset, image_px=(64, 64), used=used)
    laid, camera = scene.laid[0], scene.camera
    length = laid.instrument.length_mm
    middle = laid.pose.to_sheet(np.array([0.5 * length + 0.5, 0.0, 0.0]))
    width = int(np.ceil((length + 4.0) * camera.px_per_mm / 8) * 8)
    return replace(
        scene,
        camera=replace(
            camera,
            width_px=width,
            height_px=height_px,
            f35_mm=camera.f35_mm * 64 / max(width, height_px),
            turn_deg=laid.pose.azimuth_deg + float(rng.uniform(-3, 3)),
            target_mm=(float(middle[0]), float(middle[1] + rng.normal(0, 4) / camera.px_per_mm)),
        ),
    )


def write_strip(seed: int, folder: Path, family: Family | None, pose: PoseKind, used: bool) -> Path:
    """Render one strip to `folder`; returns the JPEG's path."""
    scene = draw_strip(seed, family, pose, used=used)
    picture, truth = render(scene)
    path = folder / f"{scene.laid[0].instrument.family}-{scene.laid[0].instrument.size:02d}-strip-{seed}.jpg"
    save(picture, truth, path, scene)
    return path
