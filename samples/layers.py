"""Out-of-focus blur as discs, and how the blurred layers of a scene lie over one another."""

import math
from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np

from samples.arrays import Floats

TILE_PX = 320
FINEST_PX = 0.05


@lru_cache(maxsize=512)
def _disc(steps: int) -> Floats:
    """Kernel of an evenly lit disc of diameter d = steps x FINEST_PX px with its exact second moment, d^2 / 16.

    Weighting each cell by the area it shares adds the variance of a pixel, 1/12, so a slightly smaller disc is drawn;
    below 1.7 px three taps along each axis carry the moment.
    """
    variance = (steps * FINEST_PX) ** 2 / 16
    if variance < 0.18:
        taps = np.array([variance / 2, 1 - variance, variance / 2])
        return np.outer(taps, taps).astype(np.float32)
    radius = 2.0 * math.sqrt(variance - 1 / 12)
    reach = math.ceil(radius + 0.5)
    fine = 9
    axis = (np.arange((2 * reach + 1) * fine) + 0.5) / fine - reach - 0.5
    inside = (axis[:, None] ** 2 + axis[None, :] ** 2 <= radius * radius).astype(np.float32)
    cells = inside.reshape(2 * reach + 1, fine, 2 * reach + 1, fine).sum((1, 3))
    return np.asarray(cells / cells.sum())


def blur_disc(image: Floats, diameter_px: float) -> Floats:
    """Convolve an image (H x W or H x W x C, float32) with a disc; below 0.2 px it is returned as it is."""
    diameter = abs(diameter_px)
    if diameter < 0.2:
        return image
    kernel = _disc(max(round(diameter / FINEST_PX), 1))
    return np.asarray(cv2.filter2D(image, -1, kernel, borderType=cv2.BORDER_REPLICATE))


def blur_by_map(image: Floats, diameter_px: Floats) -> Floats:
    """Blur a whole picture whose disc varies slowly: tile by tile, between two disc sizes a pixel or less apart.

    `diameter_px` H x W, signed.
    """
    if float(np.abs(diameter_px).max()) < 0.2:
        return image
    out = np.empty_like(image)
    height, width = image.shape[:2]
    for top in range(0, height, TILE_PX):
        for left in range(0, width, TILE_PX):
            rows, cols = slice(top, min(top + TILE_PX, height)), slice(left, min(left + TILE_PX, width))
            out[rows, cols] = _blurred_tile(image, np.abs(diameter_px[rows, cols]), rows, cols)
    return out


def _blurred_tile(image: Floats, size: Floats, rows: slice, cols: slice) -> Floats:
    low, high = float(size.min()), float(size.max())
    margin = math.ceil(high / 2) + 2
    y0, x0 = max(rows.start - margin, 0), max(cols.start - margin, 0)
    part = image[y0 : rows.stop + margin, x0 : cols.stop + margin]
    inner = (slice(rows.start - y0, rows.stop - y0), slice(cols.start - x0, cols.stop - x0))
    count = max(math.ceil((high - low) / 0.8), 1)
    levels = np.linspace(low, high, count + 1) if high - low > 0.05 else np.array([low, low + 1.0])
    out = np.zeros((*size.shape, image.shape[2]), np.float32)
    for level, diameter in enumerate(levels):
        weight = np.clip(1.0 - np.abs(size - diameter) / (levels[1] - levels[0]), 0.0, 1.0).astype(np.float32)
        if level and not weight.any():
            continue
        out += weight[..., None] * blur_disc(part, float(diameter))[inner]
    return out


@dataclass(frozen=True)
class Fragments:
    """Pinhole picture of one solid inside a box: premultiplied colour, coverage and out-of-focus disc.

    `left`, `top`: the box's corner in the picture; `rgba` h x w x 4, `disc_px` h x w (signed diameter).
    """

    left: int
    top: int
    rgba: Floats
    disc_px: Floats


def lay_over(picture: Floats, coverage: Floats, solid: Fragments) -> None:
    """Blur the solid bin by bin of its disc size and lay it over `picture` (H x W x 3) in place.

    The bins of one solid share each pixel's area, so they ADD; only different solids cover one another. `coverage`
    (H x W) takes the largest blurred coverage, for the truth.
    """
    height, width = solid.disc_px.shape
    for top in range(-TILE_PX, height + TILE_PX, TILE_PX):
        for left in range(-TILE_PX, width + TILE_PX, TILE_PX):
            _lay_tile(picture, coverage, solid, top, left)


def _lay_tile(picture: Floats, coverage: Floats, solid: Fragments, top: int, left: int) -> None:
    height, width = solid.disc_px.shape
    y0, x0 = solid.top + top, solid.left + left
    y1, x1 = min(y0 + TILE_PX, picture.shape[0]), min(x0 + TILE_PX, picture.shape[1])
    y0, x0 = max(y0, 0), max(x0, 0)
    if y1 <= y0 or x1 <= x0:
        return
    margin = 42
    u0, u1 = max(y0 - solid.top - margin, 0), min(y1 - solid.top + margin, height)
    v0, v1 = max(x0 - solid.left - margin, 0), min(x1 - solid.left + margin, width)
    if u1 <= u0 or v1 <= v0 or not solid.rgba[u0:u1, v0:v1, 3].any():
        return
    pad = np.zeros((y1 - y0 + 2 * margin, x1 - x0 + 2 * margin, 4), np.float32)
    disc = np.zeros(pad.shape[:2], np.float32)
    where = (
        slice(u0 + solid.top - y0 + margin, u1 + solid.top - y0 + margin),
        slice(v0 + solid.left - x0 + margin, v1 + solid.left - x0 + margin),
    )
    pad[where], disc[where] = solid.rgba[u0:u1, v0:v1], solid.disc_px[u0:u1, v0:v1]
    blurred = _add_bins(pad, disc)[margin:-margin, margin:-margin]
    alpha = blurred[..., 3:]
    over = np.maximum(alpha, 1.0)
    target = picture[y0:y1, x0:x1]
    target *= 1.0 - np.minimum(alpha, 1.0)
    target += blurred[..., :3] / over
    np.maximum(coverage[y0:y1, x0:x1], np.minimum(alpha[..., 0], 1.0), out=coverage[y0:y1, x0:x1])


def _add_bins(rgba: Floats, disc: Floats) -> Floats:
    """Sum of the bins of one tile, each blurred by its own disc."""
    covered = rgba[..., 3] > 0
    low, high = float(disc[covered].min()), float(disc[covered].max())
    count = max(math.ceil((high - low) / 1.0), 1)
    if high - low < 0.1:
        return blur_disc(rgba, 0.5 * (low + high))
    levels = np.linspace(low, high, count + 1)
    out = np.zeros_like(rgba)
    for level in levels:
        weight = np.clip(1.0 - np.abs(disc - level) / (levels[1] - levels[0]), 0.0, 1.0) * covered
        if weight.any():
            out += blur_disc(rgba * weight[..., None].astype(np.float32), float(level))
    return out
