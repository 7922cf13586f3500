"""Stage 5a: Photo, Axis -> Strip. The instrument straightened: rows across the axis, columns along it, linear light."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.channels import LUMINANCE, weighted
from vision.photo import LINEAR, Photo

Array = NDArray[np.floating[Any]]
Which = Literal["rgb", "grey"]
_LINEAR = LINEAR.astype(np.float32)
MOST_PX = 5_000_000  # of the photo that are converted to floats at once
PART_PX = 400  # columns of a strip that are converted by themselves beyond that


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


@dataclass(frozen=True)
class Nearby:
    """The photo's linear light around an axis, converted once for several strips: ``rgb`` (H, W, 3) from px ``corner`` (x, y) on.

    Both None where that would be much of the photo, as for an axis across its corners: then each part of a strip converts its own.
    """

    photo: Photo
    rgb: NDArray[np.float32] | None
    grey: NDArray[np.float32] | None
    corner: tuple[int, int]

    def holds(self, low: NDArray[np.int_], high: NDArray[np.int_]) -> bool:
        """Whether all px from ``low`` up to before ``high`` (x, y) are here."""
        if self.rgb is None:
            return False
        last = np.array(self.corner) + self.rgb.shape[1::-1]
        return bool((low >= self.corner).all() and (high <= last).all())


def light_nearby(source: Photo | Nearby, axis_px: Array, reach_px: float) -> Nearby:
    """Take the light within ``reach_px`` of an axis (N, 2); strips that reach further see it end as the photo's own rim does.

    What was taken for an axis before is given again where it holds all of that.
    """
    photo = source.photo if isinstance(source, Nearby) else source
    low = np.clip(np.floor(axis_px.min(axis=0) - reach_px).astype(int) - 3, 0, [photo.width_px - 1, photo.height_px - 1])
    high = np.clip(np.ceil(axis_px.max(axis=0) + reach_px).astype(int) + 4, low + 1, [photo.width_px, photo.height_px])
    if isinstance(source, Nearby) and source.holds(low, high):
        return source
    if int(np.prod(high - low)) > MOST_PX and len(axis_px) > PART_PX:
        return Nearby(photo, None, None, (0, 0))
    crop = photo.rgb[low[1] : high[1], low[0] : high[0]]
    rgb = np.asarray(cv2.LUT(np.ascontiguousarray(crop), _LINEAR[:, None]), dtype=np.float32)
    grey = np.asarray(weighted(rgb, LUMINANCE), dtype=np.float32)
    return Nearby(photo, rgb, grey, (int(low[0]), int(low[1])))


def straighten(source: Photo | Nearby, axis_px: Array, half_px: int, step_px: float = 1.0) -> Strip:
    """Sample linear grey along the normals of a dense axis (N, 2) by cubic interpolation.

    ``step_px`` is the distance of the axis points and of the rows in photo px; all offsets of the strip are in these steps.
    """
    return _strip(_near(source, axis_px, half_px * step_px), "grey", axis_px, half_px, step_px)


def straighten_rgb(source: Photo | Nearby, axis_px: Array, half_px: int, step_px: float = 1.0) -> Strip:
    """The same in colour: ``values`` (2 half + 1, N, 3), linear red, green and blue."""
    return _strip(_near(source, axis_px, half_px * step_px), "rgb", axis_px, half_px, step_px)


def _near(source: Photo | Nearby, axis_px: Array, reach_px: float) -> Nearby:
    return source if isinstance(source, Nearby) else light_nearby(source, axis_px, reach_px)


def _strip(near: Nearby, which: Which, axis_px: Array, half_px: int, step_px: float) -> Strip:
    normal = normals(axis_px)
    offsets = step_px * np.arange(-half_px, half_px + 1, dtype=float)
    parts = [slice(0, len(axis_px))] if near.rgb is not None else [slice(at, at + PART_PX) for at in range(0, len(axis_px), PART_PX)]
    values = [_part(near, which, axis_px[part], normal[part], offsets) for part in parts]
    joined = values[0] if len(values) == 1 else np.concatenate(values, axis=1)
    return Strip(joined, axis_px, normal, _within(near.photo, axis_px, offsets[-1] * normal))


def _part(near: Nearby, which: Which, axis_px: Array, normal: Array, offsets: Array) -> NDArray[np.float32]:
    """The strip's values over some of its columns."""
    own = near if near.rgb is not None else light_nearby(near.photo, axis_px, float(offsets[-1]))
    light = own.rgb if which == "rgb" else own.grey
    assert light is not None  # noqa: S101 - so few columns are converted whatever they lie across
    x, y = (
        np.add(axis_px[:, k] - own.corner[k], offsets[:, None] * normal[:, k], dtype=np.float32, casting="same_kind")
        for k in (0, 1)
    )
    return _remap(light, x, y)


def _within(photo: Photo, axis_px: Array, reach_px: Array) -> NDArray[np.bool_]:
    """The columns that lie wholly within the photo."""
    ends = np.stack([axis_px - reach_px, axis_px + reach_px])
    return np.asarray(((ends >= 1.0) & (ends <= np.array([photo.width_px, photo.height_px]) - 2.0)).all(axis=(0, 2)))


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
