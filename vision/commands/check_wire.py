"""The options of the check piece checked against each other, and their use on one photo."""

from __future__ import annotations

import argparse
import math
from dataclasses import dataclass, replace

from vision.check_piece import KnownWire
from vision.commands.check_arguments import ASSUMED_U_MM
from vision.correction import with_check_piece
from vision.errors import UsageError
from vision.reading import PhotoReading
from vision.together import Looked

THINNEST_MM, THICKEST_MM = 0.05, 1.8  # what the finder takes for a shaft


@dataclass(frozen=True)
class CheckWire:
    """What the user stated of the check piece, and whether widths are to be corrected by it."""

    known: KnownWire
    correct: bool
    notes: tuple[str, ...]


def check_wire(arguments: argparse.Namespace) -> CheckWire | None:
    """Check the options against each other. Raises UsageError."""
    diameter, u = arguments.check_wire, arguments.check_wire_u
    if diameter is None:
        for stray, name in ((u is not None, "--check-wire-u"), (arguments.correct, "--correct")):
            if stray:
                raise UsageError(f"{name} belongs to --check-wire, which is not there: state the wire's diameter with it")
        return None
    if getattr(arguments, "same", False):
        raise UsageError("--check-wire compares one photo at a time and does not go with --same: leave one of them out")
    if not THINNEST_MM <= diameter <= THICKEST_MM:
        raise UsageError(f"--check-wire needs a diameter from {THINNEST_MM} to {THICKEST_MM} mm, got {diameter:g}")
    if u is not None and not (math.isfinite(u) and 0.0 <= u < diameter):
        raise UsageError(f"--check-wire-u needs a number from 0 to the diameter ({diameter:g}), got {u:g}")
    notes = () if u is not None else (f"the check wire came without --check-wire-u: {ASSUMED_U_MM} mm is assumed",)
    return CheckWire(KnownWire(diameter, ASSUMED_U_MM if u is None else u), arguments.correct, notes)


def compared(reading: PhotoReading, looked: Looked, wire: CheckWire) -> PhotoReading:
    """Return the reading of one photo with its check piece. Raises PhotoError ``check-piece``."""
    candidates = [candidate for candidate, _ in looked.found]
    checked = with_check_piece(
        reading, looked.photo, looked.scale, looked.plane, candidates, wire.known, correct=wire.correct
    )
    return replace(checked, notes=(*checked.notes, *wire.notes))
