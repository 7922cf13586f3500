"""Stage 8f: a candidate whose outlines cannot be followed, but whose handle and shaft are seen -> a reading that says so.

On a tray many lie over the print or under another. Such an instrument is there, and must not be missing from a count.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from vision.axis import Axis
from vision.find import Candidate
from vision.grips import WHOLE_MM2, share_whiter
from vision.handle import handle_colour, handle_reading
from vision.nominal import LENGTHS_MM
from vision.photo import Photo
from vision.plane import Plane
from vision.reading import Choice, ConditionReading, InstrumentReading, Trace
from vision.scale import Scale

WHY = "its outlines cannot be followed here: lay it on bare paper, clear of the others, or take a close-up"
BLACK, WHITE = 0.25, 0.9  # light over paper's of a black handle; of paper without print
SHORTEST_MM = min(LENGTHS_MM)
APART_MM = 10.0  # a handle whose middle is so far from another's is no part of it
MOSTLY, LEAST_MM2 = 0.5, 15.0  # share of a black handle, and its size, where paper would be seen
WHITER_SHARE = 0.35  # of a white handle, brighter than the paper: more than finding asks, since nothing else speaks for it
PLAIN = (None, "white", "grey", "black", "bleached", "other")
NONE: NDArray[np.float64] = np.empty((0, 2))


def surely_there(relative: NDArray[np.float32], candidate: Candidate, plane: Plane) -> bool:
    """Whether its handle speaks for it: coloured, black where the paper is white, or whiter than the paper. Else it may be a shadow, the
    print or the table."""
    if candidate.rank == 3 and handle_colour(relative, candidate).word not in PLAIN:
        return True
    return candidate.rank == 2 and (_black_on_white(relative, candidate, plane) or _whiter(relative, candidate))


def _whiter(relative: NDArray[np.float32], candidate: Candidate) -> bool:
    left, top = candidate.offset_px
    height, width = candidate.handle.shape
    return share_whiter(relative[top : top + height, left : left + width][candidate.handle]) >= WHITER_SHARE


def _black_on_white(relative: NDArray[np.float32], candidate: Candidate, plane: Plane) -> bool:
    left, top = candidate.offset_px
    height, width = candidate.handle.shape
    place = slice(top, top + height), slice(left, left + width)
    light = relative[place][candidate.handle].mean(axis=1)
    black = (light < BLACK) & (plane.printed[place][candidate.handle] > WHITE)
    return bool(black.sum() > LEAST_MM2 * plane.px_per_mm**2 and black.mean() > MOSTLY)


@dataclass(frozen=True)
class HandleSeen:
    """Where the middle of a handle lies on the page (None without one), its colour, and from its middle to one of its ends."""

    middle_mm: NDArray[np.float64] | None
    colour: str | None
    half_mm: NDArray[np.float64] | None = None

    def near(self, other: HandleSeen) -> bool:
        """Whether both may be one handle."""
        if self.middle_mm is None or other.middle_mm is None:
            return False
        return float(np.linalg.norm(self.middle_mm - other.middle_mm)) < APART_MM


def handle_seen(candidate: Candidate, plane: Plane, relative: NDArray[np.float32]) -> HandleSeen:
    """Look at a candidate's handle."""
    v, u = np.nonzero(candidate.handle)
    if not len(u):
        return HandleSeen(None, None)
    points = np.column_stack([u, v]) - np.array([u.mean(), v.mean()])
    values, ways = np.linalg.eigh(points.T @ points / len(points))
    half = ways[:, -1] * np.sqrt(3.0 * values[-1]) / plane.px_per_mm  # of an even bar: half its length is the root of three times that
    middle = plane.to_mm(np.array([[u.mean(), v.mean()]]) + np.array(candidate.offset_px))[0]
    return HandleSeen(np.asarray(middle), handle_colour(relative, candidate).word, np.asarray(half))


def whole(candidate: Candidate, plane: Plane) -> bool:
    """Whether its handle is as large as one is, or cut by the frame: a stop is smaller."""
    return candidate.cut or bool(candidate.handle.sum() > WHOLE_MM2 * plane.px_per_mm**2)


def stands_apart(handle: HandleSeen, others: Sequence[HandleSeen]) -> bool:
    """Whether a handle is no part of any of the others."""
    return handle.middle_mm is not None and not any(handle.near(one) for one in others)


def part_of_another(handle: HandleSeen, others: Sequence[HandleSeen]) -> bool:
    """Whether it is a piece of one that is counted already: near, and of its colour."""
    return any(handle.near(one) and handle.colour == one.colour for one in others)


def led_on(axis: Axis, handle: HandleSeen, scale: Scale) -> Axis:
    """The axis of one that was lost sight of early, led straight on from its handle to the shortest standard length: no measure."""
    ends = scale.to_plane_mm(np.asarray(axis.px)[[axis.tip_index or 0, -1 if axis.front_index is None else axis.front_index]])
    if handle.middle_mm is None or float(np.linalg.norm(ends[1] - ends[0])) >= SHORTEST_MM:
        return axis
    way = ends[0] - handle.middle_mm
    way = way / max(float(np.linalg.norm(way)), 1e-9)
    front = handle.middle_mm + way * float((ends[1] - handle.middle_mm) @ way)
    last, first = scale.to_px(np.array([front, front + SHORTEST_MM * way]))
    count = max(round(float(np.linalg.norm(last - first))), 2)
    return replace(axis, px=np.linspace(first, last, count), tip_index=0, front_index=count - 1)


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
