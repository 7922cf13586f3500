"""Stage 8f: a candidate whose outlines cannot be followed, but whose handle and shaft are seen -> a reading that says so.

On a tray many lie over the print or under another. Such an instrument is there, and must not be missing from a count.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from vision.axis import Axis
from vision.find import Candidate
from vision.handle import handle_colour, handle_reading
from vision.photo import Photo
from vision.reading import Choice, ConditionReading, InstrumentReading, Trace
from vision.scale import Scale

WHY = "its outlines cannot be followed here: lay it on bare paper, clear of the others, or take a close-up"
PLAIN = (None, "white", "grey", "black", "bleached", "other")
NONE: NDArray[np.float64] = np.empty((0, 2))


def surely_there(relative: NDArray[np.float32], candidate: Candidate) -> bool:
    """Whether a coloured handle speaks for it: what is white, grey or black may be a shadow, the print or the table."""
    return candidate.rank == 3 and handle_colour(relative, candidate).word not in PLAIN


def unread(photo: Photo, scale: Scale, relative: NDArray[np.float32], candidate: Candidate, axis: Axis, number: int) -> InstrumentReading:
    """A reading without a number, with place, handle colour and the reason."""
    line = np.asarray(axis.px[axis.tip_index or 0 : axis.front_index], dtype=float)
    low = np.clip(np.floor(line.min(axis=0)), 0, [photo.width_px - 1, photo.height_px - 1]).astype(int)
    high = np.clip(np.ceil(line.max(axis=0)), 0, [photo.width_px - 1, photo.height_px - 1]).astype(int)
    local = scale.px_per_mm_at((float(line[len(line) // 2, 0]), float(line[len(line) // 2, 1]))).value
    return InstrumentReading(
        id=number,
        box_px=(int(low[0]), int(low[1]), int(high[0] - low[0]), int(high[1] - low[1])),
        tip_px=(float(line[0, 0]), float(line[0, 1])),
        handle_px=(float(line[-1, 0]), float(line[-1, 1])),
        family=Choice(None, 0.0),
        size=Choice(None, 0.0),
        d0_mm=None,
        d16_mm=None,
        taper_mm_per_mm=None,
        tip_width_mm=None,
        shank_width_mm=None,
        length_mm=None,
        working_part_mm=None,
        stop_from_tip_mm=None,
        pitch_mm=None,
        flutes_per_mm=None,
        helix_angle_deg=None,
        twist_hand=None,
        cross_section=None,
        height_mm=None,
        local_px_per_mm=round(local, 2),
        blur_px=None,
        handle=handle_reading(handle_colour(relative, candidate)),
        conformity={},
        condition=ConditionReading("look again", 0.0, {}, reasons=(WHY,)),
        notes=(WHY,),
        trace=_line_alone(line, local),
    )


def _line_alone(line: NDArray[np.float64], px_per_mm: float) -> Trace:
    hidden = np.full(line.shape, np.nan)
    x = np.arange(len(line)) / px_per_mm
    return Trace(line, hidden, hidden, NONE, {}, NONE, NONE, np.column_stack([x, hidden]), x)
