"""The arguments of `verify`; imports nothing heavy, so that --help is quick."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path

VERIFY_TEXT = (
    "Find out what your own set-up can decide: photograph pieces of known size several times, each time taken up and laid down "
    "again, by one person or several. Every step prints the next one."
)


def add_verify(parser: argparse.ArgumentParser) -> None:
    """Add new, add, next and report."""
    parser.description = VERIFY_TEXT
    below = parser.add_subparsers(title="actions", metavar="ACTION", required=True)
    new = below.add_parser("new", help="begin: which pieces, who, how often", allow_abbrev=False)
    new.add_argument("session", type=Path, metavar="SESSION", help="a new file that keeps the readings")
    new.add_argument(
        "--pieces", type=Path, required=True, metavar="LIST", help="TOML file of the pieces: README has one"
    )
    new.add_argument(
        "--person", nargs="+", default=["A"], metavar="CODE", help="codes of those who take part (unstated: A)"
    )
    new.add_argument(
        "--times", type=int, default=3, metavar="N", help="photos of each piece by each person (unstated: 3)"
    )
    new.set_defaults(run=_run("new"))
    add = below.add_parser("add", help="read one photo of one piece", allow_abbrev=False)
    add.add_argument("session", type=Path, metavar="SESSION", help="the file that 'new' made")
    add.add_argument("photo", type=Path, metavar="PHOTO", help="one photo with this one piece on the sheet")
    add.add_argument("--piece", required=True, metavar="NAME", help="which piece it shows")
    add.add_argument("--person", required=True, metavar="CODE", help="who laid it down and photographed it (a code)")
    add.add_argument("--held", action="store_true", help="the shaft was held down level, as in 'measure'")
    add.add_argument("--camera", metavar="NAME", help="the camera profile, as in 'measure'")
    add.add_argument("--prints", type=Path, metavar="FILE", help="the print checks to use, as in 'measure'")
    add.set_defaults(run=_run("add"))
    after = below.add_parser("next", help="say what to photograph next", allow_abbrev=False)
    after.add_argument("session", type=Path, metavar="SESSION", help="the file that 'new' made")
    after.set_defaults(run=_run("say_next"))
    report = below.add_parser("report", help="work out what the set-up can decide, and keep it", allow_abbrev=False)
    report.add_argument("session", type=Path, metavar="SESSION", help="the file that 'new' made")
    report.add_argument("--pdf", type=Path, metavar="FILE", help="write it as one page too")
    report.add_argument("--overwrite", action="store_true", help="replace an earlier result or PDF")
    report.set_defaults(run=_run("report"))


def _run(function: str) -> Callable[[argparse.Namespace], int]:
    def run(arguments: argparse.Namespace) -> int:
        from vision.commands import verify  # noqa: PLC0415 - loads the measuring libraries, which takes a second

        status: int = getattr(verify, function)(arguments)
        return status

    return run
