"""The three colours of a picture (H, W, 3) taken together at every pixel (leaf: plain arithmetic, float32, by OpenCV).

NumPy's own reductions over a last axis of three are some twenty times slower.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

Image = NDArray[np.floating[Any]]
Picture = NDArray[Any]  # float32; OpenCV's types say less
LUMINANCE = (0.2126, 0.7152, 0.0722)  # of linear sRGB, ITU-R BT.709 (from memory)


def weighted(picture: Picture, weights: Sequence[float]) -> Image:
    """Sum of the channels with weights, (H, W)."""
    return np.asarray(cv2.transform(picture, np.asarray([weights], dtype=np.float32)))


def mean(picture: Picture) -> Image:
    """Mean of the channels, (H, W)."""
    return weighted(picture, (1 / 3, 1 / 3, 1 / 3))


def greatest(picture: Picture) -> Image:
    """Greatest of the channels, (H, W)."""
    first, second, third = cv2.split(picture)
    return np.asarray(cv2.max(cv2.max(first, second), third))


def span(picture: Picture) -> Image:
    """Greatest less least of the channels, (H, W): how coloured."""
    first, second, third = cv2.split(picture)
    low = cv2.min(cv2.min(first, second), third)
    high = cv2.max(cv2.max(first, second, dst=first), third, dst=first)
    return np.asarray(cv2.subtract(high, low, dst=low))


def median_of(colours: Image, most: int = 20_000) -> Image:
    """Median (3,) of colours (N, 3); of more than ``most`` of them, every so manieth counts."""
    return np.asarray(np.median(colours[:: max(len(colours) // most, 1)], axis=0))


def farthest(picture: Picture, colour: Image, grey: Image | None = None) -> Image:
    """Greatest absolute difference of any channel from a colour, (H, W); ``grey`` (H, W): with that taken off every channel first."""
    away = [np.asarray(one) for one in cv2.split(picture)]
    for one, level in zip(away, np.asarray(colour, dtype=np.float32), strict=True):
        if grey is not None:
            np.subtract(one, grey, out=one)
        np.abs(np.subtract(one, level, out=one), out=one)
    return np.asarray(cv2.max(cv2.max(away[0], away[1], dst=away[0]), away[2], dst=away[0]))
