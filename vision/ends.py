"""Stage 6: marks on the strip -> places in mm: the stop, the handle's front, the working part's end.

The strip network marks them where they cross the axis, however they are seen at a slant; without it the plane's masks and
the strongest change of colour beside the shank serve.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.axis import Axis
from vision.edge_lines import Edges
from vision.find import Candidate
from vision.front import front_column
from vision.marks import CUT_MM, Mark, Marks
from vision.photo import Photo
from vision.place import Profile, rim_shift_mm
from vision.plane import Plane
from vision.pose import Height
from vision.quantity import Quantity
from vision.scale import Scale
from vision.strip import normals

Array = NDArray[np.floating[Any]]
NEAR_BORDER_PX = 6.0
UNSEEN_U_MM = 1.0  # of a front by colour where the network sees none: it lay up to 3 mm inside a white handle on renders
MARK_U_MM = 0.04  # of a mark beyond the network's own doubt, as held-out strips show


def place_of(profile: Profile, mark: Mark) -> Quantity:
    """Station of a mark, mm from the tip, with the u of the mark alone."""
    value = float(np.interp(mark.column, profile.column, profile.x_mm))
    return Quantity(value, float(np.hypot(mark.u / profile.px_per_mm, MARK_U_MM)))


def stop_span(
    plane: Plane, scale: Scale, candidate: Candidate, profile: Profile, edges: Edges, marks: Marks
) -> tuple[float, float] | None:
    """Where a stop hides the metal, mm from the tip: its tip side and its handle side."""
    if marks.stop is not None:
        return place_of(profile, marks.stop[0]).value, place_of(profile, marks.stop[1]).value
    if edges.names.size:
        return None
    return _stop_on_plane(plane, scale, candidate, profile, edges)


def part_end_mm(profile: Profile, marks: Marks) -> Quantity | None:
    """The working part's end; None where a stop or the handle covers it, or where it was not seen."""
    if marks.part_end is None or marks.part_end_hidden:
        return None
    return place_of(profile, marks.part_end)


def cut_short(axis: Axis, photo: Photo, marks: Marks, px_per_mm: float) -> bool:
    """Whether what was taken for the working part's end lies where the frame cuts the instrument: there it was cut, and did not end."""
    if marks.part_end is None:
        return False
    if marks.front is not None and not at_border(photo, axis, min(round(marks.front.column), len(axis.px) - 1)):
        return False
    last = min(round(marks.part_end.column + CUT_MM * px_per_mm), len(axis.px) - 1)
    return at_border(photo, axis, last)


def front_mm(
    photo: Photo, scale: Scale, plane: Plane, candidate: Candidate, axis: Axis, profile: Profile, height: Height, marks: Marks
) -> tuple[Quantity, float] | None:
    """Place of the handle's front face on the axis and its column; None when the face is not in the frame."""
    if marks.front is not None and len(axis.px) - marks.front.column < CUT_MM * profile.px_per_mm:
        return None  # what little is in the picture behind it may as well be a stop or the handle's shadow
    if marks.front is not None and not at_border(photo, axis, round(marks.front.column)):
        return place_of(profile, marks.front), marks.front.column
    found = _front_by_colour(photo, scale, plane, candidate, axis, profile, height)
    if found is None or marks.tip is None:  # without the network nothing contradicts it
        return found
    return Quantity(found[0].value, float(np.hypot(found[0].u, UNSEEN_U_MM))), found[1]


def at_border(photo: Photo, axis: Axis, index: int | None, more_px: float = 0.0) -> bool:
    """Whether a column of the axis lies at the frame's border, or within ``more_px`` of that (None: out of the frame)."""
    if index is None:
        return True
    x, y = axis.px[index]
    near = NEAR_BORDER_PX + 0.01 * max(photo.width_px, photo.height_px) + more_px
    return bool(x < near or y < near or x > photo.width_px - near or y > photo.height_px - near)


def _stop_on_plane(
    plane: Plane, scale: Scale, candidate: Candidate, profile: Profile, edges: Edges
) -> tuple[float, float] | None:
    """The same from the plane's mask."""
    if not candidate.stop.any():
        return None
    v, u = np.nonzero(candidate.stop)
    spots = scale.to_px(
        plane.to_mm(np.column_stack([u + candidate.offset_px[0], v + candidate.offset_px[1]]).astype(float))
    )
    axis = edges.strip.axis_px
    column = np.array(
        [int(np.argmin(((axis - spot) ** 2).sum(axis=1))) for spot in spots[:: max(len(spots) // 300, 1)]]
    )
    x = profile.x_mm[column]
    low, high = float(np.percentile(x, 1)), float(np.percentile(x, 99))
    return (low, high) if high > 1.0 else None


def _front_by_colour(
    photo: Photo, scale: Scale, plane: Plane, candidate: Candidate, axis: Axis, profile: Profile, height: Height
) -> tuple[Quantity, float] | None:
    """The same from the change of colour beside the shank.

    Beside the shank the face is first met a little early or late by the slant at which it is seen; that is put right.
    """
    if axis.front_index is None or not candidate.handle.any() or at_border(photo, axis, axis.front_index):
        return None
    guess, ppm = axis.front_index, profile.px_per_mm
    shank = _shank_half_mm(profile, guess)
    behind = min(guess + int(0.8 * ppm), len(axis.px) - 1)
    radius = _half_width_mm(scale, plane, candidate, axis.px[behind], normals(axis.px)[behind])
    aside = shank + 0.45 * max(radius - shank, 0.3)
    column = front_column(photo, axis.px, guess, aside * ppm, ppm)
    u_place = 0.22 if column is not None else 0.4  # handles are rounded at the front: their rim is met late
    column = column if column is not None else float(guess)
    here = min(int(column), len(axis.px) - 12)
    z, _ = height.at(1.0)
    shift = rim_shift_mm(scale, axis.px[here], axis.px[here + 10], max(radius, shank), aside, z)
    distance = scale.camera.height_mm
    u = float(np.linalg.norm([0.3 * shift, u_place, shift * distance.u / distance.value]))
    return Quantity(float(np.interp(column, profile.column, profile.x_mm)) + shift, u), column


def _shank_half_mm(profile: Profile, column: int) -> float:
    """Half the shank's width just before the handle; a plausible 0.4 mm only to choose where to look."""
    near = slice(max(column - int(2.5 * profile.px_per_mm), 0), max(column - int(0.5 * profile.px_per_mm), 1))
    width = (profile.upper_mm - profile.lower_mm)[near]
    return float(np.nanmedian(width)) / 2.0 if np.isfinite(width).sum() > 20 else 0.4


def _half_width_mm(scale: Scale, plane: Plane, candidate: Candidate, at_px: Array, normal: Array) -> float:
    """Half the width of the whole thing across the axis at one place, from the plane's mask."""
    reach = np.arange(-3.0, 3.0, 0.04) * scale.px_per_mm_at((float(at_px[0]), float(at_px[1]))).value
    spots = scale.to_plane_mm(at_px + reach[:, None] * normal)
    index = np.rint((spots - [plane.x0_mm, plane.y0_mm]) * plane.px_per_mm - 0.5).astype(int) - candidate.offset_px
    good = ((index >= 0) & (index < candidate.whole.shape[::-1])).all(axis=1)
    hit = candidate.whole[index[good, 1], index[good, 0]]
    return float(hit.sum()) * 0.04 / 2.0
