"""Photos whose instrument a general-purpose path tracer lights (Mitsuba 3), for a second opinion on our own light.

    python -m samples.tracer photos OUT --count 6 --seed 3000
    python -m samples.tracer figure OUT.png

Needs the extra `tracer`. The whole instrument and a band of paper round it are traced; paper farther away, and nothing
else, comes from `samples.render`. Lens blur, sensor and JPEG are those of every sample.
"""

import argparse
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, replace
from functools import partial
from multiprocessing import get_context
from pathlib import Path
from time import perf_counter
from typing import Any

import cv2
import numpy as np

from samples.arrays import CPU, Floats
from samples.instrument import Family
from samples.lay import PoseKind
from samples.photo import save
from samples.population import draw_macro
from samples.render import render_linear
from samples.scene import Scene
from samples.sensor import develop, expose, fringe
from samples.stage import Stage, set_stage
from samples.tracer_figure import draw_figure
from samples.tracer_rays import Tracing, trace_pixels
from samples.tracer_scene import build, world_origin
from samples.tracer_window import joined, window_of
from samples.tracer_wire import paper_level
from samples.truth import truth_of

FAMILIES: tuple[Family, ...] = ("k-file", "reamer", "hedstroem-file", "barbed-broach")
SIZES = (15, 20, 25, 30, 35, 40, 45, 50, 55, 60, 70, 80)


def render_traced(scene: Scene, how: Tracing | None = None) -> tuple[Floats, dict[str, Any]]:
    """Picture (uint8, height x width x 3) and truth, as `samples.render.render` gives them, with the instrument and the
    paper next to it path-traced. The truth has one key more, `tracer`: how it was traced and how the seam fits.

    Not carried over: tarnish, debris and scratches of used instruments, and the camera body's soft edge.
    """
    how = how or Tracing(seed=scene.seed)
    stage = set_stage(scene, CPU)
    level = paper_level(stage)
    linear, told = _linear(stage, how, level)
    camera, sensor = scene.camera, scene.sensor
    if camera.blur_px > 0.15:
        linear = np.asarray(cv2.GaussianBlur(linear, (0, 0), camera.blur_px))
    rng = np.random.default_rng([scene.seed, 2])
    picture = develop(expose(fringe(linear, camera), camera, sensor, level), sensor, rng)
    return picture, truth_of(scene, stage.placed) | {"tracer": told}


def _linear(stage: Stage, how: Tracing, level: float) -> tuple[Floats, dict[str, Any]]:
    own = render_linear(stage)
    window = window_of(stage)
    loaded, origin = build(stage), world_origin(stage)
    traced = np.zeros_like(own)
    fewer = max(round((how.per_pixel / 2) ** 0.5), 1) ** 2
    for close, each in ((True, how), (False, replace(how, per_pixel=fewer, seed=how.seed + 1))):
        px = window.pixels(close)
        traced[px[:, 1], px[:, 0]] = trace_pixels(loaded, stage.scene.camera, origin, px, each)
    picture, seam = joined(own, traced, window, level, stage.scene.camera.px_per_mm)
    share = float((window.weight > 0).mean())
    return picture, {"per_pixel": how.per_pixel, "depth": how.depth, "window_share": share} | {
        f"seam_{name}": value for name, value in asdict(seam).items()
    }


def draw_scene(seed: int, pose: PoseKind, image_px: tuple[int, int]) -> Scene:
    """The scene of a seed: families in turn, sizes 15 to 80, 50 px/mm up to what the picture holds (140 at most)."""
    rng = np.random.default_rng([seed, 17])
    family = FAMILIES[seed % len(FAMILIES)]
    size = int(rng.choice([s for s in SIZES if s <= 60] if family == "barbed-broach" else SIZES))
    scale = float(np.exp(rng.uniform(np.log(50.0), np.log(140.0))))
    most = 0.93 * max(image_px) / (draw_macro(seed, family, pose, 60.0, size=size).laid[0].instrument.length_mm + 2.5)
    return draw_macro(seed, family, pose, min(scale, most), size=size, image_px=image_px)


def write_traced(seed: int, folder: Path, pose: PoseKind, image_px: tuple[int, int], per_pixel: int) -> Path:
    """Draw, trace and write one photo and its truth; returns the JPEG's path."""
    scene = draw_scene(seed, pose, image_px)
    picture, truth = render_traced(scene, Tracing(per_pixel, seed=seed))
    first = scene.laid[0].instrument
    path = folder / f"{first.family}-{first.size:02d}-traced-{pose}-{seed}.jpg"
    save(picture, truth, path, scene)
    return path


def main(argv: list[str] | None = None) -> int:
    """Run one command; returns the exit status."""
    args = _parser().parse_args(argv)
    start = perf_counter()
    for path in args.run(args):
        now = perf_counter()
        print(f"{path}  {now - start:.1f} s", flush=True)
        start = now
    return 0


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="python -m samples.tracer", description=__doc__)
    commands = parser.add_subparsers(required=True, metavar="COMMAND")
    photos = commands.add_parser("photos", help="close-up photos of one instrument each, with their truth")
    photos.add_argument("folder", type=Path, help="where the pictures go; made if missing")
    photos.add_argument("--count", type=int, default=1, help="how many (default 1)")
    photos.add_argument("--seed", type=int, default=3000, help="seed of the first; the next ones count up")
    photos.add_argument(
        "--pose", choices=("flat", "free"), default="flat", help="held level, or as statics lets it rest"
    )
    photos.add_argument("--image", type=_size, default=(3000, 2000), metavar="WxH", help="picture size in px")
    photos.add_argument("--per-pixel", type=int, default=256, help="paths a pixel next to the instrument (default 256)")
    photos.add_argument("--jobs", type=int, default=1, help="processes (default 1; each path tracer uses all cores)")
    photos.set_defaults(run=_photos)
    figure = commands.add_parser("figure", help="profile across one smooth wire by both renderers")
    figure.add_argument("file", type=Path, help="PNG to write")
    figure.add_argument("--per-pixel", type=int, default=1024, help="paths a pixel (default 1024)")
    figure.set_defaults(run=lambda args: draw_figure(args.file, args.per_pixel))
    return parser


def _size(text: str) -> tuple[int, int]:
    width, _, height = text.partition("x")
    try:
        return int(width), int(height)
    except ValueError:
        raise argparse.ArgumentTypeError(f"picture size must be WIDTHxHEIGHT, e.g. 3000x2000, is {text!r}") from None


def _photos(args: argparse.Namespace) -> Iterable[Path]:
    args.folder.mkdir(parents=True, exist_ok=True)
    seeds = range(args.seed, args.seed + args.count)
    one = partial(write_traced, folder=args.folder, pose=args.pose, image_px=args.image, per_pixel=args.per_pixel)
    if args.jobs == 1:
        return map(one, seeds)
    with ProcessPoolExecutor(args.jobs, mp_context=get_context("spawn")) as pool:
        return list(pool.map(one, seeds))


if __name__ == "__main__":
    raise SystemExit(main())
