"""Sharp bends as an overview shows them: two straight pieces of a middle line that meet at an angle.

The shaft's own mask and its outlines each give a middle line. A shadow bends the mask near the tip, a crossing draws the
outlines aside; where both are bent at one place, the metal is. A kink that points at the camera, or away, bends either by a few
degrees only, but leaves two pieces that are all the straighter.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.find import Candidate
from vision.reading import InstrumentReading
from vision.tray.short import LONGEST_MM

Array = NDArray[np.floating[Any]]
BIN_MM = 0.25
LEAST_MM, MOST_MM, BEHIND_MM = 1.0, 11.0, 12.0  # where the bend may lie, from the tip; the straight piece behind it
STRAIGHT_MM = 0.14  # rms by which both pieces may miss a line; a curve misses by more
BOTH_MM = 0.3  # the same where mask and outlines agree on the bend
SURE_DEG, DOUBT_DEG = 14.0, 12.0  # called a kink; looked at again
NEAR_MM, ALIKE = 3.0, 0.4  # of two bends that are one: places, angles
ALONE_MM, ALONE_DEG = 2.0, 20.0  # a bend of the mask alone is worth a close-up from there on
CLEAR_MM, CLEAR_DEG, CLEAR_MISS_MM = 2.5, 30.0, 0.22  # and a kink from there on: outlines lose sight of what turns off so much
PLAIN_DEG, PLAIN_MISS_MM, PLAIN_MASK_DEG = 15.0, 0.065, 5.0  # of the outlines, where the mask is bent so much anywhere, or tells nothing
REACH_MM = 2.0  # outlines that end so near the mask's end show all of it
SLIGHT_DEG, SLIGHT_MM, SLIGHT_MASK_MM = 4.0, 0.03, 0.06  # a bend of two very straight pieces in both, by their misses
SLIGHT_NEAR_MM, SLIGHT_ALIKE = 1.5, 0.55  # places and angles of these
SLIGHT_FROM_MM = 1.2
SURE_SIZE = 0.8  # an overview names sizes a little sooner, for sorting
# In a check a whole one that is called damaged is a false alarm for the whole tray: there both must be bent by so much. Of 623 whole ones
# of 45 development trays none was; of 46 kinks of 20 to 60 deg in space, some of which point at the camera, 19 are.
CERTAIN_DEG = 20.0
STIFF_SIZE = 40  # twisted ones beyond that are not curved on purpose: common practice, no source


@dataclass(frozen=True)
class Bend:
    """Two pieces that meet ``at_mm`` from the tip at ``angle_deg``, as projected, and miss straight lines by ``miss_mm`` (rms)."""

    at_mm: float
    angle_deg: float
    miss_mm: float


def seen_bend(candidate: Candidate, px_per_mm: float, reading: InstrumentReading) -> tuple[float, bool] | None:
    """Angle of a sharp bend in deg, and whether mask and outlines both show it, or one of them all too plainly; None without one."""
    lines = mask_middle(candidate, px_per_mm), outline_middle(reading)
    mask, outline = sharpest(lines[0]), sharpest(lines[1])
    if mask is not None and outline is not None and _agree(mask, outline):
        return outline.angle_deg, outline.angle_deg >= SURE_DEG
    if mask is not None and _clear(mask) and not _straight_all_along(outline, lines):
        return mask.angle_deg, True
    if outline is not None and _plain(mask, outline):
        return outline.angle_deg, True
    if mask is not None and outline is not None and _slight(mask, outline):
        return outline.angle_deg, _stiff(reading)
    alone = mask is not None and mask.miss_mm <= STRAIGHT_MM and mask.at_mm >= ALONE_MM and mask.angle_deg >= ALONE_DEG
    return (mask.angle_deg, False) if mask is not None and alone else None


def bent_beyond_doubt(candidate: Candidate, px_per_mm: float, reading: InstrumentReading) -> bool:
    """Whether mask and outlines agree on a bend that a check may call damage."""
    mask, outline = sharpest(mask_middle(candidate, px_per_mm)), sharpest(outline_middle(reading))
    if mask is None or outline is None:
        return False
    return _agree(mask, outline) and min(mask.angle_deg, outline.angle_deg) >= CERTAIN_DEG


def _agree(mask: Bend, outline: Bend) -> bool:
    least, most = sorted((mask.angle_deg, outline.angle_deg))
    straight = max(mask.miss_mm, outline.miss_mm) <= BOTH_MM
    return straight and least >= DOUBT_DEG and least >= (1.0 - ALIKE) * most and abs(mask.at_mm - outline.at_mm) <= NEAR_MM


def _clear(mask: Bend) -> bool:
    return mask.at_mm >= CLEAR_MM and mask.angle_deg >= CLEAR_DEG and mask.miss_mm <= CLEAR_MISS_MM


def _straight_all_along(outline: Bend | None, lines: tuple[Array, Array]) -> bool:
    """Whether outlines as long as the mask are straight, or the mask is longer than any instrument: then its bend is another thing's."""
    mask, seen = (float(line[-1, 0]) if len(line) else 0.0 for line in lines)
    straight = outline is not None and outline.angle_deg < DOUBT_DEG and outline.miss_mm <= PLAIN_MISS_MM and seen >= mask - REACH_MM
    return straight or mask > LONGEST_MM


def _plain(mask: Bend | None, outline: Bend) -> bool:
    seen = outline.angle_deg >= PLAIN_DEG and outline.miss_mm <= PLAIN_MISS_MM
    return seen and (mask is None or mask.angle_deg >= PLAIN_MASK_DEG)


def _slight(mask: Bend, outline: Bend) -> bool:
    least, most = sorted((mask.angle_deg, outline.angle_deg))
    straight = outline.miss_mm <= SLIGHT_MM and mask.miss_mm <= SLIGHT_MASK_MM and outline.at_mm >= SLIGHT_FROM_MM
    alike = least >= SLIGHT_DEG and least >= (1.0 - SLIGHT_ALIKE) * most and abs(mask.at_mm - outline.at_mm) <= SLIGHT_NEAR_MM
    return straight and alike


def _stiff(reading: InstrumentReading) -> bool:
    """Whether nobody would curve it on purpose a little: then it was bent. Broaches, files cut from the round, thick ones."""
    size = reading.size.value
    thick = isinstance(size, int) and size > STIFF_SIZE and reading.size.probability >= SURE_SIZE
    return reading.family.value in ("barbed-broach", "hedstroem-file") or thick


def sharpest(middle: Array) -> Bend | None:
    """The bend that leaves the straightest two pieces of a middle line (N, 2), mm, tip at 0."""
    if len(middle) < 24:
        return None
    best: Bend | None = None
    for at in np.arange(LEAST_MM, MOST_MM, BIN_MM):
        before, behind = middle[middle[:, 0] < at], middle[(middle[:, 0] >= at) & (middle[:, 0] < at + BEHIND_MM)]
        if len(before) < 4 or len(behind) < 12:
            continue
        (slope, miss), (other, gap) = _line(before), _line(behind)
        rms = float(np.sqrt((miss @ miss + gap @ gap) / (len(miss) + len(gap))))
        if best is None or rms < best.miss_mm:
            best = Bend(float(at), abs(float(np.degrees(np.arctan(slope) - np.arctan(other)))), rms)
    return best


def _line(points: Array) -> tuple[float, Array]:
    slope, level = np.polyfit(points[:, 0], points[:, 1], 1)
    return float(slope), points[:, 1] - slope * points[:, 0] - level


def mask_middle(candidate: Candidate, px_per_mm: float) -> Array:
    """Middles of the thin part across its long axis, mm, tip at 0; empty without a handle to tell the tip by."""
    v, u = np.nonzero(candidate.thin)
    if len(u) < 50 or not candidate.handle.any():
        return np.empty((0, 2))
    grip = np.argwhere(candidate.handle)[:, ::-1].mean(axis=0)
    return _middles(np.column_stack([u, v]) / px_per_mm, grip / px_per_mm, _between)


def outline_middle(reading: InstrumentReading) -> Array:
    """Middles between both outlines, mm, tip at 0; empty where outlines or handle were not found."""
    upper, lower = np.asarray(reading.trace.upper_px), np.asarray(reading.trace.lower_px)
    if reading.handle_px is None or len(upper) != len(lower) or len(upper) == 0:
        return np.empty((0, 2))
    middle = (upper + lower) / 2.0
    middle = middle[np.isfinite(middle).all(axis=1)]
    if len(middle) < 50:
        return np.empty((0, 2))
    grip = np.asarray(reading.handle_px) / reading.local_px_per_mm
    return _middles(middle / reading.local_px_per_mm, grip, lambda across: float(np.median(across)))


def _middles(points: Array, grip: Array, middle: Callable[[Array], float]) -> Array:
    """Points (N, 2), mm -> the ``middle`` of what lies in each bin along their long axis, from the end away from ``grip``."""
    centre = points.mean(axis=0)
    axis = np.linalg.svd(points - centre, full_matrices=False)[2][0]
    axis = axis if (grip - centre) @ axis > 0.0 else -axis
    along = (points - centre) @ axis
    across = (points - centre) @ np.array([-axis[1], axis[0]])
    along = along - along.min()
    index = np.floor(along / BIN_MM).astype(int)
    bins = [k for k in range(int(index.max()) + 1) if (index == k).sum() >= 2]
    return np.array([((k + 0.5) * BIN_MM, middle(across[index == k])) for k in bins])


def _between(across: Array) -> float:
    return float(across.min() + across.max()) / 2.0
