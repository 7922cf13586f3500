"""Stage 3e: mask of what lies on the sheet -> the handles: thick, long, and told apart where they touch."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, Literal

import cv2
import numpy as np
from numpy.typing import NDArray
from skimage.measure import label, regionprops

from vision.discs import by_disc
from vision.islands import Island, holes, islands

Array = NDArray[np.floating[Any]]
Mask = NDArray[np.bool_]
CLOSE_MM = 0.5  # bridges the dashes of a white handle's outline
THICK_MM = 2.0  # thicker than any shaft; stops are shorter along the axis than that, and fall with it
LEAST_MM2 = 9.0
LEAST_LENGTH_MM = 4.5  # a stop is shorter
MOST_LENGTH_MM, MOST_WIDTH_MM = 19.0, 7.5  # of a handle with its shadow; longer is print or table
WIDEST_MM = 5.6  # one handle is 3.5 to 4.5 mm thick; what is wider holds two, or a shadow
PLAIN_CHROMA, PLAIN_BLACK, MOSTLY = 0.12, 0.12, 0.5  # of relative colour; share of a handle's pixels
HANDLE_THICK_MM, BARE_NEAR = 3.0, 0.05
# Light over paper's that no shadow reaches, and its share of what is thick: 0.22 and more of 37 of 42 sightings of white handles on 12
# development trays, at most 0.14 of 61 of shadows, print and heaps of metal. A whole handle is WHOLE_MM2 and more (least: 10 by 3.5 mm).
WHITER, LEAST_WHITER, WHOLE_MM2 = 1.08, 0.2, 28.0
LONGEST_HOLE_MM = 14.0  # no hole within one handle is longer
MOST_TURNS, LEAST_TOLD_PX = 20, 12
DEEPEST_MM = 2.6  # half of the widest hole that a pale handle leaves in its mask


@dataclass(frozen=True)
class Grip:
    """One handle: its pixels in the plane (label image value), middle, unit axis, half length; px.

    ``rank``: 3 where most of it is coloured, 2 where it is coloured or black as no metal is, or whiter than the paper as no shadow is, else
    1: perhaps a shadow.
    """

    mask: Mask
    offset_px: tuple[int, int]
    middle_px: Array
    axis: Array
    half_px: float
    at_border: bool
    rank: int = 2

    def ends_px(self) -> tuple[Array, Array]:
        """Both ends of its axis."""
        return self.middle_px - self.half_px * self.axis, self.middle_px + self.half_px * self.axis


def filled(mask: Mask, px_per_mm: float) -> Mask:
    """Close dashes and fill holes no wider than a handle; what crossing shafts enclose stays open where it is wider."""
    closed = _disc(mask, "close", CLOSE_MM * px_per_mm)
    shallow = [hole for hole in holes(closed, LONGEST_HOLE_MM * px_per_mm) if _depth(closed, hole) < DEEPEST_MM * px_per_mm]
    for hole in shallow:
        closed[hole.place] |= hole.mask
    return closed


def _depth(mask: Mask, hole: Island) -> float:
    """How far a hole's pixels lie from the mask, px, at most: none lies nearer than those about the hole itself."""
    outer = tuple(slice(max(part.start - 1, 0), part.stop + 1) for part in hole.place)
    inner = tuple(slice(part.start - around.start, part.stop - around.start) for part, around in zip(hole.place, outer, strict=True))
    bare = 1 - np.ascontiguousarray(mask[outer]).view(np.uint8)
    return float(cv2.distanceTransform(bare, cv2.DIST_L2, 5)[inner][hole.mask].max())


def find_grips(solid: Mask, colour: Array, rim: Mask, px_per_mm: float) -> tuple[Grip, ...]:
    """Find the handles in ``solid`` (H, W), the filled mask. ``colour`` (H, W, 3): over paper's; ``rim``: the picture's border."""
    thick = _disc(solid, "open", THICK_MM / 2.0 * px_per_mm)
    grips: list[Grip] = []
    for island in islands(thick, connectivity=4):
        if island.mask.sum() < LEAST_MM2 * px_per_mm**2:
            continue
        place, (rows, columns) = island.place, island.place
        for part in _parts(island.mask, colour[place], px_per_mm):
            grip = _grip(part, (columns.start, rows.start), rim[place], px_per_mm)
            rank = 0 if grip is None else _rank(part, colour[place], px_per_mm)
            if grip is not None and rank:
                grips.append(replace(grip, rank=rank))
    return tuple(grips)


def _grip(mask: Mask, offset: tuple[int, int], rim: Mask, px_per_mm: float) -> Grip | None:
    v, u = np.nonzero(mask)
    if len(u) < LEAST_MM2 * px_per_mm**2:
        return None
    points = np.column_stack([u, v]).astype(float)
    middle = points.mean(axis=0)
    _, _, axes = np.linalg.svd(points - middle, full_matrices=False)
    along = (points - middle) @ axes[0]
    low, high = np.percentile(along, [0.5, 99.5])
    border = bool((mask & rim).any())
    if high - low > MOST_LENGTH_MM * px_per_mm or _width(mask) > MOST_WIDTH_MM * px_per_mm:
        return None
    if (high - low) < LEAST_LENGTH_MM * px_per_mm and not border:
        return None
    centre = middle + axes[0] * (low + high) / 2.0 + np.array(offset)
    return Grip(mask, offset, centre, axes[0], float(high - low) / 2.0, border)


def _rank(mask: Mask, colour: Array, px_per_mm: float) -> int:
    """3 to 1 as in ``Grip``; 0 for what is no handle: a shaft and its hard shadow with the paper between them are long and thick too."""
    picked = colour[mask]
    if (picked.max(axis=1) - picked.min(axis=1) > PLAIN_CHROMA).mean() > MOSTLY:
        return 3
    if ((picked.max(axis=1) - picked.min(axis=1) > PLAIN_CHROMA) | (picked.mean(axis=1) < PLAIN_BLACK)).mean() > MOSTLY:
        return 2
    depth = cv2.distanceTransform(np.pad(mask, 1).astype(np.uint8), cv2.DIST_L2, 5).max()
    light = picked.mean(axis=1)
    if 2.0 * float(depth) <= HANDLE_THICK_MM * px_per_mm or (np.abs(light - 1.0) < BARE_NEAR).mean() >= MOSTLY:
        return 0
    return 2 if share_whiter(picked) >= LEAST_WHITER and len(picked) >= WHOLE_MM2 * px_per_mm**2 else 1


def share_whiter(colour: Array) -> float:
    """Share of some pixels, ``colour`` (N, 3) over paper's, that is brighter than bare paper: white plastic is, no shadow."""
    return float((colour.mean(axis=1) > WHITER).mean()) if len(colour) else 0.0


def _parts(mask: Mask, colour: Array, px_per_mm: float) -> list[Mask]:
    """One handle, or the handles that touch one another in this piece: told apart by colour, else by width."""
    if _width(mask) <= WIDEST_MM * px_per_mm and mask.sum() < 62.0 * px_per_mm**2:
        return [mask]
    parts = _by_colour(mask, colour, px_per_mm)
    return [half for part in parts for half in _halves(part, px_per_mm)]


def _by_colour(mask: Mask, colour: Array, px_per_mm: float) -> list[Mask]:
    """Split by the two colours that tell it apart best, if both make a handle."""
    smooth = cv2.GaussianBlur(np.asarray(colour, dtype=np.float32), (0, 0), 0.2 * px_per_mm)
    lab = cv2.cvtColor(np.clip(smooth, 0.0, 1.0) ** np.float32(1 / 2.2), cv2.COLOR_RGB2LAB)
    seen = (lab[mask] * np.array([0.4, 1.0, 1.0], np.float32)).astype(np.float32)
    criteria = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 20, 0.5)
    cv2.setRNGSeed(1)  # or the same photo would be read otherwise after another one
    _, which, middles = cv2.kmeans(seen, 2, None, criteria, 3, cv2.KMEANS_PP_CENTERS)  # type: ignore[call-overload]
    if float(np.linalg.norm(middles[0] - middles[1])) < 25.0:
        return [mask]
    parts = []
    for k in (0, 1):
        part = np.zeros_like(mask)
        part[mask] = which.ravel() == k
        part = _disc(_disc(part, "close", 0.4 * px_per_mm), "open", 0.8 * px_per_mm)
        marks = label(part, connectivity=1)
        parts += [np.asarray(marks == r.label) for r in regionprops(marks) if r.area > 18.0 * px_per_mm**2]
    return parts if len(parts) > 1 else [mask]


def _halves(mask: Mask, px_per_mm: float) -> list[Mask]:
    """Cut a piece that is as wide as two handles into two along its length, or across when twice as long; where a line through each tells
    two handles apart, as where they lie at an angle, by those."""
    v, u = np.nonzero(mask)
    points = np.column_stack([u, v]).astype(float)
    middle = points.mean(axis=0)
    _, _, axes = np.linalg.svd(points - middle, full_matrices=False)
    for axis, least in ((axes[1], 6.6), (axes[0], 17.0)):
        across = (points - middle) @ axis
        low, high = np.percentile(across, [1, 99])
        if high - low > least * px_per_mm:
            beyond = across > (low + high) / 2.0
            by_lines = _two(mask, _nearer_to_second(points, beyond))
            return by_lines if all(_like_one(half, px_per_mm) for half in by_lines) else _two(mask, beyond)
    return [mask]


def _two(mask: Mask, second: Mask) -> list[Mask]:
    """The pixels of a mask in two, ``second`` told in their order."""
    halves = [np.zeros_like(mask), np.zeros_like(mask)]
    for k, half in enumerate(halves):
        half[mask] = second == bool(k)
    return halves


def _like_one(half: Mask, px_per_mm: float) -> bool:
    """Whether a piece is as large as a handle and no wider than one."""
    return bool(half.sum() > WHOLE_MM2 * px_per_mm**2) and _width(half) <= WIDEST_MM * px_per_mm


def _nearer_to_second(points: Array, second: Mask) -> Mask:
    """Which points lie nearer to the middle line of the second half than to that of the first, the lines laid anew until nothing moves."""
    for _ in range(MOST_TURNS):
        if min(second.sum(), (~second).sum()) < LEAST_TOLD_PX:
            break
        before, second = second, _from_line(points, points[second]) < _from_line(points, points[~second])
        if (before == second).all():
            break
    return second


def _from_line(points: Array, part: Array) -> Array:
    """How far points lie from the middle line of a part, which ends where the part is half as far from its end as it is wide."""
    middle = part.mean(axis=0)
    _, spread, axes = np.linalg.svd(part - middle, full_matrices=False)
    half_long, half_wide = np.sqrt(3.0 * spread**2 / len(part))
    along = np.clip((points - middle) @ axes[0], half_wide - half_long, half_long - half_wide)
    return np.asarray(np.linalg.norm(points - middle - along[:, None] * axes[0], axis=1))


def _width(mask: Mask) -> float:
    v, u = np.nonzero(mask)
    (_, size, _) = cv2.minAreaRect(np.column_stack([u, v]).astype(np.float32))
    return float(min(size))


def _disc(mask: Mask, does: Literal["close", "open"], radius_px: float) -> Mask:
    return by_disc(mask, does, radius_px, max(round(radius_px), 1) + 1)
