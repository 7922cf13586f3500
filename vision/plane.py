"""Stage 3a: Photo, Scale -> Plane. The sheet's plane seen from straight above at modest resolution, with what was printed.

Finding works here, in page mm; measuring goes back to the photo's own pixels.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from calib.draw import raster
from calib.sheet import Rect
from vision.bands import BAND_PX, bands
from vision.photo import LINEAR, Photo
from vision.scale import Scale

Array = NDArray[np.floating[Any]]
Image = NDArray[np.floating[Any]]
MOST_PX = 6_000_000
FINEST_PX_PER_MM = 24.0
RIM_PX = 8  # beyond what the photo shows, for filters that reach over its border
NODE_PX = BAND_PX // 3  # of the plane, between places that are mapped: between them the mapping is straight to far below a px
EDGE_MM = 15.0  # table beyond the page that is still looked at


@dataclass(frozen=True)
class Plane:
    """Linear-light RGB (H, W, 3) over a box of the page, sampled at ``px_per_mm``; pixel k is centred at x0 + (k + 0.5)/px_per_mm.

    ``printed`` (H, W) is the sheet's own reflectance there (1 white, 0 ink) and ``inside`` marks what the photo shows.
    ``slots_mm``: boxes (x0, y0, x1, y1) of the sheet's handle slots, which may have been cut out;
    ``trim_x_mm``: the line along which the page may have been cut, what lies to its right then being the table;
    ``page_mm``: width and height of the page; ``windows_mm``: boxes of a window card's windows, which may have been cut out.
    """

    rgb: Image
    printed: Image
    inside: NDArray[np.bool_]
    slots_mm: tuple[tuple[float, float, float, float], ...]
    trim_x_mm: float | None
    page_mm: tuple[float, float] | None
    x0_mm: float
    y0_mm: float
    px_per_mm: float
    windows_mm: tuple[tuple[float, float, float, float], ...] = ()

    def without_picture(self) -> Plane:
        """The same without its light, which only finding looks at: it is as large as the photo."""
        return replace(self, rgb=np.empty((0, 0, 3), dtype=np.float32))

    def to_mm(self, points: Array) -> Array:
        """Map (N, 2) plane px (x, y) to page mm."""
        return np.asarray((points + 0.5) / self.px_per_mm + [self.x0_mm, self.y0_mm])


def look_down(photo: Photo, scale: Scale, most_px: int = MOST_PX) -> Plane:
    """Resample the photo onto the sheet's plane; area-averaged where that makes it coarser. ``most_px``: of the plane, at most."""
    height, width = photo.rgb.shape[:2]
    box = _view(scale, width, height)
    native = scale.px_per_mm_at((width / 2.0, height / 2.0)).value
    size = box[2:] - box[:2]
    px_per_mm = min(FINEST_PX_PER_MM, native, (most_px / float(size.prod())) ** 0.5)
    columns, rows = (np.maximum(np.round(size * px_per_mm), 8)).astype(int)
    shrink = max(int(native / px_per_mm), 1)
    small = (
        photo.rgb
        if shrink == 1
        else cv2.resize(photo.rgb, (width // shrink, height // shrink), interpolation=cv2.INTER_AREA)
    )
    shape = int(rows), int(columns)
    printed = _printed(scale, box, px_per_mm, shape) if scale.sheet is not None else np.ones(shape, dtype=np.float32)
    light, inside = _seen_from_above(photo, small, scale, box, px_per_mm, shape)
    corner = float(box[0]), float(box[1])
    ppm = float(px_per_mm)
    return Plane(light, printed, inside, _slots(scale), _trim(scale), _page(scale), *corner, ppm, _windows(scale))


def _seen_from_above(
    photo: Photo, small: NDArray[Any], scale: Scale, box: Array, px_per_mm: float, shape: tuple[int, int]
) -> tuple[Image, NDArray[np.bool_]]:
    """Linear light of every plane pixel, and whether the photo shows it. ``small``: the photo, made so coarse."""
    width, height = photo.width_px, photo.height_px
    coarser = np.array([width / small.shape[1], height / small.shape[0]])
    linear = LINEAR.astype(np.float32)[:, None]
    light, inside = np.zeros((*shape, 3), dtype=np.float32), np.zeros(shape, dtype=bool)
    nodes = np.asarray((_nodes(scale, box, px_per_mm, shape) + 0.5) / coarser - 0.5, dtype=np.float32)
    first, last = ((np.array(at) + 0.5) / coarser - 0.5 for at in ((1.0, 1.0), (width - 2.0, height - 2.0)))
    for band in bands(shape, 0):
        at = _between(nodes, shape[1], band.place[0])
        seen = np.asarray(cv2.inRange(at, first, last)) > 0
        columns = np.flatnonzero(seen.any(axis=0))
        if not len(columns):
            continue
        inside[band.place] = seen
        part = slice(max(int(columns[0]) - RIM_PX, 0), int(columns[-1]) + RIM_PX + 1)
        x, y = cv2.split(np.ascontiguousarray(at[:, part]))
        light[band.place][:, part] = cv2.LUT(np.asarray(cv2.remap(small, x, y, cv2.INTER_LINEAR)), linear)
    return light, inside


def _slots(scale: Scale) -> tuple[tuple[float, float, float, float], ...]:
    return () if scale.sheet is None else _boxes(scale, scale.sheet.slots)


def _windows(scale: Scale) -> tuple[tuple[float, float, float, float], ...]:
    return () if scale.sheet is None else _boxes(scale, scale.sheet.windows)


def _boxes(scale: Scale, rects: Sequence[Rect]) -> tuple[tuple[float, float, float, float], ...]:
    sx, sy = scale.print_scale
    return tuple((s.x0_mm * sx, s.y0_mm * sy, s.x1_mm * sx, s.y1_mm * sy) for s in rects)


def _page(scale: Scale) -> tuple[float, float] | None:
    if scale.sheet is None:
        return None
    return scale.sheet.width_mm * scale.print_scale[0], scale.sheet.height_mm * scale.print_scale[1]


def _trim(scale: Scale) -> float | None:
    return None if scale.sheet is None else scale.sheet.trim_line.start_mm[0] * scale.print_scale[0]


def _view(scale: Scale, width: int, height: int) -> Array:
    """Box x0, y0, x1, y1 in page mm of what the photo shows, not far beyond the page."""
    along = np.linspace(0.0, 1.0, 9)
    rim = np.concatenate(
        [np.column_stack([along * (width - 1), np.full(9, e * (height - 1))]) for e in (0, 1)]
        + [np.column_stack([np.full(9, e * (width - 1)), along * (height - 1)]) for e in (0, 1)]
    )
    mm = scale.to_plane_mm(rim)
    low, high = mm.min(axis=0), mm.max(axis=0)
    if scale.sheet is not None:
        page = np.array([scale.sheet.width_mm, scale.sheet.height_mm]) * scale.print_scale
        low, high = np.maximum(low, -EDGE_MM), np.minimum(high, page + EDGE_MM)
    return np.concatenate([low, high])


def _nodes(scale: Scale, box: Array, px_per_mm: float, shape: tuple[int, int]) -> Array:
    """Photo px (rows, columns, 2) of places NODE_PX apart, from half of that beyond the plane's first row and column on."""
    y, x = (NODE_PX * np.arange(-(-side // NODE_PX) + 2) - (NODE_PX - 1) / 2.0 - 1.0 for side in shape)
    gx, gy = ((at + 0.5) / px_per_mm + corner for at, corner in ((x, box[0]), (y, box[1])))
    mesh = np.stack(np.meshgrid(gx, gy), axis=-1).reshape(-1, 2)
    return np.asarray(scale.to_px(mesh).reshape(len(y), len(x), 2))


def _between(nodes: NDArray[np.float32], columns: int, rows: slice) -> NDArray[np.float32]:
    """Px (H, W, 2) of the coarser photo for every plane pixel of some rows, the first a whole number of nodes down."""
    first, count = rows.start // NODE_PX, rows.stop - rows.start
    around = nodes[first : first - (-count // NODE_PX) + 2]
    size = around.shape[1] * NODE_PX, around.shape[0] * NODE_PX
    wide = cv2.resize(around, size, interpolation=cv2.INTER_LINEAR)
    return np.asarray(wide[NODE_PX : NODE_PX + count, NODE_PX : NODE_PX + columns], dtype=np.float32)


def _printed(scale: Scale, box: Array, px_per_mm: float, shape: tuple[int, int]) -> Image:
    """What the sheet prints in the box: white beyond the page."""
    assert scale.sheet is not None  # noqa: S101  asked by the caller
    stretch = np.array([*scale.print_scale, *scale.print_scale])
    nominal = box / stretch
    x0, y0, x1, y1 = (float(v) for v in nominal)
    drawn = raster(scale.sheet, x0, y0, x1, y1, px_per_mm)
    grey = np.asarray(drawn if drawn.ndim == 2 else drawn.mean(axis=2))
    if grey.shape != shape:
        grey = cv2.resize(np.asarray(grey, dtype=np.float32), (shape[1], shape[0]), interpolation=cv2.INTER_AREA)
    return np.asarray(np.multiply(grey, np.float32(1.0 / 255.0), dtype=np.float32))
