"""Stage 6d: Edges, Scale, Height -> Profile. The one crossing from px to mm.

A point at height z above the sheet is seen where its line of sight meets the sheet: z/(Z - z) too far out from the
camera's foot point. Moving it back by the factor 1 - z/Z about the foot gives its true place.

A round wire seen at a slant across its axis shows more than its width on that level: its two lines of sight touch it at
r from the axis, at right angles to the view, and so meet the level r / cos(a) from it, tan(a) = distance across from the
camera's foot over Z - z. Heights are multiplied by cos(a); what is left is of second order in r / (Z - z).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.edge_lines import Edges
from vision.pose import Height
from vision.scale import Scale

Array = NDArray[np.floating[Any]]


@dataclass(frozen=True)
class Profile:
    """Both outlines in mm: x along the axis from the tip, heights signed from the axis (upper positive), NaN if unseen.

    ``column`` (N,) maps each station back to the strip's column. ``magnification_u`` is the relative standard uncertainty
    of every width from height, distance and slant; ``px_per_mm`` the mean local scale at the instrument's height.
    ``outer_mm`` are the outermost steps above and below, where barbs and dirt stand out. ``trust`` (2, N), 0 to 1, is how much
    less than usual each point of the two edges deserves to weigh in a fit, by the network's own spread; ``spread_mm`` (2, N) is
    that spread, 0 without the network.
    """

    x_mm: Array
    upper_mm: Array
    lower_mm: Array
    column: NDArray[np.int_]
    px_per_mm: float
    magnification_u: float
    outer_mm: tuple[Array, Array]
    trust: Array
    spread_mm: Array

    def column_at(self, x_mm: float) -> float:
        """Strip column (with fraction) at a station."""
        return float(np.interp(x_mm, self.x_mm, self.column.astype(float)))


def to_profile(edges: Edges, scale: Scale, height: Height, tip_column: float, front_column: float) -> Profile:
    """Turn both outlines to mm, x = 0 at ``tip_column``; the height runs linearly from tip to handle front, or sags."""
    count = len(edges.upper_px)
    columns = np.arange(count)
    share = np.clip((columns - tip_column) / max(front_column - tip_column, 1.0), -0.1, 1.1)
    z = height.tip_mm + (height.handle_mm - height.tip_mm) * share
    z = z + 4.0 * height.sag_mm * share * (1.0 - share)
    axis = _lifted(scale, edges.strip.axis_px, z)
    steps = np.hypot(np.linalg.norm(np.diff(axis, axis=0), axis=1), np.diff(z))
    along = np.concatenate([[0.0], np.cumsum(steps)])
    x = along - np.interp(tip_column, columns, along)
    tangent = np.gradient(axis, axis=0)
    tangent /= np.linalg.norm(tangent, axis=1, keepdims=True)
    normal = np.column_stack([-tangent[:, 1], tangent[:, 0]])
    upright = _upright(scale, axis, normal, z)

    def height_mm(offset_px: Array) -> Array:
        place = _lifted(scale, edges.strip.axis_px + np.nan_to_num(offset_px)[:, None] * edges.strip.normal, z)
        return np.where(np.isfinite(offset_px), ((place - axis) * normal).sum(axis=1) * upright, np.nan)

    above, below = height_mm(edges.upper_px), height_mm(edges.lower_px)
    outer = (height_mm(edges.outer_px[0]), height_mm(edges.outer_px[1])) if edges.outer_px.size else (above, below)
    middle, u_middle = height.at(0.4)
    distance = scale.camera.height_mm
    far_u = distance.u / distance.value
    slant = float(1.0 - np.median(upright) ** 2)  # goes as the square of the focal length, or of one over it where the camera slid
    magnification_u = float(np.linalg.norm([u_middle / distance.value, middle / distance.value * far_u, slant * far_u]))
    px_per_mm = 1.0 / float(np.median(steps))
    spread_mm = (edges.u_px if edges.u_px.size else np.zeros((2, len(x)))) / px_per_mm
    return Profile(x, above, below, columns, px_per_mm, magnification_u, outer, _trust(edges), spread_mm)


def _trust(edges: Edges) -> Array:
    """Weight of every edge point: 1 up to the usual spread, falling with its inverse beyond."""
    if not edges.u_px.size:
        return np.ones((2, len(edges.upper_px)))
    seen = np.isfinite(edges.upper_px)
    usual = float(np.median(edges.u_px[:, seen])) if seen.any() else 1.0
    return np.asarray(np.clip(usual / np.maximum(edges.u_px, 1e-3), 0.05, 1.0))


def _lifted(scale: Scale, points_px: Array, z_mm: Array) -> Array:
    plane = scale.to_plane_mm(points_px)
    foot = np.asarray(scale.camera.foot_mm)
    return np.asarray(foot + (plane - foot) * (1.0 - z_mm / scale.camera.height_mm.value)[:, None])


def _upright(scale: Scale, axis_mm: Array, normal: Array, z_mm: Array) -> Array:
    """Cosine of the slant, across the axis, at which every station is seen."""
    across = ((axis_mm - np.asarray(scale.camera.foot_mm)) * normal).sum(axis=1)
    return np.asarray(1.0 / np.hypot(1.0, across / (scale.camera.height_mm.value - z_mm)))


def rim_shift_mm(scale: Scale, at_px: Array, toward_px: Array, radius_mm: float, seen_from_mm: float, z_mm: float) -> float:
    """How much too near the tip a disc standing across the axis (handle front, stop) is first seen.

    Seen at a slant, a disc shows an ellipse, and its nearer rim is met first: at half width ``seen_from_mm`` that is
    r cos(b) D / (Z - z) before its middle, sin(b) = half width over r, D the distance along the axis from the camera's foot.
    ``at_px``, ``toward_px``: the disc's place and a point further along the axis.
    """
    here, there = scale.to_plane_mm(np.stack([at_px, toward_px]))
    along = (there - here) / max(float(np.linalg.norm(there - here)), 1e-9)
    away = abs(float((here - np.asarray(scale.camera.foot_mm)) @ along))
    lean = float(np.sqrt(max(1.0 - min(seen_from_mm / max(radius_mm, 1e-6), 1.0) ** 2, 0.0)))
    near = 1.0 - z_mm / scale.camera.height_mm.value  # the distance is seen magnified by 1 / near
    return radius_mm * lean * away * near / max(scale.camera.height_mm.value - z_mm, 1.0)
