"""The arguments of `desk`, `records` and `tags`; imports nothing heavy, so that --help is quick."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path
from typing import Any

RECORDS_TEXT = "Keep, move and check the records of the desk: photos, readings, instruments and what people decided."
Adder = Callable[..., argparse.ArgumentParser]


def add_records(parser: argparse.ArgumentParser) -> None:
    """Add the actions on records."""
    parser.description = RECORDS_TEXT
    below = parser.add_subparsers(title="actions", metavar="ACTION", required=True)
    one = _action(below.add_parser, "backup", "back_up", "write everything into one file")
    one.add_argument("file", type=Path, metavar="FILE", help="a new file; one that exists is never replaced")
    one = _action(below.add_parser, "restore", "bring_back", "bring a backup into an empty folder")
    one.add_argument("file", type=Path, metavar="FILE", help="a backup")
    one = _action(below.add_parser, "export", "write_export", "write every table for other programmes (no pictures)")
    one.add_argument("folder", type=Path, metavar="FOLDER", help="a new or empty folder")
    one.add_argument("--as", dest="kind", choices=("csv", "json", "parquet"), default="csv", help="unstated: csv")
    one = _action(below.add_parser, "import", "read_export", "bring an export into an empty folder")
    one.add_argument("folder", type=Path, metavar="FOLDER", help="an export")
    one = _action(below.add_parser, "retain", "retain", "set how long photos are kept, or remove those that are due")
    one.add_argument("--photos-days", type=int, metavar="N", help="keep photos for N days; 0 for ever")
    one.add_argument(
        "--apply", action="store_true", help="remove the pictures that are due; numbers and decisions stay"
    )
    _action(below.add_parser, "check", "verify", "check that the records are whole")


def add_desk(parser: argparse.ArgumentParser) -> None:
    """Add what the desk can be told."""
    parser.description = "Open a page on this computer to read photos and keep records. Ctrl+C closes it."
    _data(parser)
    parser.add_argument("--port", type=int, metavar="N", help="unstated: 8765, or a free one; 0: any free one")
    parser.add_argument(
        "--words", type=Path, metavar="FILE", help="another catalogue of the pages' sentences (a translation)"
    )
    parser.add_argument("--no-browser", action="store_true", help="print the address only")
    parser.add_argument(
        "--share", nargs="?", const="auto", metavar="ADDRESS",
        help="let phones on the local network send photos, after pairing (ADDRESS: this computer's there, if not found by itself)",
    )  # fmt: skip
    parser.set_defaults(run=_desk)


def add_tags(parser: argparse.ArgumentParser) -> None:
    """Add what can be printed as tags."""
    parser.description = "Write a PDF of code tags for instruments and kits, and labels of slots. A tag in a photo names what lies there."
    parser.add_argument("codes", nargs="*", metavar="CODE", help="codes of instruments")
    parser.add_argument("--kit", metavar="CODE", help="a tag for this kit, stand or box, made if it is new")
    parser.add_argument("--slots", type=int, default=0, metavar="N", help="labels for slots 1 to N")
    parser.add_argument("--add", action="store_true", help="add codes that are not in the records yet")
    parser.add_argument("--paper", choices=("a4", "letter"), default="a4", help="the paper (unstated: a4)")
    parser.add_argument("--out", type=Path, metavar="FILE", help="where to write (unstated: flutegauge-tags.pdf, here)")
    parser.add_argument("--overwrite", action="store_true", help="replace a file of the same name; otherwise none is")
    _data(parser)
    parser.set_defaults(run=_tags)


def _data(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--data", type=Path, metavar="DIR", help="the folder of the records (unstated: your own data folder)"
    )


def _desk(arguments: argparse.Namespace) -> int:
    from vision.commands.desk import desk  # noqa: PLC0415 - loads the web libraries

    return desk(arguments)


def _tags(arguments: argparse.Namespace) -> int:
    from vision.commands.tags import print_tags  # noqa: PLC0415 - loads the PDF libraries

    return print_tags(arguments)


def _action(adder: Adder, name: str, function: str, what: str) -> argparse.ArgumentParser:
    made = adder(name, help=what, description=f"{what[0].upper()}{what[1:]}.", allow_abbrev=False)
    made.add_argument(
        "--data", type=Path, metavar="DIR", help="the folder of the records (unstated: your own data folder)"
    )
    made.set_defaults(run=lambda arguments: _records(function, arguments))
    return made


def _records(function: str, arguments: argparse.Namespace) -> int:
    from vision.commands import records  # noqa: PLC0415 - loads the libraries of records

    action: Any = getattr(records, function)
    return records.run(action, arguments)
