"""Sight, Subject -> how blurred the frame is AT THE INSTRUMENT, and on the sheet for comparison.

A hovering shaft and the paper below it cannot both be sharp, and cameras like to focus on paper. A step blurred by a Gaussian
has height / (sqrt(2 pi) slope) = sigma; the sharper third of the steps across the shaft counts, many others are facets that
shade off by themselves.
"""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from calib.layout import LARGE_MARKER_MM, SMALL_MARKER_MM
from vision.held_signs import edge_widths
from vision.live.sight import Sight
from vision.live.subject import Subject
from vision.photo import LINEAR, Photo
from vision.scale import project
from vision.strip import straighten

Array = NDArray[np.floating[Any]]
PART_MM = 16.0  # the working part, ISO 3630-1 (from memory)
BESIDE_MM = 0.4  # paper on both sides of the shaft
COLUMNS = 180
SHARPEST = 35.0  # per cent: of the steps, those that are metal against paper rather than facets that shade off by themselves
LEAST_COLUMNS = 20
LEAST_STEP = 0.2  # of the paper's light
ACROSS_MM = 0.25
PLACES = (0.3, 0.5, 0.7)  # along a marker's side
MOST_LINES = 120


def blur_at_instrument(sight: Sight, subject: Subject, paper: float) -> float | None:
    """Gaussian width in frame px of the sharpest steps across the working part, the worse of its two halves; None: nothing to see."""
    axis = _dense(subject.axis_px)[: round(PART_MM * sight.px_per_mm)]
    if len(axis) < 2 * LEAST_COLUMNS:
        return None
    half = int((subject.half_mm + BESIDE_MM) * sight.px_per_mm) + 2
    strip = straighten(sight.frame, axis, half)
    smooth = cv2.GaussianBlur(strip.values, (5, 1), 0.7)
    columns = np.flatnonzero(strip.inside)[:: max(len(axis) // COLUMNS, 1)]
    profiles = smooth[:, columns].T
    strong = np.ptp(profiles, axis=1) > LEAST_STEP * paper
    halves = [profiles[strong & side] for side in (columns < len(axis) / 2, columns >= len(axis) / 2)]
    told = [float(np.nanpercentile(edge_widths(one), SHARPEST)) for one in halves if len(one) >= LEAST_COLUMNS]
    return max(told, default=None)


def blur_of_sheet(sight: Sight) -> float | None:
    """Median Gaussian width in frame px of the markers' outer edges, the worse of both directions; None where none is in the frame."""
    start, end = sight.corners_mm[:-1], sight.corners_mm[1:]
    way = np.abs(end - start)
    length = np.linalg.norm(way, axis=1)
    side = np.min([np.abs(length - size) for size in (SMALL_MARKER_MM, LARGE_MARKER_MM)], axis=0) < 0.1
    told = [_median(sight, _crossing(start[one], end[one], sight.px_per_mm)) for k in (0, 1) if (one := side & (way[:, k] > 1.0)).any()]
    return max((one for one in told if one is not None), default=None)  # shaking blurs one direction alone


def _median(sight: Sight, lines: Array) -> float | None:
    px = project(sight.homography, lines.reshape(-1, 2)).reshape(lines.shape)
    rows = _sampled(sight.frame, px[:: max(len(px) // MOST_LINES, 1)])
    rows = rows[np.ptp(rows, axis=1) > 0.5 * np.median(np.ptp(rows, axis=1))] if len(rows) else rows
    return float(np.nanmedian(edge_widths(rows)) * 0.5) if len(rows) else None


def _crossing(start: Array, end: Array, px_per_mm: float) -> Array:
    """Lines (M, K, 2) in mm across the sides of markers, half a px from point to point."""
    along = (end - start) / np.linalg.norm(end - start, axis=1)[:, None]
    across = np.column_stack([-along[:, 1], along[:, 0]])
    steps = np.arange(-ACROSS_MM, ACROSS_MM, 0.5 / px_per_mm)
    places = np.concatenate([start + share * (end - start) for share in PLACES])
    return np.asarray(places[:, None, :] + steps[None, :, None] * np.concatenate([across] * len(PLACES))[:, None, :])


def _sampled(frame: Photo, px: Array) -> Array:
    grey = cv2.cvtColor(frame.rgb, cv2.COLOR_RGB2GRAY)
    at = px.astype(np.float32)
    inside = ((px >= 1.0) & (px <= [frame.width_px - 2.0, frame.height_px - 2.0])).all(axis=(1, 2))
    rows = cv2.remap(grey, at[inside, :, 0], at[inside, :, 1], cv2.INTER_LINEAR) if inside.any() else np.empty((0, 8))
    return np.asarray(LINEAR[np.clip(rows, 0, 255).astype(np.uint8)])


def _dense(px: Array) -> Array:
    """The same line with points 1 px apart."""
    way = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(px, axis=0), axis=1))])
    at = np.arange(0.0, way[-1], 1.0)
    return np.column_stack([np.interp(at, way, px[:, k]) for k in (0, 1)])
