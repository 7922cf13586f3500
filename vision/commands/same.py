"""`--same`: after the single photos, the combined reading of the one instrument that they show."""

from __future__ import annotations

import argparse
import os
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from rich.console import Console

from vision.call import Rules, Stated, restated
from vision.commands.given_photos import given_once
from vision.errors import UsageError
from vision.reading import CombinedReading
from vision.report.combined import print_combined, print_problems
from vision.report.words import plain
from vision.together import Looked, combine


def asked_same(arguments: argparse.Namespace) -> bool:
    """Tell whether photos are to be combined. Raises UsageError when there are fewer than two, or one of them twice."""
    if arguments.same and len(arguments.photos) < 2:
        raise UsageError("--same needs at least two photos of one instrument, got 1: name the others too")
    if arguments.same:
        given_once(arguments.photos)
    return bool(arguments.same)


def pictures_before(folder: Path) -> list[Path]:
    """The combined figure left there by an earlier run."""
    from vision.report.combined_figure import NAME  # noqa: PLC0415 - loads Matplotlib, which takes a second

    return [folder / NAME] if (folder / NAME).exists() else []


def together(
    kept: Sequence[Looked], *, held: bool, why: bool, out: Console, case: tuple[Rules, Stated]
) -> tuple[CombinedReading | None, bool]:
    """Combine and print; the second part tells whether something could not be done. A fault costs this reading alone.

    ``case``: the rules of the call, and what the user stated.
    """
    try:
        combined, problems = combine(kept, down=held)
    except Exception as error:  # the single readings stand
        if os.environ.get("FLUTEGAUGE_TRACEBACK"):
            raise
        combined, problems = None, (f"a fault inside the programme ({type(error).__name__}: {error}); the single readings stand",)
    print_problems(problems, out)
    if combined is not None:
        combined = replace(combined, instrument=restated(combined.instrument, *case))
        print_combined(combined, out, why=why)
    return combined, bool(problems)


def drawn_together(one: CombinedReading, folder: Path, *, overwrite: bool, out: Console) -> bool:
    """Draw the combined figure; a picture that fails is said and does not cost the reading."""
    from vision.report.combined_figure import save_combined  # noqa: PLC0415 - loads Matplotlib

    try:
        path = save_combined(one, folder, overwrite=overwrite)
    except Exception as error:  # as for the single photos' pictures
        if os.environ.get("FLUTEGAUGE_TRACEBACK"):
            raise
        out.print(f"no picture of the photos together: {type(error).__name__}: {plain(str(error))}; the numbers stand\n")
        return False
    out.print(f"picture: {plain(str(path))}\n", soft_wrap=True)
    return True
