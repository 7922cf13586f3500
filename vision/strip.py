"""Stage 5a: Photo, Axis -> Strip. The instrument straightened: rows across the axis, columns along it, linear light."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.photo import LINEAR, Photo, linear_grey

Array = NDArray[np.floating[Any]]
_LINEAR = LINEAR.astype(np.float32)


@dataclass(frozen=True)
class Strip:
    """Linear grey (2 half + 1, N): row half + t lies t px from the axis along the normal, column i at ``axis_px[i]``.

    ``axis_px`` and ``normal`` are (N, 2); the normal is the axis direction turned by +90 deg in a picture whose y runs
    down. ``inside`` (N,) tells the columns that lie wholly within the photo.
    """

    values: NDArray[np.float32]
    axis_px: Array
    normal: Array
    inside: NDArray[np.bool_]

    @property
    def half_px(self) -> int:
        """Rows on each side of the axis."""
        return int((self.values.shape[0] - 1) // 2)


def straighten(photo: Photo, axis_px: Array, half_px: int, step_px: float = 1.0) -> Strip:
    """Sample the photo along the normals of a dense axis (N, 2) by cubic interpolation in linear light.

    ``step_px`` is the distance of the axis points and of the rows in photo px; all offsets of the strip are in these steps.
    """
    at, low, high = _sites(photo, axis_px, half_px, step_px)
    crop = linear_grey(photo, int(low[0]), int(low[1]), int(high[0]), int(high[1]))
    values = _remap(crop, (at - low)[..., 0].astype(np.float32), (at - low)[..., 1].astype(np.float32))
    return Strip(values, axis_px, normals(axis_px), _within(photo, at))


def _sites(photo: Photo, axis_px: Array, half_px: int, step_px: float) -> tuple[Array, NDArray[np.int_], NDArray[np.int_]]:
    """Where the strip's values lie in the photo, (rows, columns, 2), and the corners of the crop that holds them."""
    offsets = step_px * np.arange(-half_px, half_px + 1, dtype=float)
    at = axis_px[None, :, :] + offsets[:, None, None] * normals(axis_px)[None, :, :]
    low = np.clip(np.floor(at.min(axis=(0, 1))).astype(int) - 3, 0, None)
    high = np.minimum(np.ceil(at.max(axis=(0, 1))).astype(int) + 4, [photo.width_px, photo.height_px])
    return at, low, high


def _within(photo: Photo, at: Array) -> NDArray[np.bool_]:
    """The columns that lie wholly within the photo."""
    ends = at[[0, -1]]
    return np.asarray(((ends >= 1.0) & (ends <= np.array([photo.width_px, photo.height_px]) - 2.0)).all(axis=(0, 2)))


def straighten_rgb(photo: Photo, axis_px: Array, half_px: int, step_px: float = 1.0) -> Strip:
    """The same in colour: ``values`` (2 half + 1, N, 3), linear red, green and blue."""
    at, low, high = _sites(photo, axis_px, half_px, step_px)
    crop = _LINEAR[photo.rgb[low[1] : high[1], low[0] : high[0]]]
    values = _remap(crop, (at - low)[..., 0].astype(np.float32), (at - low)[..., 1].astype(np.float32))
    return Strip(values, axis_px, normals(axis_px), _within(photo, at))


def normals(axis_px: Array) -> Array:
    """Unit normals (N, 2) of a dense curve: the tangent (dx, dy) turned to (-dy, dx)."""
    tangent = np.gradient(axis_px, axis=0)
    tangent = tangent / np.linalg.norm(tangent, axis=1, keepdims=True)
    return np.column_stack([-tangent[:, 1], tangent[:, 0]])


def _remap(crop: NDArray[np.float32], x: NDArray[np.float32], y: NDArray[np.float32]) -> NDArray[np.float32]:
    """OpenCV's remap in pieces: it takes at most 32,767 columns and rows."""
    pieces = [
        cv2.remap(crop, x[:, i : i + 16000], y[:, i : i + 16000], cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
        for i in range(0, x.shape[1], 16000)
    ]
    return np.asarray(np.concatenate(pieces, axis=1), dtype=np.float32)
