"""Stage 3c: Plane, paper light -> which pixels are something lying on the sheet rather than paper, print or soft shadow.

A shadow is grey and smooth; metal is busy (flutes, glints, mirrored edges), plastic is coloured or very dark.
"""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.channels import LUMINANCE, farthest, median_colour, span, weighted
from vision.offsheet import over_table, rim
from vision.plane import Plane

Image = NDArray[np.floating[Any]]
Mask = NDArray[np.bool_]
LEAST_GRADIENT = 0.055  # of the paper's light a plane px, after smoothing: soft shadows stay below
LEAST_COLOUR = 0.14
DARK, BRIGHT = 0.30, 1.25
INK_CLEAR_MM = 0.22  # print edges are known to about this much (spread of ink, curl of paper, blur)
INK_ODD = 0.30


def foreground(plane: Plane, relative: Image, lit: Mask, off: Mask) -> Mask:
    """Return (H, W) mask of what lies on the sheet, over a lit window or over the table beyond the sheet.

    ``relative``: colour over the bare background's, paper or lit screen; ``lit`` (H, W): where the screen is seen;
    ``off`` (H, W): what is not the sheet.
    """
    table = off & ~lit
    smooth = cv2.GaussianBlur(weighted(relative, LUMINANCE), (0, 0), 0.8)
    steep = cv2.magnitude(cv2.Sobel(smooth, cv2.CV_32F, 1, 0), cv2.Sobel(smooth, cv2.CV_32F, 0, 1))
    blurred = cv2.GaussianBlur(relative, (0, 0), 1.0)
    print_zone = _print_zone(plane)
    on_paper = (steep > 8.0 * LEAST_GRADIENT) | (span(blurred) > LEAST_COLOUR) | (smooth < DARK) | (smooth > BRIGHT)
    seen = on_paper & ~print_zone & (plane.printed > 0.5)
    odd = _odd_ink(plane, np.asarray(blurred, dtype=np.float32), print_zone)
    framed = cv2.erode(plane.inside.astype(np.uint8), np.ones((9, 9), np.uint8), borderValue=0).astype(bool)
    border = rim(plane, table) | rim(plane, lit)
    return _bridged((((seen | odd) & ~table) | over_table(plane, relative, table)) & framed, border, plane)


def _bridged(mask: Mask, unknown: Mask, plane: Plane) -> Mask:
    """Leave out the rim between sheet and table, but join what reaches it from both sides."""
    clear = mask & ~unknown
    if not unknown.any():
        return np.asarray(clear)
    reach = round(0.8 * plane.px_per_mm)
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 1, 2 * reach + 1))
    joined = cv2.morphologyEx(clear.astype(np.uint8), cv2.MORPH_CLOSE, kernel).astype(bool)
    return np.asarray(clear | (joined & unknown))


def _print_zone(plane: Plane) -> Mask:
    """Ink and a rim around every print edge, where brightness is the print's doing."""
    reach = max(round(INK_CLEAR_MM * plane.px_per_mm), 1)
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 1, 2 * reach + 1))
    ink = (plane.printed < 0.85).astype(np.uint8)
    return np.asarray(cv2.dilate(ink, kernel).astype(bool))


def _odd_ink(plane: Plane, relative: Image, print_zone: Mask) -> Mask:
    """Places inside solid ink that are far brighter or more coloured than ink."""
    reach = max(round(INK_CLEAR_MM * plane.px_per_mm), 1)
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 1, 2 * reach + 1))
    solid = cv2.erode((plane.printed < 0.15).astype(np.uint8), kernel).astype(bool)
    level = median_colour(relative, solid) if solid.any() else np.zeros(3, dtype=np.float32)
    return np.asarray(solid & (farthest(relative, level) > INK_ODD) & print_zone)
