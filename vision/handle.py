"""Stage 7a: Candidate, relative colour -> handle colour, with white balance taken from the sheet's own paper.

The colour is that of a band along the axis behind the handle's front. A handle as pale as the paper shows in the plane's
mask by its shadows alone and would be taken for grey; the band lies on it whatever its colour.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from skimage.color import rgb2lab

from vision.find import SURE_RANK, Candidate
from vision.marks import HANDLE
from vision.nominal import sizes_of_colour
from vision.plane import Plane
from vision.reading import HandleReading
from vision.scale import Scale

Array = NDArray[np.floating[Any]]
Spots = NDArray[np.int_]

# Hue angles (CIE L*a*b*, degrees) of plain coloured plastics under the paper's white: from memory, spreads are generous.
_HUES = {
    "yellow": (92.0, 14.0),
    "red": (32.0, 14.0),
    "blue": (280.0, 20.0),
    "green": (150.0, 24.0),
    "purple": (318.0, 16.0),
    "pink": (0.0, 14.0),
}
GREY_CHROMA, CHROMA_SPREAD = 14.0, 2.5  # below this the eye and the camera see no hue
PALE_CHROMA = 26.0  # between the two a hue is seen but faded
# L* of the plain ones. Old plastic goes pale and yellowish: from memory.
BLACK_L, GREY_L, WHITE_L, BLEACHED_L = 30.0, 62.0, 90.0, 78.0
BLEACHED_CHROMA, BLEACHED_HUE = 12.0, 55.0
LEAST_PX = 60
LEAST_RUN_MM = 1.0  # of columns that look like a handle, behind its front
BAND_MM, BAND_HALF_MM = (0.6, 8.0), 1.1  # handles are 9 mm long and 3.3 thick or more
PAPER_LIGHT, PAPER_SPREAD = 0.06, 0.04  # within these of bare paper it is paper: the front was not a front
MOSTLY = 0.5
PALE = (None, "white", "grey", "bleached", "other")  # of a mask: its shadow may be all of it
NO_SPOTS: Spots = np.empty((0, 2), dtype=int)


@dataclass(frozen=True)
class HandleColour:
    """Colour probabilities over the ISO size colours, 'bleached' and 'other', and the colour measured (L*, a*, b*)."""

    shares: dict[str, float]
    lab: tuple[float, float, float] | None

    @property
    def word(self) -> str | None:
        """The colour when one has at least 0.7, else None."""
        best = max(self.shares, key=lambda name: self.shares[name], default=None)
        return best if best is not None and self.shares[best] >= 0.7 else None


def grip_on_plane(scale: Scale, plane: Plane, axis_px: Array, kinds: Array, front_column: float | None) -> Spots:
    """Plane pixels (M, 2: x, y) of a band along the axis behind the handle's front; none where no front was seen.

    ``axis_px`` (N, 2) and ``kinds`` (5, N): the strip's axis and the network's chances of what its columns show.
    """
    if front_column is None or not kinds.size:
        return NO_SPOTS
    mm = scale.to_plane_mm(axis_px)
    front = min(max(round(front_column), 1), len(mm) - 2)
    step = float(np.linalg.norm(mm[front + 1] - mm[front - 1])) / 2.0
    run = kinds[HANDLE, front:]
    if len(run) * step < LEAST_RUN_MM or run.mean() < 0.5:
        return NO_SPOTS
    back = max(front - int(2.0 / step), 0)
    along = (mm[front] - mm[back]) / max(float(np.linalg.norm(mm[front] - mm[back])), 1e-9)
    across = np.array([-along[1], along[0]])
    pitch = 1.0 / plane.px_per_mm
    a, b = np.arange(*BAND_MM, pitch), np.arange(-BAND_HALF_MM, BAND_HALF_MM + pitch, pitch)
    spots = mm[front] + a[:, None, None] * along + b[None, :, None] * across
    px = np.rint((spots.reshape(-1, 2) - [plane.x0_mm, plane.y0_mm]) * plane.px_per_mm).astype(int)
    height, width = plane.inside.shape
    px = px[((px >= 0) & (px < [width, height])).all(axis=1)]
    return np.asarray(px[plane.inside[px[:, 1], px[:, 0]]])


def handle_colour(relative: NDArray[np.float32], candidate: Candidate, grip: Spots = NO_SPOTS) -> HandleColour:
    """Judge the handle's colour from its pixels of middling brightness (glints and rims left out).

    ``grip``: plane pixels of a band on the handle; without enough of them the mask of the candidate's handle serves.
    """
    picked = relative[grip[:, 1], grip[:, 0]]
    if len(picked) < LEAST_PX or _is_paper(picked) or _beside_its_handle(relative, candidate, grip):
        picked = _masked(relative, candidate)
    if len(picked) < LEAST_PX:
        return HandleColour({}, None)
    return _colour_of(picked)


def _colour_of(picked: Array) -> HandleColour:
    body, bright = _lab(_between(picked, 15, 75)), _lab(_between(picked, 55, 90))
    return HandleColour(_shares(body, float(bright[0])), (float(body[0]), float(body[1]), float(body[2])))


def handle_reading(colour: HandleColour) -> HandleReading:
    """Return the colour word and the sizes that carry it."""
    return HandleReading(colour.word, sizes_of_colour(colour.word))


def _masked(relative: NDArray[np.float32], candidate: Candidate) -> Array:
    rows, columns = np.nonzero(candidate.handle)
    left, top = candidate.offset_px
    return relative[rows + top, columns + left]


def _beside_its_handle(relative: NDArray[np.float32], candidate: Candidate, grip: Spots) -> bool:
    """Whether a band lies mostly beside a handle that was found by a colour no shadow has: then the front, or the axis there, is astray."""
    if candidate.rank < SURE_RANK or candidate.handle.sum() < LEAST_PX:
        return False
    inside = grip - np.array(candidate.offset_px)
    inside = inside[((inside >= 0) & (inside < candidate.handle.shape[::-1])).all(axis=1)]
    on_it = float(candidate.handle[inside[:, 1], inside[:, 0]].sum()) / len(grip)
    return on_it < MOSTLY and _colour_of(_masked(relative, candidate)).word not in PALE


def _is_paper(picked: Array) -> bool:
    """Whether nothing lies there: as bright as the paper and as even."""
    grey = picked.mean(axis=1)
    level, spread = float(np.median(grey)), float(np.percentile(grey, 90) - np.percentile(grey, 10)) / 2.56
    return abs(level - 1.0) < PAPER_LIGHT and spread < PAPER_SPREAD


def _between(picked: Array, low: float, high: float) -> Array:
    """Median colour of the pixels between two percentiles of brightness."""
    grey = picked.mean(axis=1)
    return np.asarray(np.median(picked[(grey >= np.percentile(grey, low)) & (grey <= np.percentile(grey, high))], axis=0))


def _lab(linear: Array) -> Array:
    c = np.clip(linear, 0.0, 1.0)
    encoded = np.where(c <= 0.0031308, 12.92 * c, 1.055 * np.maximum(c, 1e-9) ** (1 / 2.4) - 0.055)
    return np.asarray(rgb2lab(encoded[None, None, :])[0, 0])


def _shares(lab: Array, bright_l: float) -> dict[str, float]:
    """Chances of all words. ``bright_l``: L* of the brighter part, which tells white in the shade from grey."""
    lightness, chroma = float(lab[0]), float(np.hypot(lab[1], lab[2]))
    hue = float(np.degrees(np.arctan2(lab[2], lab[1])) % 360.0)
    coloured = 1.0 / (1.0 + np.exp(-(chroma - GREY_CHROMA) / CHROMA_SPREAD))
    plain = 1.0 - coloured
    shares = {name: coloured * _bell(_turn(hue, mean), spread) for name, (mean, spread) in _HUES.items()}
    shares["other"] = coloured * 0.02
    shares |= {
        "black": plain * _bell(max(lightness - BLACK_L, 0.0), 8.0),
        "grey": plain * _bell(bright_l - GREY_L, 9.0),
        "white": plain * _bell(max(WHITE_L - bright_l, 0.0), 6.0) * _bell(chroma, 6.0),
    }
    faded = _bell(max(chroma - PALE_CHROMA, 0.0), 4.0) * coloured * (lightness > 60.0)
    old = _bell(chroma - BLEACHED_CHROMA, 5.0) * _bell(_turn(hue, BLEACHED_HUE), 35.0) * _bell(max(BLEACHED_L - bright_l, 0.0), 8.0)
    shares["bleached"] = 0.5 * faded + old + plain * 0.02
    total = sum(shares.values())
    return {name: float(value / total) for name, value in shares.items() if value / total > 1e-3}


def _bell(distance: float, spread: float) -> float:
    return float(np.exp(-0.5 * (distance / spread) ** 2))


def _turn(a: float, b: float) -> float:
    return (a - b + 180.0) % 360.0 - 180.0
