"""Command line: `python -m samples render ...`."""

import argparse
from pathlib import Path
from time import perf_counter

from samples.draw_instrument import FAMILIES
from samples.gallery import write_gallery
from samples.photo import write
from samples.population import draw_macro
from samples.presets import CAMERAS, LIGHTS


def main(argv: list[str] | None = None) -> int:
    """Run one command; returns the exit status."""
    args = _parser().parse_args(argv)
    status: int = args.run(args)
    return status


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="python -m samples", description="Render invented photos of hand instruments on the scale sheet."
    )
    commands = parser.add_subparsers(required=True, metavar="COMMAND")
    one = commands.add_parser(
        "render", help="render close-up photos", description="Render close-up photos, each with its truth as JSON."
    )
    one.add_argument("folder", type=Path, help="where the pictures go; made if missing")
    one.add_argument("--count", type=int, default=1, help="number of photos (default 1)")
    one.add_argument("--seed", type=int, default=1, help="seed of the first photo; the next ones count up (default 1)")
    one.add_argument("--family", choices=FAMILIES, help="draw only this family")
    one.add_argument("--size", type=int, help="ISO size (default: drawn)")
    one.add_argument("--pose", choices=("flat", "free"), default="flat", help="held level, or as statics lets it rest")
    one.add_argument("--px-per-mm", type=float, help="scale at the sheet (default: drawn)")
    one.add_argument("--camera", choices=sorted(CAMERAS), help="kind of camera (default: drawn)")
    one.add_argument("--light", choices=LIGHTS, help="kind of light")
    one.add_argument("--image", metavar="WxH", help="picture size in px, a crop of the camera's (e.g. 2592x1944)")
    one.set_defaults(run=_render)
    photos = commands.add_parser(
        "gallery", help="re-make the sample photos", description="Re-make the photos of samples/photos, seed by seed."
    )
    photos.add_argument("folder", type=Path, help="where they go")
    photos.add_argument("--only", default="", help="only photos whose name contains this")
    photos.set_defaults(run=_gallery)
    return parser


def _gallery(args: argparse.Namespace) -> int:
    for path in write_gallery(args.folder, args.only):
        print(path)
    return 0


def _render(args: argparse.Namespace) -> int:
    args.folder.mkdir(parents=True, exist_ok=True)
    width_height = tuple(int(v) for v in args.image.split("x")) if args.image else None
    for seed in range(args.seed, args.seed + args.count):
        start = perf_counter()
        scene = draw_macro(
            seed,
            args.family,
            args.pose,
            args.px_per_mm,
            size=args.size,
            preset=args.camera,
            light=args.light,
            image_px=width_height,  # type: ignore[arg-type]
        )
        first = scene.laid[0].instrument
        path = args.folder / f"{first.family}-{first.size:02d}-{args.pose}-{seed}.jpg"
        write(scene, path)
        print(f"{path}  {perf_counter() - start:.1f} s")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
