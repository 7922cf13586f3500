"""Stage 2m: Photo -> is what should be even paper grainy with noise, or broken into blocks by hard coding?

Either hides the steps that an outline is found by, and draws others. Noise is looked at on the bright even places of the picture:
noise by the second differences of neighbours (even shading has none). Blocks are found anywhere, by the steps between places of one
level each (JPEG codes squares of 8 px a side, ITU-T T.81, and with few bits nothing but their level is left).
"""

from __future__ import annotations

from typing import Any

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
STRIDE = 3  # every third row and column tells enough
LEAST_STEPS, OFTENER = 200, 4.0


def refuse_grain(photo: Photo) -> None:
    """Raise PhotoError of kind 'grainy' or 'blocky' where the picture's own faults are as large as what is looked for."""
    noise, step = noise_share(photo.rgb), block_step(photo.rgb)
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
    found = [_noise(tile) for tile in _grey_tiles(rgb)]
    return float(np.median(found)) if len(found) >= LEAST_TILES else 0.0


def block_step(rgb: NDArray[np.uint8]) -> float:
    """Usual step between two blocks that are each of one level, in sRGB code of green; 0 where no such blocks are seen."""
    return max(_step(rgb[::STRIDE, :, 1]), _step(rgb[:, ::STRIDE, 1].T))


def _grey_tiles(rgb: NDArray[np.uint8]) -> list[Array]:
    return [np.asarray(tile @ GREY) for tile in even_tiles(rgb)]


def _noise(tile: Array) -> float:
    """Robust spread of second differences across and along: 6 times the noise's variance each, a constant slope gives none."""
    second = np.diff(tile, 2, axis=1)
    return float(1.4826 * np.median(np.abs(second)) / np.sqrt(6.0) / max(tile.mean(), 1.0))


def _step(green: NDArray[np.uint8]) -> float:
    """Steps with two equal neighbours on both sides; those of print lie anywhere, those of blocks at one of eight places alone."""
    step = np.diff(green.astype(np.int16), axis=1)
    flat = step == 0
    lone = ~flat[:, 2:-2] & flat[:, :-4] & flat[:, 1:-3] & flat[:, 3:-1] & flat[:, 4:]
    inner = np.abs(step[:, 2:-2])
    counts = np.array([lone[:, place::BLOCK_PX].sum() for place in range(BLOCK_PX)])
    best = int(np.argmax(counts))
    if counts[best] < max(LEAST_STEPS, OFTENER * np.median(counts)):
        return 0.0
    return float(np.median(inner[:, best::BLOCK_PX][lone[:, best::BLOCK_PX]]))
