"""Look, Look -> did the camera hold still between them, and was the instrument left where it lay?"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.live.look import Look
from vision.scale import project

Array = NDArray[np.floating[Any]]
STILL_SHARE = 0.0025  # of the frame's width from one frame to the next: 3 px of 1280; markers alone scatter by 1
MOVED_MM, TURNED_DEG = 1.5, 3.0  # on the sheet, with the camera still: nobody's hand leaves an instrument in place so well


def held_still(before: Look, now: Look) -> bool | None:
    """Tell whether sheet and tip stayed where they were in the frame; None where either frame shows no sheet."""
    if before.homography is None or now.homography is None or before.width_px != now.width_px:
        return None
    corners = np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0], [1.0, 1.0]]) * [now.width_px - 1.0, now.height_px - 1.0]
    page = project(np.linalg.inv(_matrix(before)), corners)
    way = float(np.linalg.norm(project(_matrix(now), page) - corners, axis=1).max())
    if before.axis_px and now.axis_px:
        way = max(way, float(np.linalg.norm(np.subtract(before.axis_px[0], now.axis_px[0]))))
    return way <= STILL_SHARE * now.width_px


def touched(before: Look, now: Look) -> bool:
    """Tell whether the instrument was taken up or moved since: it is gone, or lies elsewhere on the sheet."""
    if now.homography is None or not before.axis_px:
        return False  # the camera may just look away
    if not now.axis_px:
        return True
    old, new = _on_page(before), _on_page(now)
    ways = [(line[-1] - line[0]) / max(float(np.linalg.norm(line[-1] - line[0])), 1e-6) for line in (old, new)]
    turn = float(np.degrees(np.arccos(np.clip(ways[0] @ ways[1], -1.0, 1.0))))
    return turn > TURNED_DEG or float(np.linalg.norm(old[0] - new[0])) > MOVED_MM


def seen_across_deg(first: Look, now: Look) -> float | None:
    """By how many degrees the camera went round the instrument's axis since the first photo; None where that is not seen.

    An angle, not a way in mm: of a lens that nobody named, a view turned back to the instrument tells the angle, however long it is.
    """
    if len(first.axis_px) < 2:
        return None
    line = _on_page(first)
    along = (line[-1] - line[0]) / np.linalg.norm(line[-1] - line[0])
    angles = [_aside_deg(one, line.mean(axis=0), np.array([-along[1], along[0]])) for one in (first, now)]
    return None if angles[0] is None or angles[1] is None else abs(angles[1] - angles[0])


def _aside_deg(look: Look, place_mm: Array, across: Array) -> float | None:
    """The angle across the instrument under which a camera sees this place of the sheet."""
    if look.foot_mm is None or look.camera_mm is None:
        return None
    return float(np.degrees(np.arctan2(float((np.asarray(look.foot_mm) - place_mm) @ across), look.camera_mm)))


def _on_page(look: Look) -> Array:
    return project(np.linalg.inv(_matrix(look)), np.array(look.axis_px))


def _matrix(look: Look) -> Array:
    return np.array(look.homography, dtype=float).reshape(3, 3)
