"""Stage 8e: InstrumentReading, check piece -> the same reading with the piece's bias taken off its widths, on request.

D' = D - b, b = measured - known. What both share goes out of the difference, what is the piece's own comes in (JCGM 100:2008,
5.2: correlated estimates): the sheet's scale acts on D - D_piece only, and the common part of the outline's error is
replaced by the piece's own u.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from vision.check_piece import KnownWire, check_against
from vision.conformity import judge_reading
from vision.find import Candidate
from vision.photo import Photo
from vision.plane import Plane
from vision.quantity import Quantity, combined
from vision.reading import CheckReading, InstrumentReading, PhotoReading
from vision.scale import Scale

WIDTHS = ("d0_mm", "d16_mm", "shank_width_mm", "tip_width_mm")  # the taper is a difference: a bias drops out of it
SHEET = ("scale", "print scale", "marker fit", "stated scale", "tilt", "lens")  # one error for all that lies on the sheet
OUTLINE = ("edge model", "smoothing", "blur")
# Share of the outline error's variance that two places of one photo have in common: what development renders show
# between both ends of one instrument (the outline's part in the taper). A wire beside it shares no more than that: on eight
# development photos with a bright wire on the paper no common part could be told, so a correction seldom makes u smaller.
COMMON_SHARE = 0.28
E_N_MOST = 1.0


def with_check_piece(
    reading: PhotoReading,
    photo: Photo,
    scale: Scale,
    plane: Plane,
    candidates: Sequence[Candidate],
    known: KnownWire,
    *,
    correct: bool,
) -> PhotoReading:
    """Return the reading with its check piece, which is no longer among the instruments; corrected when asked to be.

    ``candidates`` are those the instruments were read from, in the same order. A piece that reads further off than its
    uncertainty explains corrects nothing: its cause is unknown. Raises PhotoError ``check-piece``.
    """
    check, piece = check_against(photo, scale, plane, candidates, known)
    kept = [one for one, candidate in zip(reading.instruments, candidates, strict=True) if candidate is not piece]
    instruments = [replace(one, id=number) for number, one in enumerate(kept, start=1)]
    notes = reading.notes
    if correct and abs(check.e_n) <= E_N_MOST:
        check = replace(check, corrected=True)
        instruments = [corrected(one, check) for one in instruments]
    elif correct:
        notes = (*notes, _refused(check))
    return replace(reading, instruments=tuple(instruments), notes=notes, check_piece=check)


def corrected(one: InstrumentReading, check: CheckReading) -> InstrumentReading:
    """Take the bias off every width that has a budget, say so, and judge anew."""
    changed: dict[str, Any] = {name: _less(q, check) for name in WIDTHS if (q := getattr(one, name)) is not None and q.parts}
    if not changed:
        return one
    note = (
        f"corrected by the check piece: {check.bias_mm.value:+.4f} mm taken off D0, D16, shank and tip width where measured; "
        f"family and size were named before that; {_effect(one, changed)}"
    )
    return judge_reading(replace(one, **changed, notes=(*one.notes, note)))


def _effect(one: InstrumentReading, changed: Mapping[str, Quantity]) -> str:
    """Say what the correction did to the first u it changed: it may well have grown."""
    field, after = next(iter(changed.items()))
    before: Quantity = getattr(one, field)
    return f"u of {field.removesuffix('_mm').replace('_', ' ')} was {before.u:.2g} mm and is {after.u:.2g} mm"


def _less(quantity: Quantity, check: CheckReading) -> Quantity:
    piece = check.measured_mm
    parts = [(label, u * _kept(label, quantity, piece)) for label, u in quantity.parts]
    return combined(quantity.value - check.bias_mm.value, [*parts, ("check piece", own_u(check))])


def _kept(label: str, quantity: Quantity, piece: Quantity) -> float:
    """Which share of a contribution stays after the piece's bias is taken off."""
    if label in SHEET:
        return abs(quantity.value - piece.value) / abs(quantity.value)
    return math.sqrt(1.0 - COMMON_SHARE) if label in OUTLINE else 1.0


def own_u(check: CheckReading) -> float:
    """Return what is the piece's own in u(b): the known diameter, its fit, its height, its own part of the outline error."""
    own = [u * (math.sqrt(1.0 - COMMON_SHARE) if label in OUTLINE else 1.0) for label, u in check.measured_mm.parts if label not in SHEET]
    return math.hypot(check.known_mm.u, *own)


def _refused(check: CheckReading) -> str:
    return (
        f"nothing was corrected: the check piece reads {check.bias_mm.value:+.4f} mm off, E_n {check.e_n:+.1f}, more than its "
        "uncertainty explains: use a bright steel wire that lies as the instruments do, softer light and a sharper focus, and "
        "photograph again"
    )
