"""Stage 5c: Photo, Axis -> Edges by brightness alone: the outermost step on both sides of every column.

Needs no model. Where the mirrored sheet leaves no step at all, it falls through to the glints inside the metal and reads thin.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, median_filter
from scipy.optimize import least_squares
from scipy.special import ndtr

from vision.axis import Axis
from vision.edge_lines import Edges
from vision.photo import Photo
from vision.steps import LEAST_STEP, beyond_background, just_outside, outermost, slope_map, step_height
from vision.strip import Nearby, Strip, normals, straighten

Array = NDArray[np.floating[Any]]
FIRST_BLUR_PX = 1.6
MARGIN_MM = 0.5  # paper seen beyond the metal on each side
NOISE_TIMES = 6.0
ALONG_MM, ALONG_PX = 0.02, (0.6, 2.0)  # smoothing along the axis: far below the finest pitch (0.5 mm), within these px


def step_edges(photo: Photo | Nearby, axis: Axis, px_per_mm: float, blur_px: float | None = None) -> Edges:
    """Locate the outermost step on both sides; a second pass uses the blur and the centre line that the first one measured.

    ``blur_px``: known, and the axis is centred; then one pass is enough.
    """
    half_px = strip_half_px(axis, px_per_mm)
    strip = straighten(photo, axis.px, half_px)
    along_px = float(np.clip(ALONG_MM * px_per_mm, *ALONG_PX))
    if blur_px is not None:
        return _one_pass(strip, blur_px, along_px)
    edges = _one_pass(strip, FIRST_BLUR_PX, along_px)
    strip = straighten(photo, recentred(edges), half_px)
    return _one_pass(strip, measured_blur(edges), along_px)


def strip_half_px(axis: Axis, px_per_mm: float) -> int:
    """Rows on each side of the axis that hold the metal and some paper."""
    return int((axis.half_mm * 1.35 + MARGIN_MM) * px_per_mm) + 4


def _one_pass(strip: Strip, blur_px: float, along_px: float) -> Edges:
    half = strip.half_px
    smoothing = float(np.clip(0.8 * blur_px, 1.0, 3.0))
    slopes = slope_map(strip.values, smoothing, along_px)
    paper = _paper(strip)
    spread = float(np.hypot(blur_px, smoothing))
    noise = _noise(slopes, half)
    low = _side(slopes, strip.values, spread, noise, paper)
    up = _side(-slopes[::-1], strip.values[::-1], spread, noise, paper)
    step = step_height(np.stack([up[1], low[1]]), smoothing, blur_px) / paper
    return Edges(strip, half - up[0], low[0] - half, step, blur_px, paper)


def _side(slopes: Array, values: Array, spread: float, noise: float, paper: float) -> tuple[Array, Array]:
    """Outermost step of one side: row and slope. Faint steps count in shadow, where paper and noise are dimmer too."""
    half = (values.shape[0] - 1) // 2
    values, slopes = values[: half + 1], slopes[: half + 1]  # what is farther in has no say
    outside = just_outside(values, spread)
    background = np.where(outside > 0.0, np.maximum(outside, 0.05 * paper), paper)
    shot = np.sqrt(np.clip(background / paper, 0.1, 1.5))  # shot noise goes with the root of the light
    least = LEAST_STEP * background / (np.sqrt(2.0 * np.pi) * spread)
    row, slope = outermost(
        beyond_background(slopes, spread),
        np.maximum(NOISE_TIMES * noise * shot, least),
        max(round(3.0 * spread), 3),
    )
    return row, slope


def _paper(strip: Strip) -> float:
    rows = max(strip.half_px // 3, 6)
    return max(float(np.median(strip.values[np.r_[3:rows, -rows:-3]])), 1e-3)


def _noise(slopes: Array, half: int) -> float:
    """Spread of the slope over bare paper: the outer third on both sides."""
    rows = max(half // 3, 6)
    return 1.4826 * float(np.median(np.abs(slopes[np.r_[2:rows, -rows:-2]])))


def recentred(edges: Edges) -> Array:
    """Move the axis onto the smoothed middle of the two outlines."""
    return moved_to_middle(edges.strip.axis_px, edges.upper_px, edges.lower_px)


LED_SLOPE, WINDOW_COLUMNS = 0.5, 40


def moved_to_middle(axis_px: Array, upper_px: Array, lower_px: Array, least_px: float = 51.0, *, led: bool = False) -> Array:
    """Move an axis (N, 2) along its normals onto the middle of two outlines, offsets (N,) from it, smoothed over ``least_px`` at least.

    ``led``: before the first column seen it goes on the way that the outlines take there, as a curved tip does.
    """
    middle = (upper_px + lower_px) / 2.0
    columns = np.arange(len(middle))
    good = np.isfinite(middle)
    if good.sum() < 50:
        return axis_px
    window = max(len(middle) // 12, round(least_px)) | 1
    seen = middle[good]  # beyond the last column seen the axis goes on as its neighbours say: one alone may be astray
    left, right = np.median(seen[: window // 4]), np.median(seen[-(window // 4) :])
    filled = np.interp(columns, columns[good], seen, left=float(left), right=float(right))
    if led:
        first, over = int(columns[good][0]), columns[good] < columns[good][0] + window
        slope = float(np.clip(np.polyfit(columns[good][over], seen[over], 1)[0], -LED_SLOPE, LED_SLOPE)) if over.sum() > 2 else 0.0
        filled[:first] = filled[first] + slope * (columns[:first] - first)
    smooth = _smoothed(filled, window)
    return np.asarray(axis_px + smooth[:, None] * normals(axis_px))


def _smoothed(line: Array, window: int) -> Array:
    """Running median, then mean, of a line; of few of its columns where the window is wide: between them it is straight by then."""
    every = max(window // WINDOW_COLUMNS, 1)
    at, few = np.arange(0, len(line), every), max(window // every, 1) | 1
    smooth = gaussian_filter1d(median_filter(line[at], few, mode="nearest"), window / 2.0 / every, mode="nearest")
    return np.asarray(np.interp(np.arange(len(line)), at, smooth))


def measured_blur(edges: Edges) -> float:
    """Gaussian width of the outline's blur, from the aligned mean of all edge profiles, outer side only.

    The inner side carries whatever the metal mirrors; the outer flank, from bare paper to a little past the edge, is
    the blur's own. Valid from 0.6 to 12 px.
    """
    offsets, values = _aligned(edges)
    if len(offsets) < 200:
        return edges.blur_px
    bins = np.arange(-14.0, 4.0, 0.25)
    mean = _medians(np.digitize(offsets, bins) - 1, values, len(bins) - 1)
    seen, centre = np.isfinite(mean), (bins[1:] + bins[:-1]) / 2.0
    mean = np.nan_to_num(mean)

    def residuals(p: Array) -> Array:
        use = seen & (centre < 0.6 * p[0])
        return np.where(use, mean - p[1] - p[2] * ndtr((centre - p[3]) / p[0]), 0.0)

    def slopes(p: Array) -> Array:
        use, away = seen & (centre < 0.6 * p[0]), (centre - p[3]) / p[0]
        steep = p[2] / p[0] * np.exp(-0.5 * away**2) / np.sqrt(2.0 * np.pi)
        return np.asarray(np.column_stack([steep * away, -np.ones(len(away)), -ndtr(away), steep]) * use[:, None])

    start = np.array([edges.blur_px, 0.0, 1.0, 0.0])
    result = least_squares(
        residuals, start, jac=slopes, bounds=([0.6, -1, 0.1, -1.5], [12, 1, 4, 1.5]), loss="soft_l1", f_scale=0.05, xtol=1e-6
    )
    return float(result.x[0])


def _medians(index: NDArray[np.int_], values: Array, count: int) -> Array:
    """Median of the values of each bin (``index`` from 0; others lie outside), NaN where there are no more than five."""
    ordered = values[np.lexsort((values, index))]
    first = np.searchsorted(np.sort(index), np.arange(count + 1))
    size, last = np.diff(first), len(values) - 1
    low, high = (np.minimum(first[:-1] + half, last) for half in (np.maximum(size - 1, 0) // 2, size // 2))
    return np.asarray(np.where(size > 5, (ordered[low] + ordered[high]) / 2.0, np.nan))


def _aligned(edges: Edges) -> tuple[Array, Array]:
    """Profiles as (distance inward from the edge, brightness change over the step's own height), pooled over columns."""
    half = edges.strip.half_px
    rows = np.arange(-14, 5)
    offsets, values = [], []
    for side, edge, step in ((1.0, edges.upper_px, edges.step[0]), (-1.0, edges.lower_px, edges.step[1])):
        columns = np.flatnonzero(np.isfinite(edge) & (np.abs(step) > 0.15))[::3]
        at = np.rint(half + edge[columns]).astype(int)
        picked = at[None, :] - (side * rows[:, None]).astype(int)
        good = ((picked >= 0) & (picked < edges.strip.values.shape[0])).all(axis=0)
        picked, columns = picked[:, good], columns[good]
        profile = edges.strip.values[picked, columns]
        base = profile[:6].mean(axis=0)
        offsets.append((-side * (picked - half - edge[columns])).ravel())
        values.append(((profile - base) / (step[columns] * edges.paper)).ravel())
    return np.concatenate(offsets), np.concatenate(values)
