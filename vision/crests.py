"""Stage 6a: edge profile -> crests. Where each edge of a fluted working part stands highest, and how steadily.

Works on one edge at a time, in mm, height counted outward from the axis.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, median_filter

from vision.peaks import find_peaks

Array = NDArray[np.floating[Any]]
GRID_MM = 0.01
LEAST_SWING = (
    0.10  # of the radius; a sharp rhombus or square swings 0.29 and more, noise and barbs are told apart later
)


@dataclass(frozen=True)
class Crests:
    """Crests and the valleys between them on one edge: x and outward height in mm, ascending x.

    ``ends_mm`` is the stretch of x where the edge swings at all. ``skew`` is the mean place of the valley between two
    crests counted from the crest nearer the tip, as a share of their distance: 0.5 is symmetric.
    """

    x_mm: Array
    height_mm: Array
    valley_x_mm: Array
    valley_mm: Array

    @property
    def spacing_mm(self) -> Array:
        """Distances of successive crests."""
        return np.diff(self.x_mm)

    @property
    def skew(self) -> float:
        """Return the median share of the way from a crest to the next one (toward the handle) where the valley lies."""
        if len(self.x_mm) < 2 or len(self.valley_x_mm) != len(self.x_mm) - 1:
            return float("nan")
        return float(np.median((self.valley_x_mm - self.x_mm[:-1]) / np.diff(self.x_mm)))

    @property
    def swing(self) -> float:
        """Return the median depth of the valleys over the crest height around them (0.5 triangle, 0.29 square)."""
        if len(self.x_mm) < 2 or len(self.valley_x_mm) != len(self.x_mm) - 1:
            return float("nan")
        level = (self.height_mm[1:] + self.height_mm[:-1]) / 2.0
        return float(np.median(1.0 - self.valley_mm / level))


def numbered(x_mm: Array) -> Array:
    """Number crests along one edge from 0; a gap of about two usual gaps around it counts as two (a crest was missed)."""
    if len(x_mm) < 4:
        return np.arange(float(len(x_mm)))
    gaps = np.diff(x_mm)
    usual = median_filter(gaps, min(5, len(gaps) // 2 * 2 + 1), mode="nearest")
    return np.concatenate([[0.0], np.cumsum(np.maximum(np.rint(gaps / usual - 0.1), 1.0))])


def find_crests(x_mm: Array, height_mm: Array, *, from_mm: float, to_mm: float, ridges: bool = False) -> Crests:
    """Find the crests of one edge between two stations.

    ``height_mm`` (N,) is the outward distance from the axis at ``x_mm`` (N,), NaN where the edge was not found. A crest
    must rise above its neighbouring valleys by a tenth of the radius and by four times the local noise. ``ridges``: crests are
    ridges, as a Hedstroem's are, which usual smoothing would lower by some 4 um; noise then counts more.
    """
    inside = np.isfinite(height_mm) & (x_mm >= from_mm) & (x_mm <= to_mm)
    if inside.sum() < 20:
        empty = np.empty(0)
        return Crests(empty, empty, empty, empty)
    grid = np.arange(x_mm[inside][0], x_mm[inside][-1], GRID_MM)
    raw = np.interp(grid, x_mm[inside], height_mm[inside])
    fine = gaussian_filter1d(median_filter(raw, int(0.03 / GRID_MM) | 1), 0.008 / GRID_MM)
    raw = median_filter(raw, int(0.07 / GRID_MM) | 1)
    smooth = gaussian_filter1d(raw, 0.03 / GRID_MM)
    radius = upper_line(grid, smooth)
    relative = smooth / radius
    noise = 1.4826 * float(np.median(np.abs(raw - smooth)))
    prominence = max(LEAST_SWING, 4.0 * noise / float(np.median(radius)) / 3.0)
    peaks = find_peaks(relative, prominence=prominence, distance=max(int(0.12 / GRID_MM), 1))
    valleys = [a + int(np.argmin(relative[a:b])) for a, b in itertools.pairwise(peaks)]
    sharp = fine if ridges else gaussian_filter1d(raw, 0.012 / GRID_MM)
    x_peak, high = _vertex(grid, sharp, peaks, +1.0, 0.02 if ridges else 0.04)
    x_low, low = _vertex(grid, smooth, np.array(valleys, dtype=int), -1.0, 0.04)
    return Crests(x_peak, high, x_low, low)


def upper_line(x: Array, y: Array) -> Array:
    """Fit a straight line through the upper part of y by asymmetric least squares (expectile 0.9), positive."""
    weight: Array = np.ones(len(x))
    line = y
    for _ in range(12):
        x_mean, y_mean = (float(weight @ values) / float(weight.sum()) for values in (x, y))
        away = weight * (x - x_mean)
        line = y_mean + float(away @ (y - y_mean)) / float(away @ (x - x_mean)) * (x - x_mean)
        weight = np.where(y > line, 0.9, 0.1)
    return np.asarray(np.maximum(line, 0.01))


def _vertex(grid: Array, smooth: Array, at: NDArray[np.int_], sign: float, reach_mm: float) -> tuple[Array, Array]:
    """Refine extrema by a parabola through +-``reach_mm`` about the greatest value nearby."""
    half = round(reach_mm / GRID_MM)
    xs, ys, upward = np.empty(len(at)), np.empty(len(at)), sign * smooth
    offsets = GRID_MM * np.arange(-half, half + 1)
    parabola = np.linalg.pinv(np.vander(offsets, 3))
    for i, near in enumerate(at):
        k = _top(upward, int(near), 4)
        part = slice(max(k - half, 0), min(k + half + 1, len(grid)))
        whole = part.stop - part.start == len(offsets)
        a, b, c = parabola @ smooth[part] if whole else np.polyfit(grid[part] - grid[k], smooth[part], 2)
        shift = -b / (2.0 * a) if sign * a < 0.0 else 0.0
        shift = float(np.clip(shift, -0.05, 0.05))
        xs[i], ys[i] = grid[k] + shift, a * shift**2 + b * shift + c
    return xs, ys


def _top(heights: Array, near: int, half: int) -> int:
    """Index of the greatest value within two half windows."""
    low = max(near - 2 * half, 0)
    return low + int(np.argmax(heights[low : near + 2 * half + 1]))
