"""Hard conditions: photos as people take them who have never been told how. All shares and ranges are invented.

Blur, too few or very many px/mm, strong JPEG, coloured light, deep shadows, glossy sheets, clutter, and the heavy
sharpening and smearing of cheap or eager phones. The truth stays as exact as ever.
"""

from dataclasses import replace

import numpy as np

from samples.camera import Camera
from samples.light import Light, Rgb
from samples.paper import Paper
from samples.presets import PROCESSING
from samples.scene import Scene
from samples.sensor import Sensor

HARD_LIGHTS = ("lamp", "one-sided", "lamp", "one-sided", "window", "office", "lit-sheet")


def hard_px_per_mm(rng: np.random.Generator) -> float:
    """The edge cases: half too coarse (14 to 40, log-uniform), a quarter ordinary, a quarter very close (100 to 140)."""
    pick = rng.random()
    low, high = (14.0, 40.0) if pick < 0.5 else (40.0, 100.0) if pick < 0.75 else (100.0, 140.0)
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def hard_light(rng: np.random.Generator) -> str:
    """A preset of light, mostly harsh ones."""
    return HARD_LIGHTS[int(rng.integers(len(HARD_LIGHTS)))]


def hardened(rng: np.random.Generator, scene: Scene) -> Scene:
    """The same scene under hard conditions: camera, light, paper and processing get worse, shapes and poses stay."""
    low, high = _lane_box(scene)
    return replace(
        scene,
        camera=_camera(rng, scene.camera),
        light=_light(rng, scene.light),
        paper=_clutter(rng, _paper(rng, scene.paper), low, high),
        sensor=_sensor(rng, scene.sensor),
    )


def _camera(rng: np.random.Generator, camera: Camera) -> Camera:
    """Out of focus by up to some millimetres, a softer lens, more fringes and darker corners."""
    return replace(
        camera,
        blur_px=camera.blur_px * float(np.exp(rng.uniform(0.1, 1.1))),
        focus_height_mm=camera.focus_height_mm + float(rng.normal(0, 1.2)),
        vignetting=float(rng.uniform(0.2, 0.6)),
        chroma_px=abs(float(rng.normal(0, 1.2))),
    )


def _light(rng: np.random.Generator, light: Light) -> Light:
    """Lamps and room in different colours, and less of the room's light, so that shadows are deep."""
    lamp, room, deep = _tint(rng), _tint(rng), float(rng.uniform(0.2, 0.9))
    lobes = tuple(replace(lobe, rgb=_times(lobe.rgb, lamp)) for lobe in light.lobes)
    low, high = (_times(_times(level, room), (deep,) * 3) for level in (light.ambient_low, light.ambient_high))
    return replace(light, lobes=lobes, ambient_low=low, ambient_high=high)


def _tint(rng: np.random.Generator) -> Rgb:
    """From candle to shade: red against blue up to 2 to 1, a little green or magenta."""
    warm, green = float(rng.uniform(-0.35, 0.35)), float(rng.normal(0, 0.05))
    return 1 + warm, 1 + green, 1 - warm


def _times(rgb: Rgb, by: Rgb) -> Rgb:
    return rgb[0] * by[0], rgb[1] * by[1], rgb[2] * by[2]


def _paper(rng: np.random.Generator, paper: Paper) -> Paper:
    """Often glossy, greyer, printed unevenly, cut beside the line."""
    kind = str(rng.choice(["matt", "laminated", "gloss"], p=(0.4, 0.3, 0.3)))
    dim = float(rng.uniform(0.7, 1.0))
    white = _times(paper.white, (dim,) * 3)
    mottle, beside = float(rng.uniform(0.2, 0.8)), float(np.clip(rng.normal(0, 0.3), -0.8, 0.4))
    cut = None if paper.cut_at_mm is None else paper.cut_at_mm + beside
    return replace(paper, kind=kind, white=white, mottle=mottle, cut_at_mm=cut)  # type: ignore[arg-type]


def _lane_box(scene: Scene) -> tuple[tuple[float, float], tuple[float, float]]:
    """Corners (nominal mm) of where the first instrument lies, 5 mm wider all round."""
    laid = scene.laid[0]
    ends = laid.pose.to_sheet(np.array([[0.0, 0, 0], [laid.instrument.length_mm, 0, 0]]))[:, :2]
    ends = ends / np.array(scene.paper.print_scale)
    low, high = ends.min(0) - 5.0, ends.max(0) + 5.0
    return (float(low[0]), float(low[1])), (float(high[0]), float(high[1]))


def _clutter(rng: np.random.Generator, paper: Paper, low: tuple[float, float], high: tuple[float, float]) -> Paper:
    """Print specks and lint about the instrument, many more than usual."""
    spots = rng.uniform(low, high, (int(rng.poisson(8)), 2))
    specks = tuple((float(x), float(y), float(rng.uniform(0.04, 0.3))) for x, y in spots)
    fibres = tuple(lint(rng, (float(x), float(y))) for x, y in rng.uniform(low, high, (int(rng.poisson(1.5)), 2)))
    return replace(paper, specks=(*paper.specks, *specks), lint=(*paper.lint, *fibres))


def lint(rng: np.random.Generator, start: tuple[float, float]) -> tuple[tuple[float, float], ...]:
    """A curly chain of points, 1.5 to 6 mm long."""
    steps = 40
    heading = (
        float(rng.uniform(0, 6.28))
        + np.cumsum(rng.normal(0, 0.12, steps))
        + np.linspace(0, float(rng.normal(0, 1.5)), steps)
    )
    stride = float(rng.uniform(1.5, 6.0)) / steps
    x, y = start[0] + stride * np.cumsum(np.cos(heading)), start[1] + stride * np.cumsum(np.sin(heading))
    return tuple((float(a), float(b)) for a, b in zip(x, y, strict=True))


def _sensor(rng: np.random.Generator, sensor: Sensor) -> Sensor:
    """Little light, a wrong white balance, badly exposed; one of the heavy treatments; strong JPEG."""
    name = str(rng.choice(sorted(PROCESSING)))
    warm = float(rng.normal(0, 0.1))
    return PROCESSING[name].apply(
        rng,
        replace(
            sensor,
            full_well=float(np.exp(rng.uniform(np.log(600), np.log(5000)))),
            read_noise=float(rng.uniform(4, 12)),
            white_balance=(1 + warm, 1.0, 1 - warm),
            exposure=float(rng.uniform(0.28, 0.92)),
            jpeg_quality=int(rng.integers(28, 71)),
        ),
    )
