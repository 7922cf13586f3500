"""Stage 3c: Plane, paper light -> which pixels are something lying on the sheet rather than paper, print or soft shadow.

A shadow is grey and smooth; metal is busy (flutes, glints, mirrored edges), plastic is coloured or very dark.
"""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.bands import bands, piece_at, tiles
from vision.channels import LUMINANCE, farthest, median_of, span, weighted
from vision.offsheet import over_table, rim
from vision.plane import Plane

Image = NDArray[np.floating[Any]]
Mask = NDArray[np.bool_]
LEAST_GRADIENT = 0.055  # of the paper's light a plane px, after smoothing: soft shadows stay below
LEAST_COLOUR = 0.14
DARK, BRIGHT = 0.30, 1.25
INK_CLEAR_MM = 0.22  # print edges are known to about this much (spread of ink, curl of paper, blur)
INK_ODD = 0.30
REACH_PX = 8  # farther than smoothing by 1 px and a gradient reach


def foreground(plane: Plane, relative: Image, lit: Mask, off: Mask) -> Mask:
    """Return (H, W) mask of what lies on the sheet, over a lit window or over the table beyond the sheet.

    ``relative``: colour over the bare background's, paper or lit screen; ``lit`` (H, W): where the screen is seen;
    ``off`` (H, W): what is not the sheet.
    """
    table = off & ~lit
    print_zone, solid = _print_zone(plane), _solid_ink(plane) & plane.inside
    seen, ink = np.zeros_like(table), np.empty((np.count_nonzero(solid), 3), dtype=np.float32)
    at = 0
    for band in bands(relative.shape, REACH_PX, plane.inside):
        part = np.ascontiguousarray(relative[band.outer])
        blurred = np.asarray(cv2.GaussianBlur(part, (0, 0), 1.0), dtype=np.float32)
        seen[band.place] = _on_paper(part, blurred)[band.inner]
        of_ink = blurred[band.inner][solid[band.place]]
        ink[at : at + len(of_ink)], at = of_ink, at + len(of_ink)
    seen &= ~print_zone & (plane.printed > 0.5)
    odd = np.zeros_like(table)
    odd[solid] = _odd_ink(ink)
    odd &= print_zone
    framed = cv2.erode(plane.inside.astype(np.uint8), np.ones((9, 9), np.uint8), borderValue=0).astype(bool)
    border = rim(plane, table) | rim(plane, lit)
    return _bridged((((seen | odd) & ~table) | over_table(plane, relative, table)) & framed, border, plane)


def _on_paper(part: Image, blurred: Image) -> Mask:
    """What paper and soft shadows are not: steep, coloured, dark or bright."""
    smooth = cv2.GaussianBlur(weighted(part, LUMINANCE), (0, 0), 0.8)
    steep = cv2.magnitude(cv2.Sobel(smooth, cv2.CV_32F, 1, 0), cv2.Sobel(smooth, cv2.CV_32F, 0, 1))
    return np.asarray((steep > 8.0 * LEAST_GRADIENT) | (span(blurred) > LEAST_COLOUR) | (smooth < DARK) | (smooth > BRIGHT))


def _bridged(mask: Mask, unknown: Mask, plane: Plane) -> Mask:
    """Leave out the rim between sheet and table, but join what reaches it from both sides."""
    clear = mask & ~unknown
    if not unknown.any():
        return np.asarray(clear)
    reach = round(0.8 * plane.px_per_mm)
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 1, 2 * reach + 1))
    result = clear.copy()
    for tile in tiles(mask.shape, 0):
        left, top, width, height = cv2.boundingRect(unknown[tile.place].view(np.uint8))
        if width == 0:
            continue
        piece = piece_at(mask.shape, (tile.place[0].start + top, tile.place[1].start + left), (height, width), 2 * reach + 1)
        if clear[piece.outer].any():
            joined = cv2.morphologyEx(clear[piece.outer].astype(np.uint8), cv2.MORPH_CLOSE, kernel)[piece.inner].astype(bool)
            result[piece.place] |= joined & unknown[piece.place]
    return result


def _print_zone(plane: Plane) -> Mask:
    """Ink and a rim around every print edge, where brightness is the print's doing."""
    reach = max(round(INK_CLEAR_MM * plane.px_per_mm), 1)
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 1, 2 * reach + 1))
    ink = (plane.printed < 0.85).astype(np.uint8)
    return np.asarray(cv2.dilate(ink, kernel).astype(bool))


def _solid_ink(plane: Plane) -> Mask:
    """Places well inside what is printed black."""
    reach = max(round(INK_CLEAR_MM * plane.px_per_mm), 1)
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 1, 2 * reach + 1))
    return np.asarray(cv2.erode((plane.printed < 0.15).astype(np.uint8), kernel).astype(bool))


def _odd_ink(ink: Image) -> Mask:
    """Which colours (N, 3) inside solid ink are far brighter or more coloured than ink."""
    if not len(ink):
        return np.zeros(0, dtype=bool)
    return np.asarray(farthest(ink[None], median_of(ink))[0] > INK_ODD)
