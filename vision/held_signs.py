"""Stage 6c': Photo, Scale, Edges -> signs of the shaft's height in one photo: blur of metal and print, shadow beside it.

Both are weak: a shaft in focus with the print a little out of it blurs alike, and soft light throws no shadow to see.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, map_coordinates

from vision.channels import LUMINANCE
from vision.edge_lines import Edges
from vision.photo import LINEAR, Photo
from vision.scale import Scale
from vision.strip import straighten

Array = NDArray[np.floating[Any]]
NEAR_MM = 14.0  # print within this of the shaft is compared with it
BESIDE_MM, REACH_MM = 0.45, 0.30  # where a print edge is crossed, from its saddle, and how far to both sides
LEAST_EDGES = 8
SHADOW_MM = 3.2  # paper looked at on each side
LEAST_SHADE = 0.05  # of the paper's light


@dataclass(frozen=True)
class HeightSigns:
    """Gaussian widths of the sharpest edges, px: on the ``metal``, in the ``print`` near it (None: too few edges).

    ``lit_gap_mm``: lit paper between the outline and the shaft's shadow; 0 when the shadow begins at the outline, None
    when no shadow is seen.
    """

    metal_px: float | None
    print_px: float | None
    lit_gap_mm: float | None


def height_signs(photo: Photo, scale: Scale, edges: Edges, px_per_mm: float, span: tuple[int, int]) -> HeightSigns:
    """Measure the signs over the columns ``span`` (first, last) of the strip, the working part in view."""
    return HeightSigns(
        _metal_blur(edges, span),
        _print_blur(photo, scale, edges.strip.axis_px[span[0] : span[1]], px_per_mm),
        _lit_gap(photo, edges, px_per_mm, span),
    )


def edge_widths(profiles: Array) -> Array:
    """Gaussian width in samples of each (M, N) profile's steepest step: height of its monotone run over its slope.

    A step blurred by a Gaussian has height / (sqrt(2 pi) slope) = sigma (its own closed form). NaN for flat profiles.
    """
    slope = np.gradient(profiles, axis=1)
    rows, places = np.arange(len(profiles)), np.arange(profiles.shape[1])
    at = np.abs(slope).argmax(axis=1)
    steepest = slope[rows, at]
    turns = np.sign(slope) != np.sign(steepest)[:, None]
    low = np.maximum.accumulate(np.where(turns, places, -1), axis=1)[rows, at] + 1
    high = np.minimum.accumulate(np.where(turns, places, len(places))[:, ::-1], axis=1)[rows, len(places) - 1 - at]
    total = np.concatenate([np.zeros((len(slope), 1)), np.cumsum(slope, axis=1)], axis=1)
    height = np.abs(total[rows, high] - total[rows, low])
    flat = steepest == 0.0
    return np.asarray(np.where(flat, np.nan, height / (np.sqrt(2.0 * np.pi) * np.where(flat, 1.0, np.abs(steepest)))))


def _metal_blur(edges: Edges, span: tuple[int, int]) -> float | None:
    """Width of the sharpest fifth of the steps across the shaft: the rest are facets that shade off by themselves."""
    columns = np.arange(span[0], span[1], 3)
    good = np.isfinite(edges.upper_px[columns]) & np.isfinite(edges.lower_px[columns])
    if good.sum() < 50:
        return None
    values = gaussian_filter1d(edges.strip.values.astype(float), 0.7, axis=1)
    reach = int(np.nanpercentile(np.abs([edges.upper_px[columns], edges.lower_px[columns]]), 95)) + 6
    half = edges.strip.half_px
    profiles = values[max(half - reach, 0) : half + reach + 1][:, columns[good]].T
    strong = np.ptp(profiles, axis=1) > 0.3 * edges.paper
    if strong.sum() < 50:
        return None
    return float(np.nanpercentile(edge_widths(profiles[strong]), 20))


def _print_blur(photo: Photo, scale: Scale, axis_px: Array, px_per_mm: float) -> float | None:
    """Median width of the checkerboard's edges near the shaft, crossed close to verified saddles."""
    if scale.sheet is None or len(axis_px) == 0:
        return None
    middle = scale.to_plane_mm(axis_px[:: max(len(axis_px) // 12, 1)])
    places = [s for s in scale.saddles_mm if np.linalg.norm(middle - s, axis=1).min() < NEAR_MM]
    across = np.arange(-REACH_MM, REACH_MM, 0.5 / px_per_mm)
    lines = []
    for x, y in places:
        for dx, dy in ((BESIDE_MM, 0.0), (-BESIDE_MM, 0.0), (0.0, BESIDE_MM), (0.0, -BESIDE_MM)):
            along = np.array([dx, dy]) / BESIDE_MM
            lines.append(np.array([x + dx, y + dy]) + across[:, None] * np.array([-along[1], along[0]]))
    if not lines:
        return None
    px = scale.to_px(np.concatenate(lines))
    rows = _light_at(photo, px).reshape(len(lines), -1)
    rows = rows[np.ptp(rows, axis=1) > 0.6 * np.median(np.ptp(rows, axis=1))]
    return float(np.nanmedian(edge_widths(rows)) * 0.5) if len(rows) >= LEAST_EDGES else None


def _light_at(photo: Photo, px: Array) -> Array:
    """Linear grey (N,) at places (N, 2), between the four px about each; a few thousand of them cost less than the picture they lie in."""
    last = np.array([photo.width_px - 1, photo.height_px - 1])
    inside = np.clip(px, 0.0, last)
    first = np.minimum(inside.astype(int), last - 1)
    right, down = (inside - first).T
    total = np.zeros(len(px))
    for dx, dy, share in ((0, 0, (1 - right) * (1 - down)), (1, 0, right * (1 - down)), (0, 1, (1 - right) * down), (1, 1, right * down)):
        total += share * (LINEAR[photo.rgb[first[:, 1] + dy, first[:, 0] + dx]] @ LUMINANCE)
    return total


def _lit_gap(photo: Photo, edges: Edges, px_per_mm: float, span: tuple[int, int]) -> float | None:
    """Distance from the outline at which the deeper of the two sides' shadows begins; see ``HeightSigns``."""
    half = int(SHADOW_MM * px_per_mm)
    axis = edges.strip.axis_px[span[0] : span[1] : 4]
    upper, lower = edges.upper_px[span[0] : span[1] : 4], edges.lower_px[span[0] : span[1] : 4]
    if len(axis) < 30 or edges.lit[span[0] : span[1]].any():
        return None
    strip = straighten(photo, axis, half)
    gaps = []
    for sign, edge in ((1.0, upper), (-1.0, lower)):
        t = np.arange(0.06, SHADOW_MM - 1.0, 0.05) * px_per_mm
        rows = half + np.nan_to_num(edge) + sign * t[:, None]
        columns = np.broadcast_to(np.arange(len(axis)), rows.shape)
        good = np.isfinite(edge) & strip.inside
        if good.sum() < 30:
            continue
        seen = map_coordinates(strip.values, np.array([rows[:, good], columns[:, good]]), order=1, mode="nearest")
        shade = 1.0 - np.median(seen, axis=1) / np.percentile(seen, 90)
        if shade.max() > LEAST_SHADE:
            first = int(np.argmax(shade > 0.5 * shade.max()))
            gaps.append((float(shade.max()), float(t[first] / px_per_mm) if first else 0.0))
    return max(gaps)[1] if gaps else None
