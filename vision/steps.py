"""Stage 5b: Strip -> where each column's brightness first departs from its background, to a fraction of a px.

A shiny shaft mirrors the sheet along its own outline, so the strongest gradient lies well inside the metal and the true
edge is only a small step. What is sought is therefore the OUTERMOST step, measured against a background that may slope
(a soft shadow): the step's amplitude is estimated with a straight line projected out.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import convolve1d, gaussian_filter1d
from scipy.stats import norm

Array = NDArray[np.floating[Any]]
Map = NDArray[np.floating[Any]]
ALONG_PX = 1.5  # smoothing along the axis; crests are tens of px long
LEAST_STEP = 0.05  # of the paper's brightness


@dataclass(frozen=True)
class Steps:
    """Outermost step on one side of every column: offset from the axis in px (outward, NaN if none) and its amplitude
    over the paper's brightness (negative where the metal is darker)."""

    offset_px: Array
    amplitude: Array


def step_map(values: Map, blur_px: float) -> Map:
    """Amplitude of a blurred step at every place of a strip (rows across), a linear background projected out.

    Positive where brightness rises with the row number. ``blur_px`` is the Gaussian width of the edges sought.
    """
    half = max(round(3.0 * blur_px), 3)
    j = np.arange(-half, half + 1, dtype=float)
    shape = norm.cdf(j / blur_px) - 0.5
    clean = shape - j * float(shape @ j) / float(j @ j)
    kernel = clean / float(clean @ shape)
    along = gaussian_filter1d(values, ALONG_PX, axis=1, mode="nearest")
    return np.asarray(convolve1d(along, kernel[::-1], axis=0, mode="nearest"), dtype=np.float32)


def outermost(amplitudes: Map, threshold: Array) -> tuple[Array, Array]:
    """First local extreme of |amplitude| above ``threshold`` (N,), coming from the first row toward the axis.

    ``amplitudes`` (M, N) runs from far outside (row 0) to the axis; returns the row with its
    fraction (NaN if none) and the amplitude there.
    """
    size = np.abs(amplitudes)
    rows = size.shape[0]
    peak = (size[1:-1] >= size[:-2]) & (size[1:-1] > size[2:]) & (size[1:-1] > threshold[None, :])
    found = peak.any(axis=0)
    first = np.where(found, peak.argmax(axis=0) + 1, 1)
    columns = np.arange(size.shape[1])
    before, at, after = size[first - 1, columns], size[first, columns], size[np.minimum(first + 1, rows - 1), columns]
    curve = before - 2.0 * at + after
    shift = np.where(np.abs(curve) > 1e-9, 0.5 * (before - after) / np.where(np.abs(curve) > 1e-9, curve, 1.0), 0.0)
    row = np.where(found, first + np.clip(shift, -0.5, 0.5), np.nan)
    return row.astype(float), np.where(found, amplitudes[first, columns], np.nan).astype(float)
