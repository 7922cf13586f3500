"""Stage 5e: Photo, axis -> column where the handle's front face begins, beside the shank.

On two lines parallel to the shaft, a little off the metal, paper (or table) gives way to plastic: the strongest change of
colour marks the face at that distance from the axis.
"""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.photo import LINEAR, Photo
from vision.strip import normals

Array = NDArray[np.floating[Any]]
BEFORE_MM, AFTER_MM = 0.15, 0.75  # searched before and after the place where the plane first shows the handle
AFTER_STOP_MM = 2.8  # the same when a stop lies against the handle
BODY_MM, DEEP_MM = (0.9, 1.5), (3.2, 5.0)  # behind that place: plastic; the handle even if a stop lies against it
OTHER_COLOUR = 0.7  # of log colour, brightness left out
WINDOW_MM = 0.22
LEAST_CONTRAST = 0.25  # of log colour


def front_column(photo: Photo, axis_px: Array, guess: int, aside_px: float, px_per_mm: float) -> float | None:
    """Column of the strongest colour change near ``guess`` on lines ``aside_px`` to both sides; None when there is none."""
    low = max(guess - int((BEFORE_MM + WINDOW_MM) * px_per_mm), 0)
    high = min(guess + int(DEEP_MM[1] * px_per_mm), len(axis_px))
    if high < guess + 1.0 * px_per_mm:
        return None
    stretch, normal = axis_px[low:high], normals(axis_px)[low:high]
    colours = [_colours(photo, stretch + side * aside_px * normal) for side in (-1.15, -1.0, -0.85, 0.85, 1.0, 1.15)]
    near, deep = (slice(*(guess - low + int(at * px_per_mm) for at in span)) for span in (BODY_MM, DEEP_MM))
    inside = _inside(photo, stretch[deep])
    body = [np.median(colour[near], axis=0) for colour in colours]
    after = AFTER_MM
    if inside:
        behind = [np.median(colour[deep], axis=0) for colour in colours]
        if _tint_apart(np.mean(body, axis=0), np.mean(behind, axis=0)) > OTHER_COLOUR:
            body, after = behind, AFTER_STOP_MM
    window = max(int(WINDOW_MM * px_per_mm), 3)
    score = np.mean([_change(colour, one, window) for colour, one in zip(colours, body, strict=True)], axis=0)
    allowed = (np.arange(len(score)) + low >= guess - BEFORE_MM * px_per_mm) & (
        np.arange(len(score)) + low <= guess + after * px_per_mm
    )
    score = np.where(allowed, score, 0.0)
    best = int(np.argmax(score))
    if score[best] < LEAST_CONTRAST:
        return None
    left, right = max(best - 1, 0), min(best + 1, len(score) - 1)
    curve = score[left] - 2.0 * score[best] + score[right]
    shift = 0.5 * (score[left] - score[right]) / curve if abs(curve) > 1e-9 else 0.0
    return float(low + best + np.clip(shift, -0.5, 0.5))


def _inside(photo: Photo, line_px: Array) -> bool:
    return len(line_px) > 5 and bool(((line_px > 3) & (line_px < [photo.width_px - 4, photo.height_px - 4])).all())


def _tint_apart(a: Array, b: Array) -> float:
    """Distance of two log colours with their brightness left out, or of brightness alone when that is far (white, black)."""
    tint = float(np.linalg.norm((a - a.mean()) - (b - b.mean())))
    return max(tint, 0.45 * abs(float(a.mean() - b.mean())))


def _colours(photo: Photo, line_px: Array) -> Array:
    """Log linear colour (N, 3) along a line; bilinear."""
    corner = np.clip(np.floor(line_px.min(axis=0)).astype(int) - 2, 0, [photo.width_px - 2, photo.height_px - 2])
    far = np.clip(np.ceil(line_px.max(axis=0)).astype(int) + 3, corner + 2, [photo.width_px, photo.height_px])
    crop = LINEAR.astype(np.float32)[photo.rgb[corner[1] : far[1], corner[0] : far[0]]]
    at = (line_px - corner).astype(np.float32)
    seen = cv2.remap(crop, at[None, :, 0], at[None, :, 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.log(np.asarray(seen[0], dtype=float) + 0.02)


def _change(colour: Array, body: Array, window: int) -> Array:
    """How much nearer the plastic's colour the mean just after every place is than the mean just before; 0 at the ends."""
    total = np.cumsum(np.concatenate([np.zeros((1, 3)), colour]), axis=0)
    at = np.arange(len(colour))
    inside = (at >= window) & (at <= len(colour) - window)
    low, high = np.clip(at - window, 0, None), np.clip(at + window, None, len(colour))
    before = (total[at] - total[low]) / window
    after = (total[high] - total[at]) / window
    gain = np.linalg.norm(before - body, axis=1) - np.linalg.norm(after - body, axis=1)
    return np.asarray(gain * inside)
