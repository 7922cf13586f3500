"""Command line: `python -m samples render | strangers | tray | views | strips | gallery | contact ...`."""

import argparse
from collections.abc import Callable, Iterable
from pathlib import Path
from time import perf_counter
from typing import get_args

from samples.contact import write_contact_sheet
from samples.draw_instrument import FAMILIES
from samples.draw_stranger import ALL_STRANGERS
from samples.gallery import write_gallery
from samples.instrument import Population
from samples.photo import write
from samples.population import Conditions, draw_macro, draw_stranger_macro
from samples.presets import CAMERAS, LIGHTS
from samples.scene import Scene
from samples.strips import write_strip
from samples.tray import draw_tray
from samples.views import draw_views


def main(argv: list[str] | None = None) -> int:
    """Run one command; returns the exit status."""
    args = _parser().parse_args(argv)
    if "folder" in args:
        args.folder.mkdir(parents=True, exist_ok=True)
    start = perf_counter()
    for path in args.run(args):
        now = perf_counter()
        print(f"{path}  {now - start:.1f} s")
        start = now
    return 0


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="python -m samples",
        description="Render invented photos of hand instruments on the scale sheet, each with its exact truth as JSON.",
    )
    commands = parser.add_subparsers(required=True, metavar="COMMAND")
    _add_render(_command(commands, "render", "close-up photos of one instrument each", _render))
    tray = _command(commands, "tray", "photos of a whole sheet with many instruments", _tray)
    tray.add_argument("--instruments", type=int, help="how many, 1 to 24 (default: drawn)")
    _add_population(tray)
    tray.add_argument("--light", choices=LIGHTS[:6], help="kind of light (default: drawn)")
    views = _command(commands, "views", "several photos of one instrument", _views)
    _add_subject(views)
    _add_population(views)
    views.add_argument("--mode", choices=("untouched", "turned", "re-laid"), default="untouched", help="what changes")
    views.add_argument("--views", type=int, default=2, help="photos of each instrument (default 2)")
    strips = _command(commands, "strips", "crops along the shaft alone", _strips)
    _add_subject(strips)
    strangers = _command(commands, "strangers", "close-ups of things that are no file, reamer or broach", _strangers)
    strangers.add_argument("--kind", choices=ALL_STRANGERS, help="what it is (default: drawn)")
    _add_photo(strangers)
    contact = commands.add_parser(
        "contact", help="24 small pictures on one page", description="Render a contact sheet."
    )
    contact.add_argument("path", type=Path, help="picture to write, .png or .jpg")
    contact.add_argument(
        "--seed", type=int, default=1, help="seed of the first picture; the next ones count up (default 1)"
    )
    contact.set_defaults(run=_contact)
    photos = _command(commands, "gallery", "the project's own sample photos", _gallery)
    photos.add_argument("--only", default="", help="only photos whose name contains this")
    return parser


def _command(
    commands: "argparse._SubParsersAction[argparse.ArgumentParser]",
    name: str,
    what: str,
    run: Callable[[argparse.Namespace], Iterable[Path]],
) -> argparse.ArgumentParser:
    parser = commands.add_parser(name, help=what, description=f"Render {what}.")
    parser.add_argument("folder", type=Path, help="where the pictures go; made if missing")
    if name != "gallery":
        parser.add_argument("--count", type=int, default=1, help="how many scenes (default 1)")
        parser.add_argument("--seed", type=int, default=1, help="seed of the first; the next ones count up (default 1)")
    parser.set_defaults(run=run)
    return parser


def _add_subject(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--family", choices=FAMILIES, help="draw only this family")
    parser.add_argument(
        "--pose", choices=("flat", "free"), default="flat", help="held level, or as statics lets it rest"
    )
    parser.add_argument(
        "--used", action="store_true", help="with damage, pre-curves and harmless marks, as use leaves them"
    )


def _add_render(parser: argparse.ArgumentParser) -> None:
    _add_subject(parser)
    parser.add_argument("--size", type=int, help="ISO size (default: drawn)")
    _add_population(parser)
    _add_photo(parser)


def _add_population(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--population",
        choices=get_args(Population),
        default="nominal",
        help="common sizes (nominal), every size and half size (wide), any diameter and taper (free)",
    )


def _add_photo(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--px-per-mm", type=float, help="scale at the sheet (default: drawn)")
    parser.add_argument("--camera", choices=sorted(CAMERAS), help="kind of camera (default: drawn)")
    parser.add_argument("--light", choices=LIGHTS, help="kind of light (default: drawn)")
    parser.add_argument(
        "--conditions", choices=get_args(Conditions), default="usual", help="usual, or hard: blur, harsh light, clutter"
    )
    parser.add_argument("--image", metavar="WxH", type=_size, help="picture size in px, a crop of the camera's")


def _size(text: str) -> tuple[int, int]:
    width, _, height = text.partition("x")
    try:
        return int(width), int(height)
    except ValueError:
        raise argparse.ArgumentTypeError(f"picture size must be WIDTHxHEIGHT, e.g. 2592x1944, is {text!r}") from None


def _seeds(args: argparse.Namespace) -> range:
    return range(args.seed, args.seed + args.count)


def _named(scene: Scene, folder: Path, ending: str) -> Path:
    first = scene.laid[0].instrument
    return folder / f"{first.family}-{first.number:02d}-{ending}.jpg"


def _render(args: argparse.Namespace) -> Iterable[Path]:
    for seed in _seeds(args):
        scene = draw_macro(
            seed,
            args.family,
            args.pose,
            args.px_per_mm,
            size=args.size,
            preset=args.camera,
            light=args.light,
            image_px=args.image,
            used=args.used,
            population=args.population,
            conditions=args.conditions,
        )
        path = _named(scene, args.folder, f"{args.pose}-{seed}")
        write(scene, path)
        yield path


def _strangers(args: argparse.Namespace) -> Iterable[Path]:
    for seed in _seeds(args):
        scene = draw_stranger_macro(
            seed,
            args.kind,
            px_per_mm=args.px_per_mm,
            preset=args.camera,
            light=args.light,
            image_px=args.image,
            conditions=args.conditions,
        )
        path = args.folder / f"{scene.laid[0].instrument.stranger}-{seed}.jpg"
        write(scene, path)
        yield path


def _tray(args: argparse.Namespace) -> Iterable[Path]:
    for seed in _seeds(args):
        scene = draw_tray(seed, args.instruments, light=args.light, population=args.population)
        path = args.folder / f"tray-{len(scene.laid):02d}-{seed}.jpg"
        write(scene, path)
        yield path


def _views(args: argparse.Namespace) -> Iterable[Path]:
    for seed in _seeds(args):
        scenes = draw_views(
            seed, args.mode, args.views, args.family, args.pose, used=args.used, population=args.population
        )
        for k, scene in enumerate(scenes, 1):
            path = _named(scene, args.folder, f"{args.mode}-{seed}-view{k}")
            write(scene, path)
            yield path


def _strips(args: argparse.Namespace) -> Iterable[Path]:
    for seed in _seeds(args):
        yield write_strip(seed, args.folder, args.family, args.pose, args.used)


def _gallery(args: argparse.Namespace) -> Iterable[Path]:
    return write_gallery(args.folder, args.only)


def _contact(args: argparse.Namespace) -> Iterable[Path]:
    write_contact_sheet(args.path, args.seed)
    return [args.path]


if __name__ == "__main__":
    raise SystemExit(main())
