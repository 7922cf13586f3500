"""Stage 8c: outline, section, twist -> the outline less what a whole instrument would show: what is cut out, what stands out.

A twisted blank's outline is known in closed form once its twist is followed; a Hedstroem's is its own tooth, repeated; a
broach's wire is straight. What a blank's crests have in common with their neighbours (a glint, a section that is no ideal one) is
taken off as well. What is left is noise, a chip, or dirt.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, median_filter, uniform_filter1d

from vision.crests import Crests, numbered
from vision.outline import Outline
from vision.place import Profile
from vision.shapes import least_support, support
from vision.twist import TwistFit
from vision.twist_path import TwistPath

Array = NDArray[np.floating[Any]]
# One corner makes the outline from one dip to the next, and is missed anywhere between: only the dips are left out, of their depth.
DIP_SHARE = 0.3
REPEAT_BINS, NEIGHBOURS, LEAST_REPEATS = 24, 7, 5  # places along a repeat; repeats that are compared
TOOTH_BINS = 40
CONE_CLEAR = 1.2  # times D0: the tip's cone is longer than that only below 45 deg
AXIS_MM = 1.0
DRIFT_MM = 1.6  # slower misses are the model's or the light's


@dataclass(frozen=True)
class Left:
    """What is left of both edges (2, N), mm, outward positive, NaN where nothing was expected; ``crest`` (2, N): a crest's own;
    ``crest_mm`` (N,): height of a crest over the blank's least radius; ``radius_mm`` (N,); ``own_tooth``: what was expected is no
    closed form but the instrument's own tooth, repeated."""

    x_mm: Array
    left_mm: Array
    crest: NDArray[np.bool_]
    crest_mm: Array
    radius_mm: Array
    px_per_mm: float
    own_tooth: bool = False


def left_of_twist(fit: TwistFit, path: TwistPath, profile: Profile) -> Left:
    """Both edges less the blank's closed form at the twist that was followed."""
    x = profile.x_mm
    inside = (x > max(path.x_mm[0], CONE_CLEAR * fit.d0_mm)) & (x < path.x_mm[-1])
    theta, radius = np.interp(x, path.x_mm, path.theta_rad), fit.radius_mm(x)
    shape = np.stack([support(fit.blank, theta + turn, fit.rounding, fit.low_corner) for turn in (0.0, np.pi)])
    seen = np.stack([profile.upper_mm - path.axis_mm, path.axis_mm - profile.lower_mm])
    left: Array = _steadied(np.where(inside, seen - radius * shape, np.nan), profile)
    repeats = [np.maximum.accumulate(theta + turn) * fit.blank.corners / (2.0 * np.pi) for turn in (0.0, np.pi)]
    left = np.stack([row - radius * _in_common(row / radius, repeat) for row, repeat in zip(left, repeats, strict=True)])
    low = least_support(fit.blank, fit.low_corner)
    return Left(x, left, shape > low + DIP_SHARE * (1.0 - low), radius * (1.0 - low), radius, profile.px_per_mm)


def _in_common(left: Array, repeat: Array) -> Array:
    """What each repeat shares with its neighbours: their median at the same place of the repeat. ``repeat`` (N,) counts them, rising."""
    good = np.isfinite(left)
    if good.sum() < REPEAT_BINS:
        return np.zeros(len(left))
    first, last = int(np.floor(repeat[good][0])), int(np.ceil(repeat[good][-1]))
    if last - first < LEAST_REPEATS:
        return np.zeros(len(left))
    grid = np.arange(first, last, 1.0 / REPEAT_BINS)
    rows = np.interp(grid, repeat[good], left[good], left=np.nan, right=np.nan).reshape(-1, REPEAT_BINS)
    begin = np.clip(np.arange(len(rows)) - NEIGHBOURS // 2, 0, max(len(rows) - NEIGHBOURS, 0))
    around = begin[:, None] + np.arange(min(NEIGHBOURS, len(rows)))
    return np.interp(repeat, grid, _medians(rows[around]).ravel())


def _medians(values: Array) -> Array:
    """Median over the middle axis of what is a number; 0 where nothing is."""
    ordered = np.sort(values, axis=1)  # what is none stands last
    count = np.isfinite(values).sum(axis=1)[:, None]
    halves = np.maximum(count - 1, 0) // 2, np.minimum(count // 2, values.shape[1] - 1)
    low, high = (np.take_along_axis(ordered, half, axis=1)[:, 0] for half in halves)
    return np.asarray(np.where(count[:, 0] > 0, (low + high) / 2.0, 0.0))


def left_of_groove(profile: Profile, outline: Outline) -> Left | None:
    """Both edges less one tooth, repeated; None without a cone through the crests or with too few of them."""
    cone = outline.groove
    if cone is None or not len(outline.centre_mm):
        return None
    x = profile.x_mm
    radius = (cone.d0_mm + cone.taper * x) / 2.0
    edges = np.stack([profile.upper_mm - outline.centre_mm, outline.centre_mm - profile.lower_mm])
    left, crest, depth = np.full((2, len(x)), np.nan), np.zeros((2, len(x)), dtype=bool), []
    for k, crests in enumerate((outline.upper, outline.lower)):
        if len(crests.x_mm) < 6:
            return None
        phase = _phase(x, crests)
        inside = np.isfinite(edges[k]) & np.isfinite(phase)
        tooth = _tooth(phase[inside], (edges[k] / radius)[inside])
        expected = np.interp(phase % 1.0, np.arange(TOOTH_BINS + 1) / TOOTH_BINS, np.append(tooth, tooth[0]))
        left[k] = np.where(inside, edges[k] - radius * expected, np.nan)
        crest[k] = expected > tooth.max() - 0.12 * np.ptp(tooth)
        depth.append(np.ptp(tooth))
    left = _steadied(_centred(left, profile), profile)
    return Left(x, left, crest, radius * float(np.mean(depth)), radius, profile.px_per_mm, own_tooth=True)


def left_of_wire(profile: Profile, outline: Outline) -> Left | None:
    """Both edges less the smooth wire's cone."""
    cone = outline.wire
    if cone is None or not len(outline.centre_mm):
        return None
    radius = (cone.d0_mm + cone.taper * profile.x_mm) / 2.0
    left = np.stack([profile.upper_mm - outline.centre_mm, outline.centre_mm - profile.lower_mm]) - radius
    none = np.zeros(left.shape, dtype=bool)
    return Left(profile.x_mm, _centred(left, profile), none, 0.0 * radius, radius, profile.px_per_mm)


def _centred(left: Array, profile: Profile) -> Array:
    """The same about an axis that follows every bend: what both edges share, over a length longer than any chip, is the axis."""
    shift = (left[0] - left[1]) / 2.0
    good = np.isfinite(shift)
    if good.sum() < 20:
        return left
    size = max(round(AXIS_MM * profile.px_per_mm), 3) | 1
    shift = median_filter(np.interp(profile.x_mm, profile.x_mm[good], shift[good]), size, mode="nearest")
    return np.stack([left[0] - shift, left[1] + shift])


def _phase(x: Array, crests: Crests) -> Array:
    """Turns along one edge, whole numbers at its crests; a crest that was not found is bridged. NaN beyond the crests."""
    number = numbered(crests.x_mm)
    return np.asarray(np.interp(x, crests.x_mm, number, left=np.nan, right=np.nan))


def _tooth(phase: Array, relative: Array) -> Array:
    which = (phase % 1.0 * TOOTH_BINS).astype(int)
    medians = [np.median(relative[which == k]) if (which == k).sum() > 2 else np.nan for k in range(TOOTH_BINS)]
    known = np.flatnonzero(np.isfinite(medians))
    return np.asarray(np.interp(np.arange(TOOTH_BINS), known, np.array(medians)[known], period=TOOTH_BINS))


def _steadied(left: Array, profile: Profile) -> Array:
    """The same without what changes slowly along the instrument."""
    out = np.empty_like(left)
    for k, row in enumerate(left):
        good = np.isfinite(row)
        if good.sum() < 20:
            out[k] = row
            continue
        spread = 1.4826 * float(np.median(np.abs(row[good] - np.median(row[good])))) + 1e-4
        filled = np.clip(np.interp(profile.x_mm, profile.x_mm[good], row[good]), -2.0 * spread, 2.0 * spread)
        out[k] = row - gaussian_filter1d(filled, 0.5 * DRIFT_MM * profile.px_per_mm, mode="nearest")
    return out


def smoothed(left: Left, over_mm: float) -> Array:
    """Mean of what is left over a short length, (2, N); NaN where less than four fifths of it is seen."""
    size = max(round(over_mm * left.px_per_mm), 3)
    good = np.isfinite(left.left_mm).astype(float)
    share = uniform_filter1d(good, size, axis=1)
    total = uniform_filter1d(np.nan_to_num(left.left_mm), size, axis=1)
    return np.where(share > 0.8, total / np.maximum(share, 1e-6), np.nan)
