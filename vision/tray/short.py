"""A working part that ends early, on bare paper: a piece of the tip is missing, or the end is bent away.

At a tray's scale the tip's shape and D0 are too coarse to tell; the working part's length is not. An end that lies under
another shaft or over print was perhaps not followed to its tip, and is not judged.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.nominal import LENGTHS_MM
from vision.reading import InstrumentReading
from vision.together import Looked

Array = NDArray[np.floating[Any]]
PART_MM = 16.0  # least working part of files and reamers: ISO 3630-1 as others quote it (read)
BARBED_MM = 10.0  # of a broach: common practice, no source
SHORT_MM, SHORT_BARBED_MM = 1.5, 0.7  # so much shorter: beyond what is made and what is read here
CLEARLY_MM, FULL_LENGTH_MM = 2.4, 0.7  # too short by less: only if the whole length is none of the standard ones either
BELIEVED = 3.0  # a part shorter than that, mm, was not read but lost sight of
AHEAD_MM = (0.25, 1.5)  # beyond the end, where there must be bare paper
PAPER, INK = 0.12, 0.6  # light over paper's may differ by; what print leaves less than that
FLUTED, BROACH, PERHAPS = ("k-file", "reamer", "hedstroem-file"), "barbed-broach", 0.2  # from that share on it may be a broach
BEHIND_MM = 2.0  # from where the direction at the end is taken


def ends_early(reading: InstrumentReading, looked: Looked) -> str | None:
    """The sentence on a working part that is too short; None where it is not, or where its end was perhaps not seen."""
    part = reading.working_part_mm
    if part is None or part.value < BELIEVED or reading.family.value not in (None, *FLUTED, BROACH):
        return None
    barbed = reading.family.value == BROACH or reading.family.others.get(BROACH, 0.0) > PERHAPS
    least, short = (BARBED_MM, SHORT_BARBED_MM) if barbed else (PART_MM, SHORT_MM)
    gone = least - part.value
    if gone < short or (not barbed and gone < CLEARLY_MM and not _odd_length(reading)) or not on_bare_paper(reading, looked):
        return None
    return (
        f"working part of {part.value:.1f} mm (u {part.u:.1f}), a whole one has {least:.0f} or more: a piece of the tip is "
        "missing, or the end is bent away"
    )


def _odd_length(reading: InstrumentReading) -> bool:
    """Whether the length is none of the standard ones: one that lost little of its tip is short of them by as much."""
    length = reading.length_mm
    return length is not None and min(abs(length.value - full) for full in LENGTHS_MM) > FULL_LENGTH_MM


def on_bare_paper(reading: InstrumentReading, looked: Looked) -> bool:
    """Whether only bare paper lies ahead of the tip."""
    if reading.tip_px is None or reading.handle_px is None or looked.scale.sheet is None:
        return False
    ahead = _ahead_px(np.asarray(reading.trace.axis_px), np.asarray(reading.tip_px), reading.local_px_per_mm)
    plane = looked.plane
    spots = (looked.scale.to_plane_mm(ahead) - [plane.x0_mm, plane.y0_mm]) * plane.px_per_mm - 0.5
    x, y = np.rint(spots).astype(int).T
    height, width = plane.printed.shape
    if not ((x >= 0) & (x < width) & (y >= 0) & (y < height)).all():
        return False
    light = looked.relative[y, x].mean(axis=1)
    return bool(plane.printed[y, x].min() > INK and np.abs(light - 1.0).max() < PAPER)


def _ahead_px(axis: Array, tip: Array, px_per_mm: float) -> Array:
    """Points beyond the tip, straight on; the axis begins at the tip."""
    behind = axis[min(round(BEHIND_MM * px_per_mm), len(axis) - 1)]
    on = (tip - behind) / max(float(np.linalg.norm(tip - behind)), 1e-9)
    return np.asarray(tip + np.linspace(*AHEAD_MM, 12)[:, None] * px_per_mm * on)
