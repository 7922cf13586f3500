"""Stage 7a: Candidate, relative colour -> handle colour, with white balance taken from the sheet's own paper."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from skimage.color import rgb2lab

from vision.find import Candidate
from vision.nominal import sizes_of_colour
from vision.reading import HandleReading

Array = NDArray[np.floating[Any]]

# Hue angles (CIE L*a*b*, degrees) of plain coloured plastics under the paper's white: from memory, spreads are generous.
_HUES = {
    "yellow": (88.0, 14.0),
    "red": (32.0, 16.0),
    "blue": (275.0, 22.0),
    "green": (150.0, 24.0),
    "purple": (318.0, 16.0),
    "pink": (355.0, 14.0),
}
GREY_CHROMA = 14.0  # below this the eye and the camera see no hue
PALE_CHROMA = 26.0  # between the two a hue is seen but faded
LEAST_PX = 60


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


def handle_colour(relative: NDArray[np.float32], candidate: Candidate) -> HandleColour:
    """Judge the handle's colour from its median over the inner part (glints and rims left out)."""
    rows, columns = np.nonzero(candidate.handle)
    if len(rows) < LEAST_PX:
        return HandleColour({}, None)
    left, top = candidate.offset_px
    picked = relative[rows + top, columns + left]
    grey = picked.mean(axis=1)
    body = picked[(grey >= np.percentile(grey, 15)) & (grey <= np.percentile(grey, 75))]
    colour = np.clip(np.median(body, axis=0), 0.0, 1.0)
    lab = rgb2lab(_encoded(colour)[None, None, :])[0, 0]
    return HandleColour(_shares(lab), (float(lab[0]), float(lab[1]), float(lab[2])))


def handle_reading(colour: HandleColour) -> HandleReading:
    """Return the colour word and the sizes that carry it."""
    return HandleReading(colour.word, sizes_of_colour(colour.word))


def _encoded(linear: Array) -> Array:
    return np.asarray(np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055))


def _shares(lab: Array) -> dict[str, float]:
    lightness, chroma = float(lab[0]), float(np.hypot(lab[1], lab[2]))
    hue = float(np.degrees(np.arctan2(lab[2], lab[1])) % 360.0)
    coloured = 1.0 / (1.0 + np.exp(-(chroma - GREY_CHROMA) / 2.5))
    shares = {name: coloured * _bell(_turn(hue, mean), spread) for name, (mean, spread) in _HUES.items()}
    shares["other"] = coloured * 0.02
    plain = 1.0 - coloured
    shares |= {
        "black": plain * _bell(max(lightness - 22.0, 0.0), 7.0),
        "grey": plain * _bell(lightness - 55.0, 9.0),
        "white": plain * _bell(max(82.0 - lightness, 0.0), 6.0),
    }
    faded = _bell(max(chroma - PALE_CHROMA, 0.0), 4.0) * coloured * (lightness > 60.0)
    shares["bleached"] = faded + plain * 0.02
    total = sum(shares.values())
    return {name: float(value / total) for name, value in shares.items() if value / total > 1e-3}


def _bell(distance: float, spread: float) -> float:
    return float(np.exp(-0.5 * (distance / spread) ** 2))


def _turn(a: float, b: float) -> float:
    return (a - b + 180.0) % 360.0 - 180.0
