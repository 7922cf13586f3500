"""The same instrument twice: on the plain sheet, and over a window of the window card with a lit screen below."""

from dataclasses import replace

import numpy as np

from calib.sheet import sheet_named
from samples.instrument import Family
from samples.light import Backlight, Blocker, Light
from samples.lit_sheet import irradiance_of
from samples.paper import Paper
from samples.population import draw_macro
from samples.scene import Scene

PATCH_SHARE = 0.9
"""Width of the lit patch across the instrument over its distance: the most that the card's instructions allow."""


def draw_pair(
    seed: int,
    family: Family | None = None,
    size: int | None = None,
    *,
    px_per_mm: float = 60.0,
    image_px: tuple[int, int] = (2000, 1200),
    paper: str = "A4",
    preset: str | None = None,
) -> tuple[Scene, Scene]:
    """Scenes on the sheet and on the card, both held flat; instrument, roll, print, camera and sensor are the same.

    What must differ differs: where it lies, and the light (any room light on the sheet, side light over the window).
    """
    sheet, card = (f"{paper.upper()}-{end}" for end in ("1", "W1"))
    plain = draw_macro(
        seed, family, "flat", px_per_mm, size=size, image_px=image_px, sheet_id=sheet, turn_deg=0.0, preset=preset
    )
    laid = plain.laid[0]
    over = draw_macro(
        seed,
        None,
        "flat",
        px_per_mm,
        instrument=laid.instrument,
        image_px=image_px,
        sheet_id=card,
        light="backlight",
        turn_deg=0.0,
        preset=plain.camera.preset,
    )
    camera = replace(plain.camera, target_mm=over.camera.target_mm)
    moved = replace(
        over,
        camera=camera,
        laid=(replace(over.laid[0], pose=replace(over.laid[0].pose, roll_deg=laid.pose.roll_deg)),),
        sensor=plain.sensor,
    )
    return plain, lit_window(np.random.default_rng([seed, 11]), moved)


def lit_window(rng: np.random.Generator, scene: Scene) -> Scene:
    """The scene with the card's own window cut out under the shaft, and a masked screen right below it.

    The screen's light is 0.7 to 1.3 of that of the paper, as the instructions ask. The weight on the bridge is left out.
    """
    sx, sy = scene.paper.print_scale
    at = scene.laid[0].pose.origin / [sx, sy, 1.0]
    windows = sheet_named(scene.sheet).windows
    hole = min(windows, key=lambda w: abs(w.centre_mm[0] - float(at[0])))
    centre = hole.centre_mm[0] * sx, hole.centre_mm[1] * sy
    level = float(rng.uniform(0.7, 1.3)) * _paper_radiance(scene.light, scene.blocker, scene.paper, centre)
    depth = float(rng.uniform(70, 140))
    half = float(rng.uniform(55, 80)), PATCH_SHARE / 2 * depth
    screen = Backlight(centre, half, depth, (level, level, level))
    paper = replace(scene.paper, window_mm=(hole.x0_mm, hole.y0_mm, hole.x1_mm, hole.y1_mm))
    return replace(scene, paper=paper, light=replace(scene.light, backlight=screen))


def _paper_radiance(light: Light, blocker: Blocker | None, paper: Paper, at_mm: tuple[float, float]) -> float:
    """Radiance (green) of white, unshadowed paper at a sheet point."""
    x, y = at_mm
    falling = irradiance_of(light, blocker, (x - 5.0, y - 5.0, x + 5.0, y + 5.0)).at(x, y)
    return float(falling[1] * paper.white[1] / np.pi)
