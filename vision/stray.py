"""Stage 8g: two lines on one metal, each from a handle of its own -> which of them strayed onto the other's shaft.

Where shafts cross at a narrow angle a line may leave its own for the other. A shaft leaves its handle along the handle's own axis, so
a handle lies on the straight line through its shaft, and so does a stop; the handle of a line that strayed lies aside of it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.distance import cdist

from vision.axis import Axis
from vision.instrument import OWN_LINE_MM
from vision.scale import Scale
from vision.shafts import STRAYED_MM, aside
from vision.twice import NEAR_MM, on_one_metal, shared
from vision.unread import SHORTEST_MM, HandleSeen

Array = NDArray[np.floating[Any]]
EVERY_MM, LEFT_MM = 0.3, 5.0  # of an axis looked at; so much of it along another one's line, more than at a crossing, and it strayed
ASKEW_DEG, LEAST_HALF_MM = 10.0, 4.0  # a shaft leaves its handle along its axis; half of a handle that shows nearly whole


def strayed(axes_px: Sequence[Array], handles: Sequence[HandleSeen], scale: Scale, px_per_mm: float) -> list[bool]:
    """Whether each axis (N, 2), over its metal as seen, strayed onto the metal of another one whose handle stands apart."""
    astray = [False] * len(axes_px)
    near_px = NEAR_MM * px_per_mm
    for k, own in enumerate(handles):
        for j, other in enumerate(handles[:k]):
            if own.middle_mm is None or other.middle_mm is None or own.near(other):
                continue
            if on_one_metal(axes_px[k], axes_px[j], near_px):
                stretch = scale.to_plane_mm(shared(axes_px[k], axes_px[j], near_px))
                farther = aside(own.middle_mm, stretch) - aside(other.middle_mm, stretch)
                astray[k] |= farther >= STRAYED_MM
                astray[j] |= -farther >= STRAYED_MM
    return astray


def beside_own_line(axes_px: Sequence[Array], found_px: Sequence[Array], px_per_mm: float) -> list[bool]:
    """Whether each axis (N, 2), over its metal as seen, left the line that finding followed for it and runs along another one's.

    A strip shows all that lies beside its line: near a crossing the neighbour may look the likelier metal.
    """
    out = []
    for k, axis in enumerate(axes_px):
        spots = axis[:: round(EVERY_MM * px_per_mm)]
        left = spots[_gaps(spots, found_px[k]) > OWN_LINE_MM * px_per_mm]
        most = max((int((_gaps(left, other) < NEAR_MM * px_per_mm).sum()) for j, other in enumerate(found_px) if j != k), default=0)
        out.append(len(found_px[k]) > 0 and most * EVERY_MM >= LEFT_MM)
    return out


def _gaps(spots: Array, line: Array) -> Array:
    """Distance of each spot from the nearest point of a line."""
    return np.asarray(cdist(spots, line).min(axis=1)) if len(spots) and len(line) else np.full(len(spots), np.inf)


def leaves_askew(axis: Axis, handle: HandleSeen, scale: Scale) -> bool:
    """Whether a line runs elsewhere than the axis of its handle, which is seen nearly whole: then it is not that of its shaft."""
    if handle.half_mm is None or float(np.linalg.norm(handle.half_mm)) < LEAST_HALF_MM:
        return False
    line = scale.to_plane_mm(np.asarray(axis.px)[axis.tip_index or 0 : axis.front_index])
    if len(line) < 2:
        return False
    way = line[0] - line[-1]
    cosine = abs(float(way @ handle.half_mm)) / max(float(np.linalg.norm(way) * np.linalg.norm(handle.half_mm)), 1e-9)
    return bool(cosine < np.cos(np.radians(ASKEW_DEG)))


def along_handle(axis: Axis, handle: HandleSeen, scale: Scale) -> Axis:
    """In place of a line that strayed, the shortest standard length straight ahead of its handle: where it lies, and no measure."""
    if handle.middle_mm is None or handle.half_mm is None:
        return axis
    line = scale.to_plane_mm(np.asarray(axis.px))
    half = handle.half_mm if (line.mean(axis=0) - handle.middle_mm) @ handle.half_mm > 0.0 else -handle.half_mm
    front = handle.middle_mm + half
    ahead = SHORTEST_MM * half / max(float(np.linalg.norm(half)), 1e-9)
    last, first = scale.to_px(np.array([front, front + ahead]))
    count = max(round(float(np.linalg.norm(last - first))), 2)
    return replace(axis, px=np.linspace(first, last, count), tip_index=0, front_index=count - 1)
