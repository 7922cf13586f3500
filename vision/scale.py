"""Stage 2 of 9: Photo -> Scale. The printed sheet's markers and saddles give the mapping between px and mm.

``Scale`` is the only home of the px-to-mm mapping: everything before ``dimensions`` works in px.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from calib.sheet import Sheet
from vision.quantity import Quantity

Array = NDArray[np.floating[Any]]


@dataclass(frozen=True)
class GivenScale:
    """A scale that the user states for a fixed set-up: px per mm at the instrument with its standard uncertainty."""

    px_per_mm: float
    u: float


@dataclass(frozen=True)
class Camera:
    """Where the camera stood: foot point on the sheet (page mm), height above it, tilt of the view.

    ``height_known`` is False when no focal length was recorded: then ``height_mm`` is a broad expectation that serves
    only to carry uncertainty, and is not reported.
    """

    foot_mm: tuple[float, float]
    height_mm: Quantity
    tilt_deg: float
    height_known: bool


@dataclass(frozen=True)
class Scale:
    """Mapping between px of the upright photo and mm on the sheet's plane, with what limits it.

    ``homography`` maps page mm to ideal px; the lens then moves a point radially about ``centre_px`` by the factor
    1 + k1 r^2, r in units of ``radius_px``. ``covariance`` is that of the eight entries of the homography (h33 = 1)
    and k1. Page mm are true mm: the print's measured stretch is already applied. ``saddles_mm``, ``saddles_px`` (N, 2): the
    corners used. ``profile``: the camera profile in force; ``profile_refused``: why one that seemed to apply does not.
    ``print_u``: relative, across and along; it carries a sheet that is not flat or printed unequally too, and ``warnings`` say so.
    ``smoothed_px``: what smoothing by software leaves in doubt of an outline (`vision.rounded`).
    """

    homography: Array
    k1: float
    centre_px: tuple[float, float]
    radius_px: float
    covariance: Array
    print_u: tuple[float, float]
    print_checked: bool | None
    sheet: Sheet | None
    print_scale: tuple[float, float]
    camera: Camera
    residual_px: float
    saddles_mm: Array
    saddles_px: Array = field(default_factory=lambda: np.empty((0, 2)))
    profile: str | None = None
    profile_refused: str | None = None
    warnings: tuple[str, ...] = ()
    smoothed_px: float = 0.0

    @property
    def source(self) -> Literal["sheet", "given"]:
        """Return 'sheet', or 'given' when the user stated the scale."""
        return "given" if self.sheet is None else "sheet"

    def to_px(self, points_mm: Array) -> Array:
        """Map (N, 2) page mm on the sheet's plane to (N, 2) px."""
        return distort(project(self.homography, points_mm), self.k1, self.centre_px, self.radius_px)

    def to_plane_mm(self, points_px: Array) -> Array:
        """Map (N, 2) px to (N, 2) page mm where the line of sight meets the sheet's plane."""
        ideal = undistort(points_px, self.k1, self.centre_px, self.radius_px)
        return project(np.linalg.inv(self.homography), ideal)

    def px_per_mm_at(self, point_px: tuple[float, float]) -> Quantity:
        """Return the mean local scale (root of the area ratio) at a point, with the uncertainty of fit and print."""
        at = self.to_plane_mm(np.array([point_px], dtype=float))[0]
        scale = _area_scale(self, at)
        parameters = np.append(self.homography.ravel()[:8], self.k1)
        slopes = np.empty(9)
        for i in range(9):
            step = 1e-6 * max(abs(parameters[i]), 1e-6)
            moved = parameters.copy()
            moved[i] += step
            slopes[i] = (_area_scale(self._with(moved), at) - scale) / step
        fit = float(slopes @ self.covariance @ slopes) ** 0.5
        paper = scale * (self.print_u[0] + self.print_u[1]) / 2.0  # a printer's two errors may well share a cause
        return Quantity(scale, float(np.hypot(fit, paper)), (("marker fit", fit), ("print scale", paper)))

    def _with(self, parameters: Array) -> Scale:
        return replace(self, homography=np.append(parameters[:8], 1.0).reshape(3, 3), k1=float(parameters[8]))


def project(matrix: Array, points: Array) -> Array:
    """Apply a 3 x 3 homography to (N, 2) points."""
    flat = np.column_stack([points, np.ones(len(points))]) @ matrix.T
    return np.asarray(flat[:, :2] / flat[:, 2:])


def distort(points_px: Array, k1: float, centre_px: tuple[float, float], radius_px: float) -> Array:
    """Move ideal (N, 2) px radially by 1 + k1 r^2 (r in units of ``radius_px`` about ``centre_px``)."""
    offset = (points_px - centre_px) / radius_px
    return np.asarray(points_px + (points_px - centre_px) * (k1 * (offset**2).sum(axis=1))[:, None])


def undistort(points_px: Array, k1: float, centre_px: tuple[float, float], radius_px: float) -> Array:
    """Invert ``distort`` by fixed-point iteration; converges for the |k1| < 0.2 that ``fit`` admits."""
    ideal = points_px.astype(float)
    for _ in range(8 if k1 else 0):
        offset = (ideal - centre_px) / radius_px
        factor = 1.0 + k1 * (offset**2).sum(axis=1)
        ideal = np.asarray(centre_px) + (points_px - centre_px) / factor[:, None]
    return ideal


def _area_scale(scale: Scale, at_mm: Array) -> float:
    step = 0.05
    around = at_mm + step * np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]])
    corners = scale.to_px(around)
    jacobian = np.column_stack([corners[1] - corners[0], corners[2] - corners[0]]) / step
    return float(np.sqrt(abs(np.linalg.det(jacobian))))
