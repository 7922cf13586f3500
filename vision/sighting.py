"""Stage 6k: Scale, outline's mid line -> Sighting. What one photo knows of where the axis lies in space.

Each photo knows its own camera from the sheet, so a point seen at q on the sheet's plane lies on the line from the camera
(foot F, height Z) to q; at height z it is over F + (q - F)(1 - z/Z).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.camera import stand
from vision.focal import FULL_FRAME_MM
from vision.scale import Camera, Scale

Array = NDArray[np.floating[Any]]
LINE_U_PX = 0.3  # how far light from one side may pull the mid line, by one edge read thinner than the other
SHEET_U_MM = 0.01  # how far paper that is not quite flat moves what lies on it, seen from another place
START_F35_MM = 35.0
SETTLED = 1e-12  # of a focal length, by which it changes in the last step
LONG_SIDE = round(FULL_FRAME_MM)  # with it, f35 in mm is the focal length in px


@dataclass(frozen=True)
class Sighting:
    """Mid line (N, 2), tip and handle front on the sheet's plane (page mm), and the camera that saw them.

    ``u_line_mm`` is the standard uncertainty of the whole line across the axis, ``u_tip_mm`` that of the tip along it.
    ``tip_mm`` and ``front_mm`` are None when out of the frame.
    """

    foot_mm: tuple[float, float]
    height_mm: float
    line_mm: Array
    u_line_mm: float
    tip_mm: Array | None
    u_tip_mm: float
    front_mm: Array | None

    def under(self, points_mm: Array, z_mm: Array | float) -> Array:
        """Where points (N, 2) seen on the sheet's plane really are, if they lie at a height."""
        foot = np.asarray(self.foot_mm)
        return np.asarray(foot + (points_mm - foot) * (1.0 - np.asarray(z_mm) / self.height_mm)[..., None])


@dataclass(frozen=True)
class AxisPx:
    """The same in px of the photo, as the edges were found."""

    line: Array
    tip: Array | None
    u_tip: float
    front: Array | None
    px_per_mm: float


def sight(scale: Scale, seen: AxisPx, camera: Camera | None = None) -> Sighting:
    """Map what was seen to the sheet's plane; ``camera`` replaces the scale's own where its place is varied."""
    camera = camera or scale.camera
    ends = [None if end is None else scale.to_plane_mm(end[None, :])[0] for end in (seen.tip, seen.front)]
    u_line, u_tip = (float(np.hypot(u_px / seen.px_per_mm, SHEET_U_MM)) for u_px in (LINE_U_PX, seen.u_tip))
    line = scale.to_plane_mm(seen.line)
    return Sighting(camera.foot_mm, camera.height_mm.value, line, u_line, ends[0], u_tip, ends[1])


def mid_line(axis_px: Array, normal: Array, middle_px: Array, use: NDArray[np.bool_], window_px: float) -> Array:
    """Points of the mid line (N, 2) px, every half window: means of ``middle_px``, the offset from the strip's axis.

    ``window_px`` is one pitch where there are flutes: over a whole pitch the swings of both edges even out.
    """
    window = max(round(window_px), 3)
    good = use & np.isfinite(middle_px)
    spots = []
    for start in range(0, len(middle_px) - window, max(window // 2, 1)):
        part = start + np.flatnonzero(good[start : start + window])
        if len(part) > 0.8 * window:
            offset = middle_px[part]
            kept = part[np.abs(offset - np.median(offset)) <= 4.0 * np.median(np.abs(offset - np.median(offset))) + 1.0]
            spots.append(axis_px[kept].mean(axis=0) + middle_px[kept].mean() * normal[kept].mean(axis=0))
    return np.array(spots).reshape(-1, 2)


def variants(scale: Scale, seen: AxisPx) -> Iterator[tuple[str, Sighting]]:
    """One sighting for each standard uncertainty of this photo's own mapping: the nine directions of its covariance.

    Along each the homography and the camera that follows from it are moved together by one standard uncertainty.
    """
    start = np.append(scale.homography.ravel()[:8], scale.k1)
    units = np.sqrt(np.maximum(np.diag(scale.covariance), 0.0))
    safe = np.where(units > 0.0, units, 1.0)
    values, vectors = np.linalg.eigh(scale.covariance / np.outer(safe, safe))
    restand = _stander(scale)
    for value, vector in zip(values, vectors.T, strict=True):
        if value > 0.0 and units.any():
            moved = start + np.sqrt(value) * vector * units
            matrix = np.append(moved[:8], 1.0).reshape(3, 3)
            other = replace(scale, homography=matrix, k1=float(moved[8]))
            yield "mapping", sight(other, seen, restand(matrix, 1.0))


def refocused(scale: Scale, seen: AxisPx) -> Sighting:
    """The sighting with the focal length one standard uncertainty longer, which moves camera height and foot point."""
    relative = scale.camera.height_mm.u / scale.camera.height_mm.value
    return sight(scale, seen, _stander(scale)(scale.homography, 1.0 + relative))


def _stander(scale: Scale) -> Callable[[Array, float], Camera]:
    """Place the camera anew from another homography, with a factor on the focal length that this scale's camera implies."""
    f = focal_px(scale)
    return lambda matrix, factor: stand(matrix, scale.centre_px, LONG_SIDE, f * factor)


def focal_px(scale: Scale) -> float:
    """Return the focal length that this scale's camera implies, px."""
    f = START_F35_MM
    for _ in range(30):  # height grows evenly with the focal length in a nearly square-on view
        share = scale.camera.height_mm.value / stand(scale.homography, scale.centre_px, LONG_SIDE, f).height_mm.value
        f *= share
        if abs(share - 1.0) < SETTLED:
            break
    return f
