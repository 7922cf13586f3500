"""Stage 3d': Plane, relative colour -> what lies on the sheet, also over its print: the picture over what the print alone would show.

The print is known to a tenth of a millimetre, so the picture divided by it is flat wherever only the sheet is seen; a
shadow dims paper and ink alike and stays soft. Only a px or so beside each printed edge nothing can be told.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.bands import bands
from vision.channels import LUMINANCE, span, weighted
from vision.plane import Plane

Image = NDArray[np.floating[Any]]
Mask = NDArray[np.bool_]
USUAL_INK = 0.06
EDGE = 0.12  # change of the predicted light from px to px beyond which a print's edge hides what is there
FLOOR = 0.03  # light added above and below, so that ink's noise is not blown up
STEEP, WEAK = 0.055, 0.022  # of the flattened picture, a px: soft shadows stay below the first
INK_NOISE = 2.2  # ink is dark: its noise weighs so much more
COLOUR = 0.14
REACH_PX = 16  # farther than smoothing by 2.5 px and a gradient reach
BLACK, BRIGHT, SHINES = 0.16, 1.25, 0.12
DARK = 0.185  # black plastic with a sheen; a shaft may be as dark, but is thin


@dataclass(frozen=True)
class Unprinted:
    """``metal``: surely something; ``weak``: perhaps (white plastic); ``known``: where it can be told, (H, W) each.

    ``plain``: coloured or black as neither metal nor a shadow is.
    """

    metal: Mask
    weak: Mask
    known: Mask
    plain: Mask


def see_through_print(plane: Plane, relative: Image) -> Unprinted:
    """Tell what lies on the sheet. ``relative`` (H, W, 3): colour over bare paper's."""
    grey = weighted(relative, LUMINANCE)
    printed = np.asarray(cv2.GaussianBlur(plane.printed, (0, 0), 0.8), dtype=np.float32)
    ink = _ink(grey, printed, plane.inside)
    found = np.zeros((4, *grey.shape), dtype=bool)
    for band in bands(grey.shape, REACH_PX, plane.inside):
        outer = (grey[band.outer], np.ascontiguousarray(relative[band.outer]), printed[band.outer])
        masks = _told(*outer, plane.printed[band.outer], plane.inside[band.outer], ink)
        for whole, part in zip(found, masks, strict=True):
            whole[band.place] = part[band.inner]
    return Unprinted(*found)


def _told(grey: Image, colour: Image, printed: Image, sharp: Image, inside: Mask, ink: float) -> tuple[Mask, Mask, Mask, Mask]:
    """The masks of ``Unprinted`` over one piece of the picture. ``sharp``: the print before it is blurred as the picture is."""
    expected = (ink + (1.0 - ink) * printed).astype(np.float32)
    low, high = (f(expected, np.ones((3, 3), np.uint8)) for f in (cv2.erode, cv2.dilate))
    known = (high - low) < EDGE
    flat = _flat(np.asarray((grey + np.float32(FLOOR)) / (expected + np.float32(FLOOR)), dtype=np.float32), known)
    steep = cv2.magnitude(cv2.Sobel(flat, cv2.CV_32F, 1, 0), cv2.Sobel(flat, cv2.CV_32F, 0, 1)) / np.float32(8.0)
    white = expected > 0.5
    brighter = known & (grey > expected + np.float32(SHINES))  # beside ink's edges a print half a px aside is brighter than expected too
    odd = ((flat < BLACK) & white) | np.where(white, flat > BRIGHT, brighter)
    coloured = span(cv2.GaussianBlur(colour, (0, 0), 1.0)) > COLOUR
    odd |= coloured
    plain = coloured | ((flat < DARK) & white)
    beside = ~known & ((grey > np.float32(1.2) * high + np.float32(0.08)) | (grey < np.float32(0.3) * low - np.float32(FLOOR)))
    framed = cv2.erode(inside.astype(np.uint8), np.ones((7, 7), np.uint8), borderValue=0).astype(bool)
    metal = ((known & (steep > np.where(white, np.float32(STEEP), np.float32(STEEP * INK_NOISE)))) | beside | odd) & framed
    clear = cv2.erode((sharp > 0.9).astype(np.uint8), np.ones((7, 7), np.uint8), borderValue=1).astype(bool)
    weak = (metal | (known & (steep > WEAK))) & framed & clear
    return np.asarray(metal), np.asarray(weak), np.asarray(known & framed), np.asarray(plain & framed)


def _ink(grey: Image, printed: Image, inside: Mask) -> float:
    dark = inside & (printed < 0.05)
    return float(np.median(grey[dark][::11])) if dark.sum() > 5000 else USUAL_INK


def _flat(ratio: Image, known: Mask) -> Image:
    """Smooth the ratio, and carry it over the edges of the print from both sides."""
    weight = known.astype(np.float32)
    fine = cv2.GaussianBlur(weight, (0, 0), 0.8)
    wide = cv2.GaussianBlur(weight, (0, 0), 2.5)
    near = cv2.GaussianBlur(ratio * weight, (0, 0), 0.8) / np.maximum(fine, 1e-3)
    far = cv2.GaussianBlur(ratio * weight, (0, 0), 2.5) / np.maximum(wide, 1e-3)
    return np.minimum(np.where(fine > 0.15, near, far), 2.0).astype(np.float32)
