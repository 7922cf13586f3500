"""Stage 5d: Photo, Axis -> what the strip network sees: both outlines, each with its own u, and what every column shows.

The network was trained on rendered strips whose light transport includes the mirrored sheet, contact shadows, sharpening
and JPEG; barbs are left out of its outline. Known bias and calibration on held-out renders: see models/README.md.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.net import see_strip
from vision.photo import Photo
from vision.strip import Nearby, straighten_rgb

Array = NDArray[np.floating[Any]]
HALF = 96  # rows on each side that the network was trained with
WIDEST = 110.0  # metal wider than this many rows is sampled more coarsely
PEAK_ROWS = 4.0  # the outline's place is the mean of its distribution within so many rows of the peak
LEAST_METAL = 0.5  # chance of metal below which a column has no outline
KINDS = ("nothing", "working", "smooth", "stop", "handle")


@dataclass(frozen=True)
class MetalSight:
    """What the network sees at every axis point (N,), offsets and u in photo px.

    ``upper_px`` and ``lower_px`` are signed offsets from the axis, NaN where no metal is in view; ``u_px`` (2, N) the spread
    of each. ``kinds`` (5, N) are chances of KINDS. ``heights_px`` (2, N): the axis above the sheet and how far off that
    usually is. ``names`` (14,) are logits of family, section and hand of twist. ``row_px``: px a row that the network was shown.
    """

    upper_px: Array
    lower_px: Array
    u_px: Array
    kinds: Array
    heights_px: Array
    names: Array
    row_px: float = 1.0


def see_metal(photo: Photo | Nearby, axis_px: Array, half_width_px: float, *, coarsely: bool = False) -> MetalSight:
    """Look along an axis (N, 2) at 1 px steps, tip first; ``half_width_px`` is a rough half width of the metal.

    ``coarsely``: at half the resolution over the same width of paper, a quarter of the work, to centre the axis by.
    """
    step, half = strip_step(half_width_px), HALF
    if coarsely:
        step, half = 2 * step, HALF // 2
    strip = straighten_rgb(photo, axis_px[::step], half, step_px=float(step))
    rows, kinds, heights, names = see_strip(network_input(strip.values), keep=not coarsely)
    at = (2.0 * np.arange(rows.shape[2]) + 0.5) * step  # the network looks at pairs of columns
    want = np.arange(float(len(axis_px)))
    shares = np.stack([np.interp(want, at, kind) for kind in kinds])
    hidden = np.where(shares[1] + shares[2] >= LEAST_METAL, 0.0, np.nan)
    upper, u_upper = (np.interp(want, at, value * step) for value in place_of_outline(rows[0]))
    lower, u_lower = (np.interp(want, at, value * step) for value in place_of_outline(rows[1]))
    above = np.stack([np.interp(want, at, value * step) for value in heights])
    return MetalSight(upper + hidden, lower + hidden, np.stack([u_upper, u_lower]), shares, above, names, float(step))


def strip_step(half_width_px: float) -> int:
    """Photo px a step of the strip that the network is shown: 1, more only for thick metal."""
    return max(1, int(np.ceil(2.0 * half_width_px / WIDEST)))


def network_input(values: Array) -> NDArray[np.float32]:
    """Colours over those of the paper (80th percentile of the strip), toned by 1/2.2; (3, 2 half, N), the last row left out."""
    shown = values[:-1]
    paper = np.maximum(np.quantile(shown[::4, ::4], 0.8, axis=(0, 1)), 1e-3)
    toned = np.clip(shown / paper, 0.0, 1.6) ** (1.0 / 2.2)
    return np.ascontiguousarray(np.minimum(toned, 1.25).transpose(2, 0, 1), dtype=np.float32)


def place_of_outline(share: Array) -> tuple[Array, Array]:
    """Mean near the peak of each column's distribution over rows, from the axis, and the spread of all of it."""
    row = np.arange(share.shape[0], dtype=float)[:, None] - share.shape[0] // 2
    peak = row[share.argmax(axis=0), 0]
    near = share * (np.abs(row - peak) <= PEAK_ROWS)
    mean = (near * row).sum(axis=0) / np.maximum(near.sum(axis=0), 1e-6)
    return mean, np.sqrt((share * (row - mean) ** 2).sum(axis=0))
