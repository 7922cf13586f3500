"""Stage 2m: Photo -> is what should be even paper grainy with noise, or broken into blocks by hard coding?

Either hides the steps that an outline is found by, and draws others. Noise is looked at on the bright even places of the picture:
noise by the second differences of neighbours (even shading has none). Blocks are found anywhere, by the steps between places of one
level each (JPEG codes squares of 8 px a side, ITU-T T.81, and with few bits nothing but their level is left).
"""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.errors import PhotoError
from vision.photo import Photo
from vision.screen import even_tiles

Array = NDArray[np.floating[Any]]
GREY = np.array([0.3, 0.6, 0.1])
BLOCK_PX = 8
MOST_NOISE = 0.10  # of the paper's level; ordinary photos have 0.01 and less
MOST_STEP = 8.0  # sRGB code: JPEG at quality 13 or less in the usual tables; ordinary photos have 0 to 2
LEAST_TILES = 3
STRIDE = 6  # every sixth row and column tells enough
LEAST_STEPS, OFTENER = 100, 4.0


def refuse_grain(photo: Photo, tiles: list[Array] | None = None) -> None:
    """Raise PhotoError of kind 'grainy' or 'blocky' where the picture's own faults are as large as what is looked for.

    ``tiles``: its even tiles if they are known.
    """
    noise, step = _noise_of(even_tiles(photo.rgb) if tiles is None else tiles), block_step(photo.rgb)
    if noise > MOST_NOISE:
        raise PhotoError(
            "grainy",
            f"the paper is grainy by {100 * noise:.0f} % of its brightness, at most {100 * MOST_NOISE:.0f} % may be: give more light, hold "
            "still, and photograph again",
        )
    if step > MOST_STEP:
        raise PhotoError(
            "blocky",
            f"the picture is coded so hard that blocks of {BLOCK_PX} px stand out by {step:.0f} of 255 steps of brightness, at most "
            f"{MOST_STEP:.0f} may be: use the camera's original file, not one that was sent or made small",
        )


def noise_share(rgb: NDArray[np.uint8]) -> float:
    """Standard deviation of the noise on even paper as a share of its level, in sRGB code; 0 where too little even paper shows."""
    return _noise_of(even_tiles(rgb))


def _noise_of(tiles: list[Array]) -> float:
    found = [_noise(np.asarray(tile @ GREY)) for tile in tiles]
    return float(np.median(found)) if len(found) >= LEAST_TILES else 0.0


def block_step(rgb: NDArray[np.uint8]) -> float:
    """Usual step between two blocks that are each of one level, in sRGB code of green; 0 where no such blocks are seen."""
    rows, columns = (np.ascontiguousarray(green) for green in (rgb[::STRIDE, :, 1], rgb[:, ::STRIDE, 1]))
    return max(_step(rows), _step(np.asarray(cv2.transpose(columns))))


def _noise(tile: Array) -> float:
    """Robust spread of second differences across and along: 6 times the noise's variance each, a constant slope gives none."""
    second = np.diff(tile, 2, axis=1)
    return float(1.4826 * np.median(np.abs(second)) / np.sqrt(6.0) / max(tile.mean(), 1.0))


def _step(green: NDArray[Any]) -> float:
    """Steps with two equal neighbours on both sides; those of print lie anywhere, those of blocks at one of eight places alone."""
    green = np.ascontiguousarray(green)
    flat = green[:, 1:] == green[:, :-1]
    pairs = flat[:, 1:] & flat[:, :-1]
    lone = ~flat[:, 2:-2] & pairs[:, :-3] & pairs[:, 3:]
    inner = cv2.absdiff(green[:, 3:-2], green[:, 2:-3])
    of_column = np.count_nonzero(lone, axis=0)
    counts = np.array([of_column[place::BLOCK_PX].sum() for place in range(BLOCK_PX)])
    best = int(np.argmax(counts))
    if counts[best] < max(LEAST_STEPS, OFTENER * np.median(counts)):
        return 0.0
    return float(np.median(inner[:, best::BLOCK_PX][lone[:, best::BLOCK_PX]]))
