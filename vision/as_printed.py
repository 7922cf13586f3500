"""Stage 3j: a candidate of a crowd -> whether the page's own print shows there and nothing else.

Columns of markers and lines of text are long and thin, and a badly fitted print shows at its edges. What is no darker and no
brighter than what was printed there, edges left out, is no instrument. Where a lamp's reflection lies ink shines, by up to a third of
paper's light; it may then be as light as the ink beside the candidate.
"""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.plane import Plane

Array = NDArray[np.floating[Any]]
Mask = NDArray[np.bool_]
BESIDE_PX = 1  # by which each edge of the print may lie aside
ASIDE_MM = 0.45  # and by which all of it may there, where the page is not flat or the lens not fitted well: up to half of it was seen
DARKER, BRIGHTER = (0.8, 0.1), (1.1, 0.15)  # share of the print's own reflectance, and light more or less, within which it is print
WHITE = 0.95
DARK, NEAR_MM, LEAST_INK_MM2 = 0.05, 2.0, 4.0  # ink's reflectance, how near the candidate it is looked at, and how much of it tells
LEAST_THIN = 0.03  # share of what has no handle that print does not explain, at least
INKED, LEAST_HANDLE, LEAST_THIN_INKED = 0.5, 0.1, 0.25  # a "handle" that is mostly ink, as printed, and shows no more of a shaft, is print


def print_alone(plane: Plane, relative: Array, thin: Mask, handle: Mask, offset_px: tuple[int, int]) -> bool:
    """Whether print explains nearly all of the ``thin`` part and of the ``handle``, masks of a part that begins at ``offset_px``."""
    left, top = offset_px
    height, width = thin.shape
    if handle.any() and plane.printed[top : top + height, left : left + width][handle].mean() >= INKED:
        return False  # a white handle on paper, and its shaft in soft light, are as bright as paper too
    sheen = _sheen(plane, relative, thin | handle, offset_px)
    return any(_explained(plane, relative, thin, handle, offset_px, ink) for ink in ((0.0, sheen) if sheen else (0.0,)))


def _explained(plane: Plane, relative: Array, thin: Mask, handle: Mask, offset_px: tuple[int, int], ink: float) -> bool:
    """Whether print does whose ink is as light as ``ink``, over paper's."""
    left, top = offset_px
    height, width = thin.shape
    reach = max(round(ASIDE_MM * plane.px_per_mm), 1)
    light = relative[top : top + height, left : left + width].mean(axis=2)
    printed = _printed(plane, (left - reach, top - reach), (height + 2 * reach, width + 2 * reach))
    least, most = print_light(np.asarray(ink + (1.0 - ink) * printed, dtype=np.float32))
    spots = [(down, right) for down in range(2 * reach + 1) for right in range(2 * reach + 1)]
    odd = _odd(light, least, most, thin, spots)
    if not handle.any():
        return min(odd) < LEAST_THIN
    where = [spot for spot, share in zip(spots, odd, strict=True) if share == min(odd)]
    return min(odd) < LEAST_THIN_INKED and min(_odd(light, least, most, handle, where)) < LEAST_HANDLE


def print_light(printed: Array, beside_px: int = BESIDE_PX) -> tuple[Array, Array]:
    """Least and most light over paper's that is still print, as much as ``beside_px`` aside of where it should lie.

    ``printed`` (H, W): its reflectance, 1 for bare paper.
    """
    near = np.ones((2 * beside_px + 1, 2 * beside_px + 1), np.uint8)
    least = DARKER[0] * cv2.erode(printed, near) - DARKER[1]
    most = BRIGHTER[0] * cv2.dilate(printed, near) + BRIGHTER[1]
    return np.asarray(least), np.asarray(most)


def clear_of_print(printed: Array, by_px: int) -> Mask:
    """Where bare paper is printed (reflectance ``WHITE`` and more) over ``by_px`` around."""
    return np.asarray(cv2.erode(printed, np.ones((2 * by_px + 1, 2 * by_px + 1), np.uint8)) > WHITE)


def steepness(light: Array) -> Array:
    """Change of light over paper's, a px."""
    return np.asarray(cv2.magnitude(cv2.Sobel(light, cv2.CV_32F, 1, 0), cv2.Sobel(light, cv2.CV_32F, 0, 1)) / np.float32(8.0))


def unlike_print(light: Array, least: Array, most: Array) -> Mask:
    """Where light over paper's is none that ``print_light`` leaves to print."""
    return np.asarray((light < least) | (light > most))


def _odd(light: Array, least: Array, most: Array, part: Mask, spots: list[tuple[int, int]]) -> list[float]:
    """Share of a part that is darker or brighter than the print so many rows and columns on, of each of some."""
    v, u = np.nonzero(part)
    if not len(v):
        return [0.0] * len(spots)
    seen, at = light[v, u], v * least.shape[1] + u
    on = [at + (down * least.shape[1] + right) for down, right in spots]
    return [float(unlike_print(seen, least.take(there), most.take(there)).mean()) for there in on]


def _sheen(plane: Plane, relative: Array, part: Mask, offset_px: tuple[int, int]) -> float:
    """Light of the ink beside a part, over paper's; none where ``print_light`` allows for it, or little of it is seen."""
    ppm, (left, top), (height, width) = plane.px_per_mm, offset_px, part.shape
    reach = round(NEAR_MM * ppm)
    edge = np.ones((2 * BESIDE_PX + 1, 2 * BESIDE_PX + 1), np.uint8)
    x0, y0 = max(left - reach, 0), max(top - reach, 0)
    place = slice(y0, top + height + reach), slice(x0, left + width + reach)
    ink = (cv2.dilate(np.ascontiguousarray(plane.printed[place]), edge) < DARK) & plane.inside[place]
    ink[top - y0 : top - y0 + height, left - x0 : left - x0 + width] &= ~part
    if ink.sum() < LEAST_INK_MM2 * ppm**2:
        return 0.0
    light = float(np.median(relative[place][ink].mean(axis=1)))
    return light if light > BRIGHTER[1] else 0.0


def _printed(plane: Plane, first: tuple[int, int], shape: tuple[int, int]) -> Array:
    """The print of a part that begins at ``first`` (x, y), white beyond the plane."""
    whole = plane.printed
    out = np.ones(shape, dtype=np.float32)
    x0, y0 = max(first[0], 0), max(first[1], 0)
    x1, y1 = min(first[0] + shape[1], whole.shape[1]), min(first[1] + shape[0], whole.shape[0])
    out[y0 - first[1] : y1 - first[1], x0 - first[0] : x1 - first[0]] = whole[y0:y1, x0:x1]
    return out
