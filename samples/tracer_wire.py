"""A smooth wire on white paper, the simplest scene that shows every hard thing about edges, by both renderers."""

from dataclasses import dataclass, replace

import numpy as np
from scipy.ndimage import gaussian_filter1d

from samples.arrays import CPU, Floats
from samples.camera import Camera
from samples.draw_instrument import draw_instrument
from samples.instrument import Finish, Instrument
from samples.light import Backlight, Blocker, Light, Lobe
from samples.paper import Paper
from samples.pose import Pose
from samples.render import render_linear
from samples.scene import Laid, Scene
from samples.sensor import Sensor
from samples.stage import Stage, set_stage
from samples.tracer_rays import Tracing, trace_pixels
from samples.tracer_scene import build, world_origin

RADIUS_MM, X_MM, LANE_Y_MM, ABOVE_MM = 0.4, 50.0, 38.3, 200.0
WHITE, BLACK = 0.82, 0.001
COLUMNS = 24
BLUR_MM = 0.025
"""Standard deviation: 1.5 px at 60 px/mm."""

BODY = Blocker((X_MM, LANE_Y_MM), 0.0, ABOVE_MM, (75.0, 36.0), 3.0, (0.03,) * 3)
ROOM = Light("room", (1.0,) * 3, (0.3,) * 3, ())
WINDOW = Light("window", (0.25,) * 3, (0.25,) * 3, (Lobe(90.0, 35.0, 25.0, 15.0, 4.0, (9.0,) * 3),))
OFF = Light("off", (1e-4,) * 3, (1e-4,) * 3, ())
SCREEN = Backlight((X_MM, LANE_Y_MM), (60.0, 45.0), 100.0, (1.0,) * 3, dark=(0.0,) * 3)


@dataclass(frozen=True)
class Profile:
    """Radiance (green) across the wire: `at` in radii from the axis, `level` as a share of bare paper or window."""

    at: Floats
    level: Floats


def wire(alpha: float) -> Instrument:
    """A round wire of rough metal, 0.8 mm thick, 30 mm long."""
    base = draw_instrument(np.random.default_rng(0), "k-file", 40, 25)
    return replace(
        base,
        family="other",
        cross_section="round",
        twist=None,
        blank_d0_mm=2 * RADIUS_MM,
        taper_mm_per_mm=0.0,
        blank_length_mm=30.0,
        blank_working_part_mm=29.0,
        shank_width_mm=2 * RADIUS_MM,
        stop=None,
        tip_kind="cone",
        tip_angle_deg=120.0,
        finish=Finish((0.6,) * 3, alpha, 0.0),
    )


def wire_scene(light: Light, paper: float = WHITE, alpha: float = 0.12, px_per_mm: float = 200.0) -> Scene:
    """The wire on bare paper, seen from straight above and 200 mm away through a pinhole, without blur."""
    height = round((2.0 if light.backlight is None else 0.9) * px_per_mm)
    camera = Camera(
        "wire",
        COLUMNS,
        height,
        36 * ABOVE_MM * px_per_mm / height,
        px_per_mm,
        (X_MM, LANE_Y_MM),
        focal_mm=0.001,
        blur_px=0.0,
        vignetting=0.0,
    )
    bare = Paper(white=(paper,) * 3, ink=(paper,) * 3, grain=0.0)
    if light.backlight is not None:
        bare = replace(bare, window_mm=(X_MM - 14.0, LANE_Y_MM - 3.0, X_MM + 14.0, LANE_Y_MM + 3.0))
    body = BODY if light.backlight is None else None
    pose = Pose("flat", X_MM - 15.0, LANE_Y_MM, RADIUS_MM + 0.001, 0.0)
    return Scene("A4-1", (Laid(wire(alpha), pose),), camera, light, bare, Sensor(), body, supersample=4)


def own_profile(scene: Scene) -> Profile:
    """By the renderer of these samples."""
    return _profile(scene, render_linear(set_stage(scene, CPU))[:, 2:-2, 1].mean(1))


def traced_profile(scene: Scene, how: Tracing, columns: int = COLUMNS) -> Profile:
    """By the path tracer, from the middle `columns` of the picture."""
    stage = set_stage(scene, CPU)
    first = (scene.camera.width_px - columns) // 2
    grid = np.meshgrid(first + np.arange(columns), np.arange(scene.camera.height_px))
    px = np.stack(grid, -1).reshape(-1, 2)
    light = trace_pixels(build(stage), scene.camera, world_origin(stage), px, how)
    return _profile(scene, light[:, 1].reshape(-1, columns).mean(1))


def _profile(scene: Scene, level: Floats) -> Profile:
    rows = np.arange(level.size) - (level.size - 1) / 2
    seen_radius_mm = RADIUS_MM * ABOVE_MM / np.sqrt((ABOVE_MM - RADIUS_MM) ** 2 - RADIUS_MM**2)
    return Profile(rows / scene.camera.px_per_mm / seen_radius_mm, level)


def paper_level(stage: Stage) -> float:
    """Radiance (green) of white, unshadowed paper in the middle of the picture: what the exposure is set by."""
    light, paper = stage.scene.light, stage.scene.paper
    falling = stage.irradiance.at(*stage.scene.camera.target_mm)[1]
    return float(falling * paper.white[1] / np.pi + light.glow[1])


def share_of(profile: Profile, paper: float) -> Profile:
    """The same in shares of `paper`, a radiance."""
    return Profile(profile.at, profile.level / paper)


@dataclass(frozen=True)
class Edges:
    """What an edge detector meets, in radii, mean of both sides: `first` where the profile first steps (steepest within
    5 % of the true edge), `step` how much it falls there, in shares of paper; `steepest` where the strongest gradient lies
    once a lens has blurred the profile by BLUR_MM.
    """

    first: float
    step: float
    steepest: float


def edges_of(profile: Profile) -> Edges:
    """Measure one profile (levels in shares of paper)."""
    middle = 0.5 * (profile.at[1:] + profile.at[:-1])
    slope = np.abs(np.diff(profile.level))
    step_mm = (profile.at[1] - profile.at[0]) * RADIUS_MM
    blurred = np.abs(np.diff(gaussian_filter1d(profile.level, BLUR_MM / step_mm, mode="nearest")))
    first, steepest, step = [], [], []
    for side in (-1.0, 1.0):
        y, at = side * middle, side * profile.at
        near, on_side = np.abs(y - 1.0) < 0.05, y > 0.05
        first.append(y[near][slope[near].argmax()])
        steepest.append(y[on_side][blurred[on_side].argmax()])
        outside, inside = (at > 1.01) & (at < 1.11), (at > 0.89) & (at < 0.99)
        step.append(profile.level[outside].mean() - profile.level[inside].mean())
    return Edges(float(np.mean(first)), float(np.mean(step)), float(np.mean(steepest)))


def mirrored_from(bright: Profile, dark: Profile | None = None) -> float:
    """Where, in radii, the mirrored sheet (or screen) begins: half of its level just inside the edge, both sides' mean.

    `dark` is the profile on black paper, taken away first.
    """
    level = bright.level - (0.0 if dark is None else dark.level)
    found = []
    for side in (-1, 1):
        at, on = side * bright.at[::side], level[::side]
        inside = (at > 0.3) & (at < 0.995)
        at, on = at[inside], on[inside]
        full = float(np.median(on[at > 0.985])) if dark is None else float(np.median(on[(at > 0.85) & (at < 0.97)]))
        k = int(np.argmax(on > 0.5 * full))
        found.append(float(np.interp(0.5 * full, on[k - 1 : k + 1], at[k - 1 : k + 1])))
    return float(np.mean(found))
