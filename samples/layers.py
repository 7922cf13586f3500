"""Out-of-focus blur as discs, and how the blurred layers of a scene lie over one another."""

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from samples.arrays import CPU, Array, Backend, Floats
from samples.images import convolved

TILE_PX = 320
FINEST_PX = 0.05


@lru_cache(maxsize=512)
def _disc(steps: int) -> Floats:
    """Kernel of an evenly lit disc of diameter d = steps x FINEST_PX px with its exact second moment, d^2 / 16.

    Weighting each cell by the area it shares adds the variance of a pixel, 1/12, so a slightly smaller disc is drawn;
    below 1.7 px three taps along each axis carry the moment.
    """
    variance = (steps * FINEST_PX) ** 2 / 16
    if variance < 0.18:
        taps = np.array([variance / 2, 1 - variance, variance / 2])
        return np.outer(taps, taps).astype(np.float32)
    radius = 2.0 * math.sqrt(variance - 1 / 12)
    reach = math.ceil(radius + 0.5)
    fine = 9
    axis = (np.arange((2 * reach + 1) * fine) + 0.5) / fine - reach - 0.5
    inside = (axis[:, None] ** 2 + axis[None, :] ** 2 <= radius * radius).astype(np.float32)
    cells = inside.reshape(2 * reach + 1, fine, 2 * reach + 1, fine).sum((1, 3))
    return np.asarray(cells / cells.sum())


def blur_disc(image: Array, diameter_px: float, backend: Backend = CPU) -> Array:
    """Convolve an image (H x W or H x W x C, float32) with a disc; below 0.2 px it is returned as it is."""
    diameter = abs(diameter_px)
    if diameter < 0.2:
        return image
    return convolved(backend, image, _disc(max(round(diameter / FINEST_PX), 1)))


def blur_by_map(image: Array, diameter_px: Array, backend: Backend = CPU) -> Array:
    """Blur a whole picture whose disc varies slowly: tile by tile, between two disc sizes a pixel or less apart.

    `diameter_px` H x W, signed.
    """
    size = backend.xp.abs(diameter_px)
    if float(size.max()) < 0.2:
        return image
    out = backend.zeros(tuple(image.shape))
    height, width = image.shape[:2]
    for top in range(0, height, TILE_PX):
        for left in range(0, width, TILE_PX):
            rows, cols = slice(top, min(top + TILE_PX, height)), slice(left, min(left + TILE_PX, width))
            out[rows, cols] = _blurred_tile(backend, image, size[rows, cols], rows, cols)
    return out


def _blurred_tile(backend: Backend, image: Array, size: Array, rows: slice, cols: slice) -> Array:
    low, high = _range(backend, size)
    margin = math.ceil(high / 2) + 2
    y0, x0 = max(rows.start - margin, 0), max(cols.start - margin, 0)
    part = image[y0 : rows.stop + margin, x0 : cols.stop + margin]
    inner = (slice(rows.start - y0, rows.stop - y0), slice(cols.start - x0, cols.stop - x0))
    count = max(math.ceil((high - low) / 0.8), 1)
    levels = np.linspace(low, high, count + 1) if high - low > 0.05 else np.array([low, low + 1.0])
    out = backend.zeros((*size.shape, image.shape[2]))
    for level, diameter in enumerate(levels):
        weight = _weight(backend, size, float(diameter), float(levels[1] - levels[0]))
        if backend.xp is np and level and not weight.any():
            continue
        out += weight[..., None] * blur_disc(part, float(diameter), backend)[inner]
    return out


def _range(backend: Backend, size: Array, inside: Array | None = None) -> tuple[float, float]:
    """Smallest and largest of `size`, where `inside` if given; fetched together."""
    low, high = size, size
    if inside is not None:
        low, high = backend.xp.where(inside, size, np.inf), backend.xp.where(inside, size, -np.inf)
    ends = backend.get(backend.xp.stack([low.min(), high.max()]))
    return float(ends[0]), float(ends[1])


def _weight(backend: Backend, size: Array, level: float, step: float) -> Array:
    """Share (0 to 1) of the disc `level` in discs of `size`, when the levels stand `step` apart."""
    return backend.single(backend.xp.clip(1.0 - backend.xp.abs(size - level) / step, 0.0, 1.0))


@dataclass(frozen=True)
class Fragments:
    """Pinhole picture of one solid inside a box: premultiplied colour, coverage, out-of-focus disc and depth.

    `left`, `top`: the box's corner in the picture; `rgba` h x w x 4, `disc_px` h x w (signed diameter), `depth_mm` h x w
    (mean over what is covered).
    """

    left: int
    top: int
    rgba: Array
    disc_px: Array
    depth_mm: Array


def in_front(solid: Fragments, other: Fragments, backend: Backend = CPU) -> Fragments | None:
    """The part of `solid` that lies nearer to the camera than `other` where both cover a pixel; None if there is none."""
    left, top = max(solid.left, other.left), max(solid.top, other.top)
    right = min(solid.left + solid.disc_px.shape[1], other.left + other.disc_px.shape[1])
    bottom = min(solid.top + solid.disc_px.shape[0], other.top + other.disc_px.shape[0])
    if right <= left or bottom <= top:
        return None
    mine, theirs = (
        (slice(top - one.top, bottom - one.top), slice(left - one.left, right - one.left)) for one in (solid, other)
    )
    both = (solid.rgba[mine][..., 3] > 0) & (other.rgba[theirs][..., 3] > 0)
    nearer = backend.single(both & (solid.depth_mm[mine] < other.depth_mm[theirs]))
    if not bool(nearer.any()):
        return None
    return Fragments(left, top, solid.rgba[mine] * nearer[..., None], solid.disc_px[mine], solid.depth_mm[mine])


def lay_over(picture: Array, solid: Fragments, backend: Backend = CPU) -> None:
    """Blur a solid's fragments in bins of disc size and lay them over `picture` (H x W x 3) in place.

    Bins are summed, since they are parts of one surface seen side by side; only solids cover one another.
    """
    height, width = solid.disc_px.shape
    for top in range(-TILE_PX, height + TILE_PX, TILE_PX):
        for left in range(-TILE_PX, width + TILE_PX, TILE_PX):
            _lay_tile(backend, picture, solid, top, left)


def _lay_tile(backend: Backend, picture: Array, solid: Fragments, top: int, left: int) -> None:
    height, width = solid.disc_px.shape
    y0, x0 = solid.top + top, solid.left + left
    y1, x1 = min(y0 + TILE_PX, picture.shape[0]), min(x0 + TILE_PX, picture.shape[1])
    y0, x0 = max(y0, 0), max(x0, 0)
    if y1 <= y0 or x1 <= x0:
        return
    margin = 42
    u0, u1 = max(y0 - solid.top - margin, 0), min(y1 - solid.top + margin, height)
    v0, v1 = max(x0 - solid.left - margin, 0), min(x1 - solid.left + margin, width)
    if u1 <= u0 or v1 <= v0:
        return
    part = solid.rgba[u0:u1, v0:v1], solid.disc_px[u0:u1, v0:v1]
    discs = _range(backend, part[1], part[0][..., 3] > 0)
    if discs[0] > discs[1]:
        return
    pad = backend.zeros((y1 - y0 + 2 * margin, x1 - x0 + 2 * margin, 4))
    disc = backend.zeros(tuple(pad.shape[:2]))
    where = (
        slice(u0 + solid.top - y0 + margin, u1 + solid.top - y0 + margin),
        slice(v0 + solid.left - x0 + margin, v1 + solid.left - x0 + margin),
    )
    pad[where], disc[where] = part
    blurred = _add_bins(backend, pad, disc, *discs)[margin:-margin, margin:-margin]
    alpha = blurred[..., 3:]
    target = picture[y0:y1, x0:x1]
    target *= 1.0 - backend.xp.clip(alpha, None, 1.0)
    target += blurred[..., :3] / backend.xp.clip(alpha, 1.0, None)


def _add_bins(backend: Backend, rgba: Array, disc: Array, low: float, high: float) -> Array:
    """Sum of the bins of one tile, each blurred by its own disc; all discs lie between `low` and `high`."""
    covered = rgba[..., 3] > 0
    count = max(math.ceil((high - low) / 1.0), 1)
    if high - low < 0.1:
        return blur_disc(rgba, 0.5 * (low + high), backend)
    levels = np.linspace(low, high, count + 1)
    out = 0.0 * rgba
    for level in levels:
        weight = _weight(backend, disc, float(level), float(levels[1] - levels[0])) * covered
        if backend.xp is not np or weight.any():
            out += blur_disc(rgba * weight[..., None], float(level), backend)
    return out
