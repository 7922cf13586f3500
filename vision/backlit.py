"""Stage 5e: outlines before a lit screen. There the metal's rim is dark on even light, so the half level IS the edge.

The learned outline is trained on metal over paper, where the rim mirrors the paper; before a screen it serves only to
say where to look.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, median_filter

from vision.strip import Strip

Array = NDArray[np.floating[Any]]
LEAST_DROP = 0.35  # of the screen's light: a facet that mirrors something bright at its edge has no half level to find
INWARD_BLURS, OUTWARD_BLURS = 2.0, 3.0
INWARD_PX, OUTWARD_PX = 1.2, 2.0  # from the learned outline: further off another facet or a barb was met
ALONG_PX = 0.8  # smoothing along the axis, far below a crest's length
STEP_PX = 0.25


def half_level(strip: Strip, upper_px: Array, lower_px: Array, blur_px: float, lit: NDArray[np.bool_]) -> tuple[Array, Array]:
    """Move both outlines (N,) to the half level between screen and dark rim, in the columns (N,) marked ``lit``.

    Linear light. A column whose rim is not dark keeps the outline it had. Bias: below 0.1 px while the dark rim is wider
    than 3 blur widths; a narrower one puts the half level outward, at one blur width by up to about 0.3 px.
    """
    values = gaussian_filter1d(strip.values, ALONG_PX, axis=1, mode="nearest")
    up = _one_side(values, strip.half_px, upper_px, blur_px, lit, +1.0)
    low = _one_side(values, strip.half_px, lower_px, blur_px, lit, -1.0)
    return up, low


def _one_side(values: Array, half: int, edge_px: Array, blur_px: float, lit: NDArray[np.bool_], sign: float) -> Array:
    columns = np.flatnonzero(lit & np.isfinite(edge_px))
    moved = edge_px.copy()
    if len(columns) == 0:
        return moved
    reach = np.arange(-(INWARD_BLURS * blur_px + 1.5), OUTWARD_BLURS * blur_px + 2.0, STEP_PX)  # outward positive
    rows = half + edge_px[columns] + sign * reach[:, None]
    profile = _sampled(values, rows, columns)
    screen = _screen(values, half, edge_px, blur_px, sign)[columns]
    lowest = np.where((reach <= INWARD_PX)[:, None], profile, np.inf).argmin(axis=0)
    darkest = profile[lowest, np.arange(len(columns))]
    level = (screen + darkest) / 2.0
    beyond = (np.arange(len(reach))[:, None] > lowest) & (profile >= level)
    first = np.clip(beyond.argmax(axis=0), 1, len(reach) - 1)
    here, before = profile[first, np.arange(len(columns))], profile[first - 1, np.arange(len(columns))]
    share = np.clip((level - before) / np.maximum(here - before, 1e-6), 0.0, 1.0)
    shift = reach[first - 1] + STEP_PX * share
    good = beyond.any(axis=0) & (shift >= -INWARD_PX) & (shift <= OUTWARD_PX) & (screen - darkest > LEAST_DROP * screen)
    moved[columns[good]] = edge_px[columns[good]] + sign * shift[good]
    return moved


def _sampled(values: Array, rows: Array, columns: NDArray[np.int_]) -> Array:
    """Linear interpolation along each column."""
    low = np.clip(np.floor(rows).astype(int), 0, values.shape[0] - 2)
    share = np.clip(rows - low, 0.0, 1.0)
    return np.asarray(values[low, columns] * (1.0 - share) + values[low + 1, columns] * share)


def _screen(values: Array, half: int, edge_px: Array, blur_px: float, sign: float) -> Array:
    """The screen's light beside the metal (N,): 4 to 8 blur widths outside the outline, smoothed along the axis."""
    columns = np.arange(values.shape[1])
    out = np.arange(4.0 * blur_px + 2.0, 8.0 * blur_px + 6.0, 1.0)
    rows = half + np.nan_to_num(edge_px) + sign * out[:, None]
    level = np.median(_sampled(values, rows, columns), axis=0)
    return np.asarray(median_filter(level, 31, mode="nearest"))
