"""The command line `flutegauge`: parse, call, print. Whatever goes wrong ends in one plain sentence, never a traceback.

Exit status: 0 all photos were examined; 2 at least one could not be (the others are done); 64 the command line is wrong;
1 the computer could not do its part (a library is missing, a file could not be written); 130 interrupted.
"""

from __future__ import annotations

import argparse
import contextlib
import errno
import os
import sys
from collections.abc import Sequence
from pathlib import Path

from vision.commands.arguments import add_desk, add_records, add_tags
from vision.commands.batch_arguments import WEB, add_batch, photo_argument
from vision.commands.call_arguments import add_call
from vision.commands.camera_arguments import add_camera
from vision.commands.check_arguments import add_check_wire
from vision.commands.libraries import missing
from vision.commands.parser import WRONG_USAGE, Parser, decimal
from vision.commands.tray_arguments import add_sort, add_study, add_tray
from vision.commands.verify_arguments import add_verify
from vision.errors import UsageError

FINE, FAILED, PHOTO_FAILED, INTERRUPTED = 0, 1, 2, 130
NO_ROOM = (errno.ENOSPC, errno.EFBIG, errno.EDQUOT)

MEASURE_TEXT = """Examine photos of root-canal hand instruments: what each is, how big, how sure, what looks wrong."""
AFTER_TEXT = """\
A photo can give reasons to discard an instrument; it cannot clear one. Photograph after cleaning and drying and
BEFORE sterilising. README.md has the cautions in full.
Exit status: 0 fine; 2 a photo could not be examined, the others were; 64 wrong usage; 1 a file could not be written or
a system library is missing."""


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command line and return its exit status."""
    # Many small fits: more threads would only wait for one another. Asked as NumPy loads, which no import above does.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    for stream in (sys.stdout, sys.stderr):
        with contextlib.suppress(AttributeError, ValueError):
            stream.reconfigure(errors="replace")  # type: ignore[union-attr]  # a terminal that lacks a sign shows '?'
    try:
        arguments = parser().parse_args(argv)
        status: int = arguments.run(arguments)
        sys.stdout.flush()
    except BrokenPipeError:  # the reader, for instance 'head', has seen enough
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return FINE
    except (Exception, KeyboardInterrupt) as error:  # the last net: a user gets a sentence
        if os.environ.get("FLUTEGAUGE_TRACEBACK"):  # and a developer what happened
            raise
        message, status = _explained(error)
        with contextlib.suppress(OSError):
            print(f"flutegauge: {message}", file=sys.stderr)
    return status


def _explained(error: BaseException) -> tuple[str, int]:
    """Return one sentence for a user and the exit status."""
    if isinstance(error, UsageError):
        return str(error), WRONG_USAGE
    if isinstance(error, KeyboardInterrupt):
        return "interrupted; what had been printed or written until then stands", INTERRUPTED
    if isinstance(error, ImportError):
        return missing(error), FAILED
    if isinstance(error, OSError) and error.errno in NO_ROOM:
        at = f"{error.filename}: " if error.filename else ""
        return f"{at}no room is left on the disk; what was written before is whole: free some space and run the same command again", FAILED
    if isinstance(error, OSError):
        what = f"{error.filename or 'a file'}: {error.strerror or error}"
        return f"{what}; nothing more was written: name another place, or ask for the right to write there", FAILED
    return f"a fault inside the programme ({type(error).__name__}: {error}): please report it", FAILED


def parser() -> Parser:
    """Return the parser of the whole command line; it imports nothing heavy, so that --help is quick."""
    whole = Parser(prog="flutegauge", description=MEASURE_TEXT, epilog=AFTER_TEXT, allow_abbrev=False)
    whole.add_argument("--version", action=_Version, nargs=0, help="print the version and exit")
    commands = whole.add_subparsers(title="commands", metavar="COMMAND", required=True)
    _add_measure(commands.add_parser("measure", help="examine photos", description=MEASURE_TEXT, allow_abbrev=False))
    _add_sheet(commands.add_parser("sheet", help="write the scale sheet, or check a print of it", allow_abbrev=False))
    add_camera(commands.add_parser("camera", help="find out a camera's lens from photos of the sheet", allow_abbrev=False))
    add_verify(commands.add_parser("verify", help="find out what your own set-up can decide", allow_abbrev=False))
    add_sort(commands.add_parser("sort", help="a whole tray, in the order of putting away", allow_abbrev=False))
    add_tray(commands.add_parser("tray", help="a whole tray against a list", allow_abbrev=False))
    add_study(commands.add_parser("study", help="learn to tell instruments apart", allow_abbrev=False))
    add_desk(commands.add_parser("desk", help="open the page on this computer", allow_abbrev=False))
    add_tags(commands.add_parser("tags", help="print code tags and slot labels", allow_abbrev=False))
    add_records(commands.add_parser("records", help="back up, restore, export the desk's records", allow_abbrev=False))
    return whole


def _add_measure(measure: argparse.ArgumentParser) -> None:
    measure.epilog = AFTER_TEXT
    forms = "JPEG, PNG, HEIC, AVIF, TIFF, WebP or BMP, up to 64 megapixels"
    measure.add_argument("photos", nargs="+", type=photo_argument, metavar="PHOTO", help=forms)
    measure.add_argument(
        "--json",
        metavar="FILE",
        help="write the readings as one JSON document; '-' prints it, and nothing else, on standard output",
    )
    measure.add_argument("--picture", type=Path, metavar="DIR", help="draw what was measured, as PNG files in DIR")
    measure.add_argument(
        "--why",
        action="store_true",
        help="print what speaks for family and size, each size limit with the text it stands in, and how many u the value lies from it; "
        "with --picture draw the strip beside ideal strips of each blank too",
    )
    measure.add_argument(
        "--budget",
        action="store_true",
        help="print what makes up each uncertainty; with --picture draw it too",
    )
    measure.add_argument(
        "--px-per-mm",
        type=decimal,
        metavar="X",
        help="the scale at the instrument, for a fixed set-up or a photo without a sheet; a sheet is then not looked for",
    )
    measure.add_argument(
        "--px-per-mm-u",
        type=decimal,
        metavar="U",
        help="standard uncertainty of X, in px/mm (unstated: 1 %% of X is assumed, and said)",
    )
    measure.add_argument(
        "--same",
        action="store_true",
        help="the photos show one and the same instrument: combine them (untouched with the camera moved, or laid down again)",
    )
    measure.add_argument(
        "--held",
        action="store_true",
        help="the shank was held down level (table edge or slot): 0 to 0.3 mm above the sheet is carried. Saying so does not prove it: "
        "not taken where the photo contradicts it",
    )
    measure.add_argument(
        "--prints", type=Path, metavar="FILE", help="the print checks to use (unstated: those that 'sheet check' kept)"
    )
    measure.add_argument(
        "--camera",
        metavar="NAME",
        help="the camera profile to use, by name or file; 'none' for none (unstated: the kept one that matches the photo)",
    )
    add_check_wire(measure)
    add_call(measure)
    add_batch(measure)
    measure.add_argument("--overwrite", action="store_true", help="replace files of the same name; otherwise none is")
    measure.set_defaults(run=_measure)


def _add_sheet(sheet: argparse.ArgumentParser) -> None:
    sheet.description = "Write the scale sheet. Print it at 100 % ('actual size'), then measure it once: 'sheet check'."
    sheet.add_argument("--paper", choices=("a4", "letter"), default="a4", help="the paper (unstated: a4)")
    sheet.add_argument(
        "--card", choices=("window", "mat"), help="instead of the scale sheet: the window card, for light from below, or the mat for a tray"
    )
    sheet.add_argument(
        "--out", type=Path, metavar="FILE", help="where to write (unstated: flutegauge-A4-1.pdf or so, here)"
    )
    sheet.add_argument("--png", action="store_true", help="write a picture of the whole page instead of a PDF")
    sheet.add_argument("--dpi", type=decimal, metavar="N", help="dots per inch of the picture (unstated: 600)")
    sheet.add_argument("--overwrite", action="store_true", help="replace a file of the same name; otherwise none is")
    sheet.set_defaults(run=_sheet)
    below = sheet.add_subparsers(title="print check", metavar="")
    check = below.add_parser(
        "check", help="keep the real lengths of the two check lines of a print", allow_abbrev=False
    )
    check.description = (
        "Measure the two check lines of a printed sheet, from the middle of one end tick to the middle of the other, and "
        "keep their lengths. Readings then carry a smaller uncertainty."
    )
    check.add_argument("--sheet", required=True, metavar="ID", dest="sheet_id", help="the sheet's name, e.g. A4-1")
    check.add_argument("--along", required=True, type=decimal, metavar="MM", help="length of the line ALONG, mm")
    check.add_argument("--across", required=True, type=decimal, metavar="MM", help="length of the line ACROSS, mm")
    check.add_argument("--u", type=decimal, metavar="MM", help="standard uncertainty of each (unstated: as the tool has)")
    check.add_argument("--tool", choices=("callipers", "ruler"), default="callipers", help="unstated: callipers")
    check.add_argument("--name", default="", metavar="TEXT", help="which printer or print this is, for your own memory")
    check.add_argument("--prints", type=Path, metavar="FILE", help="where to keep it (unstated: your settings folder)")
    check.set_defaults(run=_check)


class _Version(argparse.Action):
    def __call__(self, parser: argparse.ArgumentParser, *_: object) -> None:
        from vision.report.document import version  # noqa: PLC0415 - only when asked for

        print(f"flutegauge {version()}")
        parser.exit(FINE)


def _measure(arguments: argparse.Namespace) -> int:
    if arguments.out is not None:
        from vision.commands.batch import batch  # noqa: PLC0415 - the same

        return batch(arguments)
    for needless in ("jobs", "table", "cluster"):
        if getattr(arguments, needless) is not None:
            raise UsageError(f"--{needless} belongs to --out, which is not there: name a folder for the results with it")
    if any(isinstance(photo, str) for photo in arguments.photos):
        raise UsageError(f"an address ({WEB}) is read in a batch only: add --out, a folder for the results")
    from vision.commands.measure import measure  # noqa: PLC0415 - loads the measuring libraries, which takes a second

    return measure(arguments)


def _sheet(arguments: argparse.Namespace) -> int:
    from vision.commands.sheet import write_sheet  # noqa: PLC0415 - loads the PDF libraries

    return write_sheet(arguments)


def _check(arguments: argparse.Namespace) -> int:
    from vision.commands.sheet import check_print  # noqa: PLC0415 - loads the sheet's geometry

    return check_print(arguments)
