"""Stage 2l: Photo -> does a screen's regular pattern of dots lie over the paper?

A sheet shown on a screen has whatever size the screen gives it, so no length can be read off it. Paper is irregular at every
scale; the dots of a screen, or the beats between them and the camera's own pixels, stand as sharp points in the spectrum of what
should be bare white. Points on the lattice of 1/8 px are those of JPEG's blocks (ITU-T T.81) and do not count.
"""

from __future__ import annotations

from functools import cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.errors import PhotoError
from vision.photo import Photo
from vision.scale import Scale

Array = NDArray[np.floating[Any]]
TILE_PX = 128
TILES = 16  # the brightest even ones
EVEN_SHARE = 0.06  # spread of the means of 16 px blocks over a tile that shows nothing but paper
STANDS_OUT = 15.0  # power over the usual at that fineness, in the median over the tiles; 16 tiles of noise reach 3
MOST_SHARE = 0.015  # of the white: good renders reach 0.010, photos of paper 0.001; fainter screens pass unsaid
LEAST_TILES = 4
_COARSEST, _FINEST = 3.0 / TILE_PX, 0.47  # 1/px; coarser is shading, finer the grid of the sensor itself


def refuse_screen(photo: Photo, scale: Scale, tiles: list[Array] | None = None) -> None:
    """Raise PhotoError of kind 'screen' where the sheet's white shows a regular pattern. ``tiles``: its even tiles if they are known.

    Nothing is said of a given scale, nor of a card with windows, through which a lit screen may show.
    """
    if scale.sheet is None or scale.sheet.windows:
        return
    share = regularity_of(even_tiles(photo.rgb) if tiles is None else tiles)
    if share > MOST_SHARE:
        raise PhotoError(
            "screen",
            f"the white of the sheet shows the regular dots of a screen ({100 * share:.1f} % strong, paper shows less than "
            f"{100 * MOST_SHARE:.1f} %): a sheet on a screen has no certain size: print it, and photograph the print",
        )


def regularity(rgb: NDArray[np.uint8]) -> float:
    """Return how strong the strongest regular pattern of the bright even places is, as a share of their level; 0 if too few."""
    return regularity_of(even_tiles(rgb))


def regularity_of(tiles: list[Array]) -> float:
    """The same of tiles already cut out."""
    if len(tiles) < LEAST_TILES:
        return 0.0
    level = float(np.median([tile.mean() for tile in tiles]))
    return max(_strongest(tiles, np.array(weights)) / level for weights in ((0.3, 0.6, 0.1), (1.0, 0.0, -1.0)))


def even_tiles(rgb: NDArray[np.uint8]) -> list[Array]:
    """Cut the brightest places that show nothing but even paper, (128, 128, 3) in sRGB code each."""
    rows, columns = rgb.shape[0] // TILE_PX, rgb.shape[1] // TILE_PX
    if not rows or not columns:
        return []
    means = np.concatenate([_block_means(rgb[k * TILE_PX : (k + 1) * TILE_PX, : columns * TILE_PX]) for k in range(rows)])
    level, spread = means.mean(axis=1), means.std(axis=1)
    even = np.flatnonzero(spread < EVEN_SHARE * level)
    chosen = even[np.argsort(-level[even])][:TILES]
    places = [(int(k) // columns * TILE_PX, int(k) % columns * TILE_PX) for k in chosen]
    return [rgb[y : y + TILE_PX, x : x + TILE_PX].astype(float) for y, x in places]


def _block_means(row: NDArray[np.uint8]) -> Array:
    """Mean green of the 16 px blocks of every tile in a row of tiles: exact, sums of 256 codes fit into a float."""
    green = cv2.extractChannel(np.ascontiguousarray(row), 1).astype(np.float32)
    few = TILE_PX // 16
    blocks = np.asarray(cv2.resize(green, (green.shape[1] // 16, few), interpolation=cv2.INTER_AREA), dtype=float)
    return blocks.reshape(few, -1, few).transpose(1, 0, 2).reshape(-1, few * few)


def _spectrum(tile: Array) -> Array:
    window = np.hanning(TILE_PX)
    level = tile - tile.mean()
    return np.asarray(np.abs(np.fft.rfft2(level * np.outer(window, window))) ** 2)


def _strongest(tiles: list[Array], weights: Array) -> float:
    """Amplitude of the strongest point that stands out of its ring, JPEG's lattice and both ends of the scale left out."""
    power = np.median([_spectrum(np.asarray(cv2.transform(tile, weights[None]), dtype=float)) for tile in tiles], axis=0)
    counted, rings = _rings()
    usual = np.zeros(power.shape)
    for ring in rings:
        usual[ring] = np.median(power[ring])
    counted = counted & (power > STANDS_OUT * usual)
    return float(2.0 * np.sqrt(power[counted].max()) / np.hanning(TILE_PX).sum() ** 2) if counted.any() else 0.0


@cache
def _rings() -> tuple[NDArray[np.bool_], list[tuple[NDArray[np.intp], ...]]]:
    """Which points of a spectrum count, the columns from 0 up, and the points of each ring about its middle."""
    down, across = np.fft.fftfreq(TILE_PX)[:, None], np.fft.rfftfreq(TILE_PX)[None, :]
    fineness = np.hypot(down, across)
    ring = np.round(fineness / 0.02).astype(int)
    off_down, off_across = (np.abs(at * 8.0 - np.round(at * 8.0)) / 8.0 < 1.5 / TILE_PX for at in (down, across))
    counted = (fineness > _COARSEST) & (np.abs(down) < _FINEST) & (across < _FINEST) & ~(off_down & off_across)
    return counted, [np.nonzero(ring == k) for k in range(int(ring.max()) + 1)]
