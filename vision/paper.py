"""Stage 3b: Plane -> how bright and what colour the bare paper is at every place, under whatever light there was."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

from vision.bands import bands
from vision.memory import give_back
from vision.openings import zones
from vision.plane import Plane

Image = NDArray[np.floating[Any]]
BLOCK_MM = 2.0
ANCHOR_MM = 3.0  # a block this near to a verified saddle is paper for certain
FROM_ANCHORS = 0.5  # log light by which paper may miss the smooth surface through those
LEAST_WHITE = 0.25  # of a block
WINDOW = 7  # blocks: wider than a handle, so its surroundings outvote it
DIMMER, BRIGHTER = 0.12, 0.35  # log light by which a block may miss its surroundings' upper part and still be paper
# Log light of red or blue over green's by which it may miss the smooth surface through blocks beside verified print: 0.05 and less of 98 %
# on six development trays, up to 3 of yellow handles, which a low lamp makes as bright as paper.
TINTED = 0.1
LEAST_PLAIN = 0.5  # of the blocks; where fewer are of one colour, lamps of two colours light them


def paper_light(plane: Plane, anchors_mm: Image) -> Image:
    """Return (H, W, 3) linear light of bare white paper, smooth, interpolated under instruments and ink.

    Blocks of white paper vote by their median. ``anchors_mm`` (N, 2), places that show the print and so are the sheet,
    keep a table beside it from voting. A block clearly dimmer than the brighter part of its surroundings (an instrument,
    a hard shadow) or of another colour (a handle lit more than the paper) loses its vote; the rest are smoothed and spread over the gaps.
    """
    block = max(int(BLOCK_MM * plane.px_per_mm), 4)
    votes = _votes(plane, block)
    grey = votes.mean(axis=2)
    if np.isfinite(grey).sum() < 6:
        level = np.percentile(plane.rgb[plane.inside], 80, axis=0)
        return np.broadcast_to(np.maximum(level, 1e-3), plane.rgb.shape).astype(np.float32)
    grey = np.where(np.abs(grey - _surface(plane, grey, block, anchors_mm)) < FROM_ANCHORS, grey, np.nan)
    usual = _upper(grey)
    kept = np.isfinite(grey) & (grey > usual - DIMMER) & (grey < usual + BRIGHTER)
    kept = _plain(plane, np.where(kept[..., None], votes, np.nan), block, anchors_mm)
    spread = _spread(np.where(kept[..., None], votes, np.nan))
    give_back()  # the blocks, before a picture as large as the plane
    full = cv2.resize(spread.astype(np.float32), (plane.rgb.shape[1], plane.rgb.shape[0]), interpolation=cv2.INTER_LINEAR)
    for band in bands(full.shape, 0):
        full[band.place] = cv2.exp(full[band.place])
    return np.asarray(full, dtype=np.float32)


def _plain(plane: Plane, votes: Image, block: int, anchors_mm: Image) -> NDArray[np.bool_]:
    """Which of the blocks that vote (not NaN) are of the paper's own colour."""
    kept = np.isfinite(votes[..., 0])
    plain = kept.copy()
    for channel in (0, 2):
        over_green = votes[..., channel] - votes[..., 1]
        plain &= np.abs(over_green - _surface(plane, over_green, block, anchors_mm, 50.0)) < TINTED
    return plain if plain.sum() > LEAST_PLAIN * kept.sum() else kept


def _surface(plane: Plane, grey: Image, block: int, anchors_mm: Image, level: float = 70.0) -> Image:
    """Quadratic surface of log light through the blocks beside verified print (a percentile, ``level``, of all if there is none)."""
    rows, columns = np.indices(grey.shape)
    x = (columns + 0.5) * block / plane.px_per_mm + plane.x0_mm
    y = (rows + 0.5) * block / plane.px_per_mm + plane.y0_mm
    lines = np.asarray(x)[0], np.asarray(y)[:, 0]
    along, down = ((np.abs(at - anchors_mm[:, k, None]) < ANCHOR_MM).astype(np.float32) for k, at in enumerate(lines))
    sure = (down.T @ along > 0.0) & np.isfinite(grey)
    if sure.sum() < 8:
        return np.full(grey.shape, float(np.nanpercentile(grey, level)))
    u, v = (x - x.mean()) / np.ptp(x), (y - y.mean()) / np.ptp(y)
    design = np.stack([np.ones_like(u), u, v, u * u, u * v, v * v], axis=-1)
    ridge = 0.3 * np.diag([0.0, 1, 1, 4, 4, 4])
    weight = np.ones(sure.sum())
    solution = np.zeros(6)
    for _ in range(6):
        a = design[sure] * weight[:, None]
        solution = np.linalg.solve(a.T @ design[sure] + ridge, a.T @ grey[sure])
        miss = grey[sure] - design[sure] @ solution
        weight = 1.0 / (1.0 + (miss / 0.1) ** 2)
    return np.asarray(design @ solution)


def _votes(plane: Plane, block: int) -> Image:
    """Median log light of the white pixels of each block, NaN where there are too few."""
    white = (plane.printed > 0.9) & plane.inside
    for _, _, zone in zones(plane):  # what shows through a window card's holes has a light of its own
        white &= ~zone
    white = cv2.erode(white.astype(np.uint8), np.ones((3, 3), np.uint8)).astype(bool)
    rows, columns = -(-white.shape[0] // block), -(-white.shape[1] // block)
    mine = _tiles(white, rows, columns, block)
    share = mine.sum(axis=2) / np.maximum(_tiles(np.ones_like(white), rows, columns, block).sum(axis=2), 1)
    votes = np.full((rows, columns, 3), np.nan)
    asked = share > LEAST_WHITE
    for channel in range(3):
        light = np.where(mine, _tiles(plane.rgb[..., channel], rows, columns, block), np.inf)[asked]
        votes[asked, channel] = np.log(np.maximum(_quantile(light, 0.5), 1e-3))
    return votes


def _tiles(picture: Image | NDArray[np.bool_], rows: int, columns: int, block: int) -> NDArray[Any]:
    """Pixels of each block, (rows, columns, pixels), thinned to one or two hundred a block; blocks at the rim end short, in zeros."""
    step, (height, width) = max(block // 12, 1), picture.shape
    result = np.zeros((rows, columns, -(-block // step), -(-block // step)), dtype=picture.dtype)
    down, along = height // block, width // block
    result[:down, :along] = _thinned(picture[: down * block, : along * block], block, step)
    if down < rows:
        last = np.zeros((block, columns * block), dtype=picture.dtype)
        last[: height - down * block, :width] = picture[down * block :]
        result[down:] = _thinned(last, block, step)
    if along < columns:
        last = np.zeros((rows * block, block), dtype=picture.dtype)
        last[:height, : width - along * block] = picture[:, along * block :]
        result[:, along:] = _thinned(last, block, step)
    return result.reshape(rows, columns, -1)


def _thinned(picture: NDArray[Any], block: int, step: int) -> NDArray[Any]:
    """Every so manieth row and column of whole blocks, (rows, columns, down, along)."""
    parts = picture.reshape(picture.shape[0] // block, block, picture.shape[1] // block, block)
    return parts[:, ::step, :, ::step].transpose(0, 2, 1, 3)


def _quantile(values: Image, share: float) -> Image:
    """Quantile over the last axis of what is finite there, between neighbours by their distance; NaN where nothing is."""
    ordered = np.sort(values, axis=-1)
    last = np.isfinite(ordered).sum(axis=-1) - 1
    ordered = np.where(np.isfinite(ordered), ordered, 0.0)
    place = np.maximum(last, 0) * share
    low = np.floor(place).astype(int)
    below = np.take_along_axis(ordered, low[..., None], axis=-1)[..., 0]
    above = np.take_along_axis(ordered, np.minimum(low + 1, np.maximum(last, 0))[..., None], axis=-1)[..., 0]
    return np.where(last >= 0, below + (above - below) * (place - low), np.nan)


def _upper(grey: Image) -> Image:
    """The brighter part (65th percentile) of every block's surroundings."""
    reach = WINDOW // 2
    around = np.lib.stride_tricks.sliding_window_view(np.pad(grey, reach, constant_values=np.nan), (WINDOW, WINDOW))
    values = around.reshape(*grey.shape, -1)
    return _quantile(np.where(np.isfinite(values), values, np.inf), 0.65)


def _spread(votes: Image) -> Image:
    """Smooth what is known and carry it over what is not, by ever wider normalised Gaussians."""
    known = np.isfinite(votes[..., 0]).astype(float)
    filled = np.nan_to_num(votes)
    result = np.zeros_like(votes)
    weight = np.zeros(known.shape)
    for sigma in (0.9, 2.0, 5.0, 20.0):
        mass = gaussian_filter(known, sigma, mode="constant")
        mean = np.stack([gaussian_filter(filled[..., c], sigma, mode="constant") for c in range(3)], axis=-1)
        use = (weight < 0.5) & (mass > 0.02)
        result[use] = mean[use] / mass[use][:, None]
        weight[use] = 1.0
    result[weight < 0.5] = np.median(votes[known > 0.5], axis=0)
    return result
