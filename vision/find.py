"""Stage 3 of 9: Plane -> Candidates. Long thin things lying on the sheet, with their handle and stop told from the metal."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from skimage.measure import label, regionprops

from vision.as_printed import print_alone
from vision.bands import bands
from vision.crowd import take_apart
from vision.discs import by_disc
from vision.foreground import foreground
from vision.islands import islands
from vision.joining import join_across_print
from vision.memory import give_back
from vision.offsheet import off_sheet
from vision.openings import Opening, see_openings
from vision.paper import paper_light
from vision.plane import Plane
from vision.taken import Taken
from vision.unprinted import see_through_print

Array = NDArray[np.floating[Any]]
Image = NDArray[np.floating[Any]]
Mask = NDArray[np.bool_]

CLOSE_MM = 0.45  # bridges pale mirrored edges and the gaps between glints
LEAST_LENGTH_MM = 6.0
LEAST_SLIMNESS = 4.0
THICK_MM = (2.0, 2.8, 3.5)  # thicker than any shaft (a size 140 reaches 1.72 mm): handle or stop; more where shadow has grown onto it
HANDLE_LENGTH_MM = 4.5  # a stop is shorter along the axis
CROWD_MM2 = 9000.0  # a view as large as 110 mm x 82 mm may hold several instruments; a smaller one is a close-up
LEAST_LEFT_MM = 8.0  # pieces left over beside others are shadows and print more often
ALONE_MM, LONGEST_MM = 12.0, 60.0  # with its handle no instrument is longer: 31 mm and 12 mm
SURE_RANK, RIM_MM = 2, 0.5  # of a handle that tells an instrument beyond the page too; of the page's edge
LEAST_TOLD = 0.3  # of such a piece that print does not explain


@dataclass(frozen=True)
class Candidate:
    """One thing on the sheet: plane masks (H, W) of the whole, its thin part and its handle, and which border it meets.

    Masks of the whole plane: ``lit`` where the background is a lit screen seen through a window, ``off`` where the sheet
    was cut away (that included). ``rank``: how surely a handle with a shaft of its own
    tells it: 3 coloured, 2 black, 1 only thick, 0 none; a coloured one is there even if no outline of it can be followed.
    """

    whole: Mask
    thin: Mask
    handle: Mask
    stop: Mask
    offset_px: tuple[int, int]
    cut: bool
    lit: Mask | None = None
    off: Mask | None = None
    rank: int = 0


@dataclass(frozen=True)
class Found:
    """All candidates of a plane, with the relative colour picture (paper = 1) that they were found in.

    ``holes``: what shows in each hole of a window card; empty on the plain sheets.
    """

    candidates: tuple[Candidate, ...]
    relative: Image
    holes: tuple[Opening, ...] = ()


def find_instruments(plane: Plane, anchors_mm: Array) -> Found:
    """Find instrument-like things: at least 6 mm long, at least four times longer than their thin part is wide.

    ``anchors_mm`` (N, 2): page places where the sheet's print was verified. The plane's picture is used up: ``Found.relative``
    takes its place.
    """
    openings = see_openings(plane, paper_light(plane, anchors_mm))
    lit, holes, relative = openings.lit, openings.holes, _over_paper(plane.rgb, openings.light)
    del openings  # and the light with it, as large as the picture
    off = off_sheet(plane, relative)
    mask = foreground(plane, relative, lit, off)
    off |= lit
    rim = ~cv2.erode(np.pad(plane.inside, 1).astype(np.uint8), np.ones((25, 25), np.uint8))[1:-1, 1:-1].astype(bool)
    candidates, used, told = _crowd(plane, relative, rim)
    least_mm = LEAST_LENGTH_MM if not candidates else LEAST_LEFT_MM
    closed = join_across_print(_close(mask & ~used, CLOSE_MM * plane.px_per_mm), plane)
    for island in islands(closed, connectivity=8):
        region, (rows, columns) = regionprops(island.mask.view(np.uint8))[0], island.place
        if region.axis_major_length < least_mm * plane.px_per_mm:
            continue
        box = rows.start, columns.start, rows.stop, columns.stop
        candidate = _split_somehow(plane, rim, np.asarray(region.image_filled, dtype=bool), box)
        if candidate is not None and (not candidates or _likely(candidate, told, plane.px_per_mm)):
            candidates.append(candidate)
    if told is not None:  # a close-up is asked no such thing: there a pale shaft may be as bright as paper
        candidates = [one for one in candidates if not print_alone(plane, relative, one.thin, one.handle, one.offset_px)]
        candidates = [one for one in candidates if one.rank >= SURE_RANK or _on_page(one, plane)]
    return Found(tuple(replace(one, lit=lit, off=off) for one in candidates), relative, holes)


def _over_paper(rgb: Image, light: Image) -> Image:
    """Colour over that of the bare background; it takes the picture's place, which nobody asks for afterwards."""
    for band in bands(rgb.shape, 0):
        part = rgb[band.place]
        part[...] = cv2.divide(part, np.maximum(light[band.place], np.float32(1e-3)))
    return rgb


def _crowd(plane: Plane, relative: Image, rim: Mask) -> tuple[list[Candidate], Mask, Mask | None]:
    """Instruments told by their handles, what they account for, and what no print explains (None: not asked).

    None where the view is too small to hold several.
    """
    none = np.zeros(plane.inside.shape, dtype=bool)
    if plane.page_mm is None or plane.windows_mm or plane.inside.sum() < CROWD_MM2 * plane.px_per_mm**2:
        return [], none, None
    through = see_through_print(plane, relative)
    give_back()  # a tray's picture leaves the most behind where the most is needed next
    taken, used, solid = take_apart(plane, relative, through, rim)
    give_back()
    return ([_cropped(one) for one in taken], used, solid) if len(taken) > 1 else ([], none, None)


def _on_page(candidate: Candidate, plane: Plane) -> bool:
    """Whether most of its thin part lies on the page: along the page's edge a table's grain is long and thin too."""
    if plane.page_mm is None:
        return True
    spots = plane.to_mm(np.argwhere(candidate.thin)[:, ::-1] + np.array(candidate.offset_px, dtype=float))
    return bool(((spots > RIM_MM) & (spots < np.array(plane.page_mm) - RIM_MM)).all(axis=1).mean() > 0.5)


def _cropped(one: Taken) -> Candidate:
    whole = one.thin | one.handle | one.stop
    rows, columns = np.flatnonzero(whole.any(axis=1)), np.flatnonzero(whole.any(axis=0))
    box = slice(rows[0], rows[-1] + 1), slice(columns[0], columns[-1] + 1)
    corner = (one.offset_px[0] + int(columns[0]), one.offset_px[1] + int(rows[0]))
    return Candidate(whole[box], one.thin[box], one.handle[box], one.stop[box], corner, one.cut, rank=one.rank)


def _likely(candidate: Candidate, told: Mask | None, px_per_mm: float) -> bool:
    """Whether a piece that no handle accounts for can be an instrument: with a handle, cut by the frame, or long and thin.

    Some of it must be ``told`` (H, W) from print: a shifted or badly lit line of text is long and thin as well. A close-up asks no such
    thing (None); there pieces at the frame's end are print and shadow more often.
    """
    left, top = candidate.offset_px
    height, width = candidate.thin.shape
    if told is not None:
        thin = told[top : top + height, left : left + width][candidate.thin]
        if not thin.size or thin.mean() < LEAST_TOLD:
            return False
    region = regionprops(candidate.whole.astype(np.uint8))[0]
    if region.axis_major_length > LONGEST_MM * px_per_mm:
        return False
    if candidate.handle.any() or (candidate.cut and told is not None):
        return True
    return bool(region.axis_major_length > ALONE_MM * px_per_mm and region.axis_minor_length < 3.0 * px_per_mm)


def _close(mask: Mask, radius_px: float) -> Mask:
    closed = by_disc(mask, "close", radius_px, max(round(radius_px), 1))
    opened = cv2.morphologyEx(closed.astype(np.uint8), cv2.MORPH_OPEN, np.ones((2, 2), np.uint8))
    return np.asarray(opened.astype(bool))


def _split_somehow(plane: Plane, rim: Mask, whole: Mask, box: tuple[int, int, int, int]) -> Candidate | None:
    """Split at the least thickness that leaves something slim; None where none does."""
    for thick_mm in THICK_MM:
        candidate = _split(plane, rim, whole, box, thick_mm)
        if candidate is not None:
            return candidate
    return None


def _split(plane: Plane, rim: Mask, whole: Mask, box: tuple[int, int, int, int], thick_mm: float) -> Candidate | None:
    """Tell thick parts (handle, stop) from the thin one by opening with a disc thicker than any shaft."""
    r = max(round(thick_mm / 2.0 * plane.px_per_mm), 1)
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * r + 1, 2 * r + 1))
    padded = np.pad(whole, r + 1).astype(np.uint8)
    thick = cv2.morphologyEx(padded, cv2.MORPH_OPEN, kernel)[r + 1 : -r - 1, r + 1 : -r - 1].astype(bool)
    top, left, bottom, right = box
    border = rim[top:bottom, left:right]
    handle, stop = _thick_parts(whole, thick, border, plane.px_per_mm)
    thin = whole & ~handle & ~stop
    if not thin.any() or not _slim(_largest(thin), plane.px_per_mm):
        return None
    return Candidate(whole, thin, handle, stop, (left, top), bool((whole & border).any()))


def _thick_parts(whole: Mask, thick: Mask, border: Mask, px_per_mm: float) -> tuple[Mask, Mask]:
    """Tell the handle from stops: a stop has shaft on both sides, the handle ends the instrument or runs out of the frame."""
    handle, stop = np.zeros_like(thick), np.zeros_like(thick)
    labels = label(thick)
    parts = [labels == k for k in range(1, int(labels.max()) + 1)]
    parts = [part for part in parts if part.sum() > THICK_MM[0] * px_per_mm]
    best = -1
    if parts:
        along = _along(whole)
        rest = along[whole & ~thick]
        scores = [_grip(along[part], rest, bool((part & border).any()), px_per_mm) for part in parts]
        best = int(np.argmax(scores)) if max(scores) > 0.0 else -1
    for k, part in enumerate(parts):
        (handle if k == best else stop)[part] = True
    return handle, stop


def _along(mask: Mask) -> Array:
    """Coordinate of every pixel along the mask's principal axis, px."""
    v, u = np.nonzero(mask)
    middle = np.array([u.mean(), v.mean()])
    _, _, axes = np.linalg.svd(np.column_stack([u, v])[:: max(len(u) // 4000, 1)] - middle, full_matrices=False)
    rows, columns = np.indices(mask.shape)
    return np.asarray((columns - middle[0]) * axes[0, 0] + (rows - middle[1]) * axes[0, 1])


def _grip(part: Array, rest: Array, at_border: bool, px_per_mm: float) -> float:
    """Length of a thick part in mm if it can be a handle, else 0."""
    if len(rest) == 0:
        return 0.0
    beyond = min((rest > np.percentile(part, 98)).sum(), (rest < np.percentile(part, 2)).sum()) / px_per_mm**2
    length = float(np.ptp(part)) / px_per_mm
    ends_it = beyond < 0.6 or at_border
    return length + 5.0 * at_border if ends_it and (length > HANDLE_LENGTH_MM or at_border) else 0.0


def _largest(mask: Mask) -> Mask:
    labels = label(mask, connectivity=2)
    sizes = np.bincount(labels.ravel())
    sizes[0] = 0
    return np.asarray(labels == sizes.argmax()) if sizes.max() else mask


def _slim(thin: Mask, px_per_mm: float) -> bool:
    region = regionprops(thin.astype(np.uint8))[0]
    long_enough = region.axis_major_length > LEAST_LENGTH_MM * px_per_mm
    return bool(long_enough and region.axis_major_length**2 / max(float(region.area), 1.0) > LEAST_SLIMNESS)
