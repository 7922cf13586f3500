"""Stage 8d': a Hedstroem file's outline -> which teeth are lower than their neighbours, each as a chip that may be one.

A chip takes the edge off one tooth: its top is lower, or falls off earlier, while its back and the groove behind it stay as they are. Teeth
differ by the light, and from tip to handle; so each is held against the five on either side of it along one edge, where it should stand by
their pitch and not where it was found, since a chip moves its own top. Nearly always the lowest tooth of a chipped file is the chipped one
(40 of 51 rendered crops, seeds 27000 on); but outlines slip about as far on some whole files, so that this is heard only beside what the
damage network sees there (`vision.witness`). Most slips are deeper than most chips: of a top that is lower by more than 0.15 of the radius,
as half a tooth is, only so much is believed that the network must see it at 0.31 instead of 0.04 to 0.1. Below 40 px/mm, or where the
faces are not seen, no chip of a Hedstroem is told.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.chips import Chip
from vision.crests import Crests, numbered
from vision.outline import Outline
from vision.place import Profile
from vision.quantity import Quantity

Array = NDArray[np.floating[Any]]
TOP, BACK, GROOVE = (-0.1, 0.1), (-0.55, -0.2), (0.3, 0.45)  # stretches of a tooth, in pitches from its top
BESIDE = 5  # teeth on either side that one is held against
LEAST_TEETH, LEAST_BESIDE = 8, 4
TIP_CLEAR_MM, STOP_CLEAR_MM, END_CLEAR_MM = 1.0, 1.0, 0.2
SEEN = 0.9  # of a stretch
SLIPPED, SLIPPED_MOST = 0.15, 4.0  # of the radius: a top that is lower by more was hardly followed, and says no more than so many spreads
OUTLIER, LEAST_SPREAD = 3.0, 1e-4
LEAST_TOP_SPREAD, LEAST_HIGH = 5e-4, 0.05  # of the radius: the least spread of tops, and height of a tooth
# A stretch of a fifth of a pitch is wider than most chips, and the outline leads over a part of each: of a chip's depth so much is seen,
# and the relative u of that (105 told ones of seeds 27000 to 34000: 0.5, two thirds within 0.37 and 0.66).
SHOWS, SHOWS_U = 0.5, 0.3


def short_teeth(profile: Profile, outline: Outline, hidden_mm: tuple[float, float] | None, until_mm: float) -> tuple[Chip, ...]:
    """Teeth whose tops are lower than their neighbours', the lowest by its spreads first; none where too few are seen.

    ``hidden_mm``: behind a stop; ``until_mm``: where teeth end. The spread is that of all tops of both edges.
    """
    cone = outline.groove
    if cone is None or not len(outline.centre_mm):
        return ()
    radius = (cone.d0_mm + cone.taper * profile.x_mm) / 2.0
    edges = (profile.upper_mm - outline.centre_mm, outline.upper), (outline.centre_mm - profile.lower_mm, outline.lower)
    rows = [_lowered(profile.x_mm, edge / radius, crests, hidden_mm, until_mm) for edge, crests in edges if len(crests.x_mm) >= LEAST_TEETH]
    rows = [row for row in rows if row[4] > LEAST_HIGH]  # (NaN: no groove was seen) nothing tells how high teeth are
    if not rows:
        return ()
    tops = np.concatenate([row[2] for row in rows])
    if not np.isfinite(tops).any():
        return ()
    spread = 1.4826 * float(np.nanmedian(np.abs(tops - np.nanmedian(tops)))) + LEAST_TOP_SPREAD
    found = [chip for row in rows for chip in _chips(*row, spread)]
    return tuple(sorted(found, key=lambda one: -one.spreads))


def _lowered(
    x: Array, relative: Array, crests: Crests, hidden_mm: tuple[float, float] | None, until_mm: float
) -> tuple[Array, Array, Array, Array, float]:
    """Of each tooth: its place, pitch, by how much its top is lower than its neighbours', and by how much beyond its back and groove;
    and how high teeth are. All heights over the local radius."""
    place = _by_pitch(crests)
    pitch = np.gradient(place)
    use = (place > TIP_CLEAR_MM) & (place < until_mm - END_CLEAR_MM)
    if hidden_mm is not None:
        use &= (place < hidden_mm[0] - STOP_CLEAR_MM) | (place > hidden_mm[1] + STOP_CLEAR_MM)
    top, back, groove = (np.where(use, _means(x, relative, place, pitch, part), np.nan) for part in (TOP, BACK, GROOVE))
    lower = -_against_neighbours(top)
    rest = np.maximum(np.nan_to_num(-_against_neighbours(back)), np.nan_to_num(-_against_neighbours(groove)))
    high = float(np.nanmedian(top) - np.nanmedian(groove)) if np.isfinite(top).any() and np.isfinite(groove).any() else np.nan
    return place, pitch, lower, lower - np.maximum(rest, 0.0), high


def _by_pitch(crests: Crests) -> Array:
    """Where each tooth's top lies by its neighbours alone; one that was not found is put in."""
    number = numbered(crests.x_mm)
    teeth = np.arange(float(number[0]), float(number[-1]) + 1.0)
    place = np.empty(len(teeth))
    for k, tooth in enumerate(teeth):
        near = np.argsort(np.abs(number - tooth), kind="stable")[: 2 * BESIDE - 1]
        near = near[number[near] != tooth]
        place[k] = _expected(number[near] - tooth, crests.x_mm[near], 2 if len(near) >= 6 else 1)
    return place


def _means(x: Array, relative: Array, place: Array, pitch: Array, part: tuple[float, float]) -> Array:
    """Mean height of a stretch of each tooth; NaN where too little of it is seen."""
    out = np.full(len(place), np.nan)
    for k, (at, step) in enumerate(zip(place, pitch, strict=True)):
        inside = relative[(x > at + part[0] * step) & (x < at + part[1] * step)]
        if len(inside) > 3 and np.isfinite(inside).mean() > SEEN:
            out[k] = float(np.nanmean(inside))
    return out


def _against_neighbours(values: Array) -> Array:
    """Each value less what its neighbours lead one to expect; NaN where there are too few. The first and the last
    stand at the end of a line through those on one side."""
    out = np.full(len(values), np.nan)
    for k in np.flatnonzero(np.isfinite(values)):
        near = np.arange(max(int(k) - BESIDE, 0), min(int(k) + BESIDE + 1, len(values)))
        near = near[(near != k) & np.isfinite(values[near])]
        if len(near) >= LEAST_BESIDE:
            out[k] = values[k] - _expected(near - float(k), values[near], 1 if len(near) >= 5 else 0)
    return out


def _expected(at: Array, values: Array, degree: int) -> float:
    """What values at places ``at`` lead to at 0: a polynomial, fitted once more without what lies far off."""
    fit = np.polyfit(at, values, degree)
    miss = np.abs(values - np.polyval(fit, at))
    near = miss < OUTLIER * (1.4826 * float(np.median(miss)) + LEAST_SPREAD)
    return float(np.polyfit(at[near], values[near], degree)[-1] if near.sum() > degree + 1 else fit[-1])


def _chips(place: Array, pitch: Array, lower: Array, beyond: Array, high: float, spread: float) -> list[Chip]:
    """The lower tops as chips; of one so much lower that the outline may have slipped, with fewer spreads."""
    found = []
    for k in np.flatnonzero(beyond > 0.0):
        share = 100.0 / (SHOWS * high)
        percent = min(share * float(beyond[k]), 100.0)
        depth = Quantity(percent, float(np.hypot(SHOWS_U * percent, share * spread)))
        ends = float(place[k] + TOP[0] * pitch[k]), float(place[k] + TOP[1] * pitch[k])
        spreads = float(beyond[k]) / spread
        found.append(Chip(*ends, depth, spreads if lower[k] <= SLIPPED else min(spreads, SLIPPED_MOST), float("nan")))
    return found
