"""The arguments of `sort`, `tray` and `study`; imports nothing heavy, so that --help is quick."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path

LISTS = "the list of what the tray must hold: .toml, .csv or .xlsx"


def add_sort(parser: argparse.ArgumentParser) -> None:
    """Add `sort`."""
    parser.description = (
        "Say what lies where on a tray, grouped by family and size in the order of putting away; damaged and undecided apart."
    )
    parser.add_argument("photos", nargs="+", type=Path, metavar="PHOTO", help="photos of one tray; what two of them show counts once")
    parser.add_argument("--picture", type=Path, metavar="DIR", help="draw every photo with numbers and group letters, as PNG files in DIR")
    parser.add_argument("--pdf", type=Path, metavar="FILE", help="write the slip, to be printed")
    parser.add_argument("--relaid", action="store_true", help="the instruments were laid anew between the photos: join nothing")
    _add_common(parser)
    parser.set_defaults(run=_run("sort", "sort_photos"))


def add_tray(parser: argparse.ArgumentParser) -> None:
    """Add `tray check`, `tray list` and `tray class`."""
    parser.description = "Compare a tray with the list of what it must hold."
    below = parser.add_subparsers(title="actions", metavar="ACTION", required=True)
    check = below.add_parser("check", help="one tray against a list", allow_abbrev=False)
    check.add_argument("photos", nargs="+", type=Path, metavar="PHOTO", help="photos of one tray: an overview, close-ups if needed")
    check.add_argument("--list", type=Path, required=True, metavar="LIST", help=LISTS)
    check.add_argument("--picture", type=Path, metavar="DIR", help="draw every photo with its numbers")
    check.add_argument("--pdf", type=Path, metavar="FILE", help="write the check as a page")
    check.add_argument("--relaid", action="store_true", help="the instruments were laid anew between the photos: join nothing")
    _add_common(check)
    check.set_defaults(run=_run("tray", "check"))
    new = below.add_parser("list", help="write a list from a photo of a correct tray", allow_abbrev=False)
    new.add_argument("photos", nargs="+", type=Path, metavar="PHOTO", help="photos of one correct tray")
    new.add_argument("--out", type=Path, required=True, metavar="LIST", help="the list to write: .toml, .csv or .xlsx")
    new.add_argument("--name", default="", metavar="TEXT", help="what to call it (unstated: the file's name)")
    new.add_argument("--slots", action="store_true", help="ask for every instrument in the lane or slot where it lies now")
    _add_common(new)
    new.set_defaults(run=_run("tray", "new_list"), relaid=False)
    group = below.add_parser("class", help="a folder of photos, one a student", allow_abbrev=False)
    group.add_argument("folder", type=Path, metavar="FOLDER", help="one photo a student; codes only, no names")
    group.add_argument("--list", type=Path, required=True, metavar="LIST", help=LISTS)
    group.add_argument("--codes", type=Path, metavar="CSV", help="columns photo and code (unstated: the file's name is the code)")
    group.add_argument("--csv", type=Path, metavar="FILE", help="write all rows as one table")
    group.add_argument("--pdf", type=Path, metavar="FILE", help="write the report: retakes first, one table, a page a tray")
    _add_common(group)
    group.set_defaults(run=_run("tray", "check_class"), relaid=False)


def add_study(parser: argparse.ArgumentParser) -> None:
    """Add `study`."""
    parser.description = "Learn to tell instruments apart: cards and a quiz on rendered, invented instruments, with sources."
    parser.add_argument("--cards", action="store_true", help="show cards with their answers instead of asking")
    parser.add_argument("--count", type=int, default=8, metavar="N", help="how many questions or cards (unstated: 8)")
    parser.add_argument("--seed", type=int, default=1, metavar="N", help="the same seed gives the same quiz (unstated: 1)")
    parser.add_argument("--pdf", type=Path, metavar="FILE", help="write the quiz with its key, to be printed, and ask nothing")
    parser.add_argument("--keep-score", type=Path, metavar="FILE", help="add the score to this file; unstated, none is kept")
    parser.add_argument("--pictures", type=Path, metavar="DIR", help="render the cards' pictures into DIR (half a minute each)")
    parser.add_argument("--overwrite", action="store_true", help="replace files of the same name; otherwise none is")
    parser.set_defaults(run=_run("study", "study"))


def _add_common(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--prints", type=Path, metavar="FILE", help="the print checks to use, as in 'measure'")
    parser.add_argument("--camera", metavar="NAME", help="the camera profile, as in 'measure'")
    parser.add_argument("--overwrite", action="store_true", help="replace files of the same name; otherwise none is")


def _run(module: str, action: str) -> Callable[[argparse.Namespace], int]:
    def run(arguments: argparse.Namespace) -> int:
        from importlib import import_module  # noqa: PLC0415 - what measures and draws is loaded only when asked for

        status: int = getattr(import_module(f"vision.commands.{module}"), action)(arguments)
        return status

    return run
