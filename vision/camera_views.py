"""Stage 2k: a lens fit -> which tilts, distances and parts of the frame its photos saw, and what to photograph besides."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.lens import rotation_of
from vision.lens_fit import LensFit

Array = NDArray[np.floating[Any]]
SIDES = {"left": (-1.0, 0.0), "right": (1.0, 0.0), "top": (0.0, -1.0), "bottom": (0.0, 1.0)}
WANTED_TILT_DEG = 15.0  # below it a view of a plane tells little of the focal length (Zhang 2000, from memory)
GRID = (4, 3)  # cells of the frame, columns and rows
LEAST_RANGE = 1.3  # nearest over furthest, to measure how the focal length grows
WAVY_PX = 0.3


@dataclass(frozen=True)
class Seen:
    """``tilts_deg`` (V, 2): the page's lean toward right and bottom of the sensor in each view; ``cells`` (3, 4): saddles."""

    tilts_deg: Array
    cells: NDArray[np.int_]
    scales: Array


def what_was_seen(fit: LensFit, size_px: tuple[int, int]) -> Seen:
    """Tilts, frame cells and distances of the photos; ``size_px``: width and height on the sensor."""
    tilts = []
    for pose in fit.poses:
        normal = rotation_of(pose)[:, 2] * np.sign(rotation_of(pose)[2, 2])
        lean = float(np.degrees(np.arccos(np.clip(normal[2], -1.0, 1.0))))
        way = normal[:2] / max(float(np.hypot(*normal[:2])), 1e-9)
        tilts.append(lean * way)
    places = np.concatenate([view.offset_px for view in fit.views]) + np.asarray(size_px) / 2.0
    edges = [np.linspace(0.0, size, count + 1) for size, count in zip(size_px, GRID, strict=True)]
    cells = np.histogram2d(places[:, 0], places[:, 1], bins=edges)[0].T.astype(int)
    return Seen(np.array(tilts), cells, np.array([view.px_per_mm for view in fit.views]))


def advice(fit: LensFit, seen: Seen) -> tuple[str, ...]:
    """What is missing, one sentence each, with what it costs."""
    lines = []
    for side, way in SIDES.items():
        most = float((seen.tilts_deg @ np.asarray(way)).max())
        if most < WANTED_TILT_DEG:
            lines.append(
                f"no view tilted by {WANTED_TILT_DEG:.0f} deg or more to the {side} (at most {max(most, 0.0):.0f}): the focal "
                "length and the lens's centre rest on the other views; add one"
            )
    if (ratio := float(seen.scales.max() / seen.scales.min())) < LEAST_RANGE:
        lines.append(
            f"nearest and furthest view differ by a factor of {ratio:.2f}, {LEAST_RANGE} wanted: how the focal length changes "
            f"with focus is assumed, not measured, and counts away from {fit.at_px_per_mm:.0f} px/mm; add views from nearer and "
            "further"
        )
    empty = int((seen.cells < 3).sum())
    if empty:
        lines.append(
            f"{empty} of {seen.cells.size} parts of the frame show fewer than 3 corners: the lens's distortion is carried "
            "over to them; bring the sheet's ribbons there"
        )
    if abs(fit.ripple_px.value) > max(3.0 * fit.ripple_px.u, 0.1):
        lines.append(
            f"the residuals leave {fit.ripple_px.value:+.2f} px (u {fit.ripple_px.u:.2f}) in the picture's corner that one "
            "radial term does not explain: keep instruments away from the corners"
        )
    if fit.noise_px > WAVY_PX:
        lines.append(
            f"corners miss by {fit.noise_px:.2f} px where {WAVY_PX} or less is usual: the sheet is not flat or the photos are "
            "not sharp; press it on a board and photograph again"
        )
    return tuple(lines)
