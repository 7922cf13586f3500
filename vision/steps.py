"""Stage 5b: Strip -> where each column's brightness first departs from its background, to a fraction of a px.

A shiny shaft mirrors the sheet along its own outline, so the strongest gradient lies well inside the metal and the true
edge is only a small step. What is sought is therefore the OUTERMOST step, measured against a background that may slope
(a soft shadow): the slope just outside is taken off before the step is judged.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

Array = NDArray[np.floating[Any]]
Map = NDArray[np.floating[Any]]
LEAST_STEP = 0.045  # of the brightness just outside
HALO_TIMES = 3.0  # a halo of sharpening is at least this much smaller than the edge it accompanies


def slope_map(values: Map, blur_px: float, along_px: float) -> Map:
    """Brightness gained a px along the rows of a strip (rows across), smoothed over ``blur_px`` across the edge.

    ``along_px`` smooths along the axis and must stay well below a crest's length.
    """
    along = gaussian_filter1d(values, along_px, axis=1, mode="nearest")
    return np.asarray(gaussian_filter1d(along, blur_px, axis=0, order=1, mode="nearest"))


def step_height(slope: Array, blur_px: float, own_blur_px: float) -> Array:
    """Height of a blurred step whose greatest slope was seen through a further smoothing by ``blur_px``."""
    return np.asarray(slope * np.sqrt(2.0 * np.pi) * np.hypot(blur_px, own_blur_px))


def beyond_background(slopes: Map, blur_px: float) -> Map:
    """Slopes less the mean slope of a stretch just outside, 4 to 10 blur widths away (row 0 is far outside)."""
    return np.asarray(slopes - just_outside(slopes, blur_px))


def just_outside(values: Map, blur_px: float) -> Map:
    """Mean of the rows 4 to 10 blur widths further out than each row; 0 where the strip does not reach that far."""
    near, far = max(round(4.0 * blur_px), 4), max(round(10.0 * blur_px), 10)
    total = np.cumsum(np.concatenate([np.zeros((1, values.shape[1])), values]), axis=0)
    rows = np.arange(values.shape[0])
    low, high = np.clip(rows - far, 0, None), np.clip(rows - near, 0, None)
    count = np.maximum(high - low, 1)[:, None]
    return np.asarray((total[high] - total[low]) / count * (high > low)[:, None])


def outermost(slopes: Map, threshold: Map, halo_px: int) -> tuple[Array, Array]:
    """First local extreme of |slope| above ``threshold`` (same shape), coming from row 0 toward the axis.

    An extreme followed within ``halo_px`` rows by one of the other sign and three times its size is a sharpening halo
    and is passed over. Returns the row with its fraction (NaN if none) and the slope there.
    """
    size = np.abs(slopes)
    peak = np.zeros(size.shape, dtype=bool)
    peak[1:-1] = (size[1:-1] >= size[:-2]) & (size[1:-1] > size[2:]) & (size[1:-1] > threshold[1:-1])
    peak &= ~_halo(slopes, halo_px)
    found = peak.any(axis=0)
    first = np.where(found, peak.argmax(axis=0), 1)
    columns = np.arange(size.shape[1])
    before, at, after = size[first - 1, columns], size[first, columns], size[first + 1, columns]
    curve = before - 2.0 * at + after
    bent = np.abs(curve) > 1e-12
    shift = np.where(bent, 0.5 * (before - after) / np.where(bent, curve, 1.0), 0.0)
    row = np.where(found, first + np.clip(shift, -0.5, 0.5), np.nan)
    return np.asarray(row), np.where(found, slopes[first, columns], np.nan)


def _halo(slopes: Map, halo_px: int) -> NDArray[np.bool_]:
    """Where, within ``halo_px`` rows further in, brightness has changed by more the other way than this step changed it."""
    total = np.cumsum(slopes, axis=0)
    before, after = np.zeros_like(total), np.empty_like(total)
    before[2:] = total[:-2]
    after[:-halo_px], after[-halo_px:] = total[halo_px:], total[-1]
    return np.asarray((after - before) * np.sign(slopes) < 0.0)
