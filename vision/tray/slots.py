"""Slots of a mat in which something lies, whether it could be read or not: only a slot that shows bare paper and print is empty.

On development mats what is neither covered 66 mm2 and more of a slot with an instrument in it (38 slots), and under 2 mm2 of an
empty one (6 slots).
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.as_printed import clear_of_print, print_light, steepness, unlike_print
from vision.plane import Plane
from vision.scale import Scale

Array = NDArray[np.floating[Any]]
LEAST_MM2 = 10.0
BESIDE_PX, CLEAR_PX = 2, 4  # by which print may lie aside; by which white is clear of it
STEEP = 0.03  # change of light a px that no shadow of an empty slot's neighbours has


def filled_lanes(plane: Plane, relative: Array, scale: Scale) -> tuple[int, ...]:
    """Numbers of the lanes that are seen whole and hold something. ``relative`` (H, W, 3): light over paper's."""
    if scale.sheet is None:
        return ()
    places = {lane.number: _place(plane, scale, (lane.x0_mm, lane.y0_mm, lane.x1_mm, lane.y1_mm)) for lane in scale.sheet.lanes}
    return tuple(number for number, place in places.items() if place is not None and _covered_mm2(plane, relative, place) >= LEAST_MM2)


def _place(plane: Plane, scale: Scale, box_mm: tuple[float, float, float, float]) -> tuple[slice, slice] | None:
    """Where a box of the sheet lies on the plane; None where the photo does not show all of it."""
    corners = np.array(box_mm).reshape(2, 2) * scale.print_scale
    (left, top), (right, bottom) = np.rint((corners - [plane.x0_mm, plane.y0_mm]) * plane.px_per_mm).astype(int)
    height, width = plane.inside.shape
    if left < 0 or top < 0 or right > width or bottom > height:
        return None
    place = slice(top, bottom), slice(left, right)
    return place if plane.inside[place].all() else None


def _covered_mm2(plane: Plane, relative: Array, place: tuple[slice, slice]) -> float:
    printed = np.ascontiguousarray(plane.printed[place], dtype=np.float32)
    light = np.ascontiguousarray(relative[place].mean(axis=2), dtype=np.float32)
    odd = unlike_print(light, *print_light(printed, BESIDE_PX))
    odd |= (steepness(light) > STEEP) & clear_of_print(printed, CLEAR_PX)
    return float(odd.sum()) / plane.px_per_mm**2
