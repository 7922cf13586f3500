"""Draws whole scenes at random, reproducibly by seed."""

from dataclasses import replace
from typing import Literal

import numpy as np

from calib.sheet import Lane, sheet_named, sheets
from samples.aim import aim
from samples.draw_damage import used_instrument
from samples.draw_free import draw_of
from samples.draw_stranger import ALL_STRANGERS, draw_stranger, with_own_end
from samples.hardship import hard_light, hard_px_per_mm, hardened, lint
from samples.instrument import Family, Instrument, Population
from samples.lay import PoseKind, lay
from samples.paper import Paper
from samples.presets import CAMERAS, backlight, camera_body, draw_light
from samples.scene import Scene
from samples.sensor import Sensor

__all__ = [
    "Conditions",
    "PoseKind",
    "draw_macro",
    "draw_paper",
    "draw_sensor",
    "draw_stranger_macro",
    "litter",
    "over_window",
]

Conditions = Literal["usual", "hard"]


def draw_macro(
    seed: int,
    family: Family | None = None,
    pose: PoseKind = "flat",
    px_per_mm: float | None = None,
    *,
    size: int | None = None,
    preset: str | None = None,
    light: str | None = None,
    sheet_id: str | None = None,
    image_px: tuple[int, int] | None = None,
    instrument: Instrument | None = None,
    turn_deg: float | None = None,
    used: bool = False,
    population: Population = "nominal",
    conditions: Conditions = "usual",
) -> Scene:
    """One instrument on the sheet, as photographed close up; what is not given is drawn.

    pose 'flat': shaft level just above the paper, handle in the slot or beyond the sheet's edge; 'free': as statics
    let it rest. px_per_mm is the scale at the sheet under the camera. image_px changes the picture's size, not the
    distance: a crop of the preset's picture. used: the instrument has been through some treatments (`used_instrument`).
    population: 'nominal' (common sizes 15 to 80), 'wide' (every size, half sizes, odd handle colours) or 'free' (any
    diameter, taper and length); see `draw_free`. conditions 'hard': blur, odd scales, harsh light, gloss, clutter,
    heavy processing, strong JPEG; see `hardship`.
    """
    rng, extra = np.random.default_rng(seed), np.random.default_rng([seed, 5])
    worse = np.random.default_rng([seed, 11]) if conditions == "hard" else None
    if worse is not None:
        px_per_mm, light = px_per_mm or hard_px_per_mm(worse), light or hard_light(worse)
    instrument = instrument or draw_of(rng, population, family, size)
    if used:
        instrument = used_instrument(extra, instrument)
    sheet = sheet_named(sheet_id or str(rng.choice(sorted(sheets()))))
    lane, laid, paper = lay(rng, sheet, draw_paper(rng), instrument, pose)
    kind = CAMERAS[preset or str(rng.choice(["phone-12mp", "phone-12mp", "phone-48mp", "tele-macro"]))]
    camera = replace(aim(rng, kind, laid, px_per_mm, image_px, turn_deg), chroma_px=abs(float(extra.normal(0, 0.5))))
    blocker = camera_body(kind, rng, camera)
    scene = Scene(
        sheet=sheet.id,
        laid=(laid,),
        camera=camera,
        light=draw_light(rng, light),
        paper=litter(extra, paper, lane),
        sensor=draw_sensor(rng),
        blocker=blocker,
        seed=seed,
    )
    if scene.light.preset == "backlight":
        scene = over_window(extra, scene)
    return scene if worse is None else hardened(worse, scene)


def draw_stranger_macro(
    seed: int,
    kind: str | None = None,
    pose: PoseKind = "free",
    px_per_mm: float | None = None,
    *,
    preset: str | None = None,
    light: str | None = None,
    sheet_id: str | None = None,
    image_px: tuple[int, int] | None = None,
    conditions: Conditions = "usual",
) -> Scene:
    """A close-up of something that is no file, reamer or broach: one of ALL_STRANGERS, drawn unless given."""
    rng = np.random.default_rng([seed, 12])
    kind = kind or ALL_STRANGERS[int(rng.integers(len(ALL_STRANGERS)))]
    stranger = with_own_end(rng, draw_stranger(rng, kind))
    return draw_macro(
        seed,
        None,
        pose,
        px_per_mm,
        instrument=stranger,
        preset=preset,
        light=light,
        sheet_id=sheet_id,
        image_px=image_px,
        conditions=conditions,
    )


def over_window(rng: np.random.Generator, scene: Scene) -> Scene:
    """The same with a window cut in the sheet under the shaft and a bright screen well below it."""
    laid, scale = scene.laid[0], scene.paper.print_scale
    ends = laid.pose.to_sheet(np.array([[-2.0, 0, 0], [laid.instrument.length_mm - 2.0, 0, 0]]))
    low, high = ends[:, :2].min(0), ends[:, :2].max(0)
    middle = 0.5 * (low + high)
    half = max(2.4, 0.5 * float(high[1] - low[1]) + 1.6)
    window = (low[0] / scale[0], (middle[1] - half) / scale[1], high[0] / scale[0], (middle[1] + half) / scale[1])
    x0, y0, x1, y1 = (float(v) for v in window)
    patch = backlight(rng, (float(middle[0]), float(middle[1])), float(rng.uniform(0.5, 1.2)))
    paper = replace(scene.paper, window_mm=(x0, y0, x1, y1))
    return replace(scene, paper=paper, light=replace(scene.light, backlight=patch))


def litter(rng: np.random.Generator, paper: Paper, lane: Lane) -> Paper:
    """Now and then a laminated or glossy sheet, print specks, a piece of lint."""
    kind = rng.choice(["matt", "laminated", "gloss"], p=(0.78, 0.14, 0.08))
    specks = tuple((*_spot(rng, lane), float(rng.uniform(0.04, 0.2))) for _ in range(int(rng.poisson(0.7))))
    fibres = tuple(lint(rng, _spot(rng, lane)) for _ in range(int(rng.random() < 0.15)))
    return replace(paper, kind=str(kind), specks=specks, lint=fibres)  # type: ignore[arg-type]


def _spot(rng: np.random.Generator, lane: Lane) -> tuple[float, float]:
    return float(rng.uniform(lane.x0_mm, lane.x1_mm)), float(rng.uniform(lane.y0_mm, lane.y1_mm))


def draw_paper(rng: np.random.Generator) -> Paper:
    """Office paper and print, with print scale off by up to 1 % and ink spread up to 40 um."""
    white = float(rng.uniform(0.74, 0.9))
    tint = rng.normal(0, 0.008, 3)
    red, green, blue = (float(white * (1 + t)) for t in tint)
    ink = float(rng.uniform(0.03, 0.07))
    return Paper(
        white=(red, green, blue),
        ink=(ink, ink, ink * 1.03),
        print_scale=(
            1 + float(np.clip(rng.normal(0, 0.004), -0.01, 0.01)),
            1 + float(np.clip(rng.normal(0, 0.004), -0.01, 0.01)),
        ),
        ink_spread_um=float(rng.uniform(0, 40)),
        grain=float(rng.uniform(0.006, 0.018)),
        mottle=float(rng.uniform(0.05, 0.4)),
        seed=int(rng.integers(1 << 30)),
    )


def draw_sensor(rng: np.random.Generator) -> Sensor:
    """A phone's picture, from clean and soft to noisy and crisp."""
    warm = float(rng.normal(0, 0.05))
    return Sensor(
        full_well=float(np.exp(rng.uniform(np.log(2000), np.log(12000)))),
        read_noise=float(rng.uniform(2, 6)),
        white_balance=(1 + warm, 1.0, 1 - warm),
        exposure=float(rng.uniform(0.42, 0.8)),
        mosaic=bool(rng.random() < 0.7),
        denoise=float(rng.uniform(0, 0.8)),
        sharpen=float(rng.uniform(0, 0.9)),
        sharpen_px=float(rng.uniform(0.8, 1.4)),
        contrast=float(rng.uniform(0, 0.4)),
        jpeg_quality=int(rng.integers(70, 97)),
    )
