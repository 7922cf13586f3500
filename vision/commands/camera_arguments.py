"""The arguments of `camera`; imports nothing heavy, so that --help is quick."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path

CAMERA_TEXT = "Find out a camera's lens from several photos of the sheet, so that its height above the sheet is known."
CALIBRATE_TEXT = (
    "Photograph the empty sheet 6 times or more with the zoom you measure with: straight down, and tilted by 15 to 30 degrees "
    "to the left, right, front and back, some of them from nearer or further away. The sheet lies flat."
)


def add_camera(parser: argparse.ArgumentParser) -> None:
    """Add calibrate, list and show."""
    parser.description = CAMERA_TEXT
    below = parser.add_subparsers(title="actions", metavar="ACTION", required=True)
    make = below.add_parser(
        "calibrate", help="work out a profile", description=f"{CAMERA_TEXT} {CALIBRATE_TEXT}", allow_abbrev=False
    )
    make.add_argument(
        "photos", nargs="+", type=Path, metavar="PHOTO", help="photos of the sheet, as the camera wrote them"
    )
    make.add_argument("--name", metavar="NAME", help="what to call it (unstated: the camera's model and focal length)")
    make.add_argument("--out", type=Path, metavar="FILE", help="where to keep it (unstated: your settings folder)")
    make.add_argument("--picture", type=Path, metavar="DIR", help="draw residuals and coverage, as PNG files in DIR")
    make.add_argument("--prints", type=Path, metavar="FILE", help="the print checks to use (unstated: your own)")
    make.add_argument("--overwrite", action="store_true", help="replace a profile or pictures of the same name")
    make.set_defaults(run=_run("calibrate"))
    below.add_parser("list", help="list the profiles kept", allow_abbrev=False).set_defaults(run=_run("list_kept"))
    show = below.add_parser("show", help="print one profile", allow_abbrev=False)
    show.add_argument("profile", metavar="NAME", help="a kept name, or a file")
    show.set_defaults(run=_run("show"))


def _run(function: str) -> Callable[[argparse.Namespace], int]:
    def run(arguments: argparse.Namespace) -> int:
        from vision.commands import camera  # noqa: PLC0415 - loads the measuring libraries, which takes a second

        status: int = getattr(camera, function)(arguments)
        return status

    return run
