"""Pinhole cameras over the sheet's plane and a known axis in space, for tests of several photos: no rendering.

Projection is OpenCV's own, so that it shares nothing with the code under test. Page x right, y down; a height h is z = -h.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from vision.camera import stand
from vision.scale import Scale
from vision.sighting import AxisPx

WIDTH_PX, HEIGHT_PX = 4000, 3000
CENTRE_PX = ((WIDTH_PX - 1) / 2.0, (HEIGHT_PX - 1) / 2.0)
TIP_MM = np.array([60.0, 80.0])
LENGTH_MM = 25.0
LINE_U_PX = 0.15  # noise of one point of a mid line


@dataclass(frozen=True)
class Camera:
    """A camera over a point of the page; it leans so that it looks at the instrument's middle by ``aim`` of the way."""

    over_mm: np.ndarray
    height_mm: float
    f35_mm: float = 26.0
    aim: float = 0.5

    @property
    def matrix(self) -> np.ndarray:
        f = WIDTH_PX * self.f35_mm / 36.0
        return np.array([[f, 0, CENTRE_PX[0]], [0, f, CENTRE_PX[1]], [0, 0, 1.0]])

    @property
    def pose(self) -> tuple[np.ndarray, np.ndarray]:
        """Rotation and shift in OpenCV's sense."""
        place = np.array([*self.over_mm, -self.height_mm])
        middle = np.array([TIP_MM[0] + LENGTH_MM / 2, TIP_MM[1], 0.0])
        target = np.array([*self.over_mm, 0.0]) + self.aim * (middle - [*self.over_mm, 0.0])
        forward = (target - place) / np.linalg.norm(target - place)
        right = np.array([1.0, 0.0, 0.0]) - forward[0] * forward
        right /= np.linalg.norm(right)
        rotation = np.stack([right, np.cross(forward, right), forward])
        return rotation, -rotation @ place

    @property
    def projection(self) -> np.ndarray:
        rotation, shift = self.pose
        return self.matrix @ np.column_stack([rotation, shift])

    def px(self, points: np.ndarray) -> np.ndarray:
        """Pixels of (N, 3) points x, y, height."""
        rotation, shift = self.pose
        flipped = np.ascontiguousarray(points * [1.0, 1.0, -1.0])
        seen, _ = cv2.projectPoints(flipped, cv2.Rodrigues(rotation)[0], shift, self.matrix, None)
        return seen.reshape(-1, 2)

    def scale(self, rng: np.random.Generator | None = None, *, believed_f35_mm: float | None = None, u_px: float = 0.05) -> Scale:
        """What a fit to the sheet finds: a homography through 60 corners, with noise and its covariance when ``rng`` is given."""
        page = np.array([[x, y, 0.0] for x in np.linspace(52, 93, 10) for y in (68.0, 71.0, 74.0, 86.0, 89.0, 92.0)])
        seen = self.px(page)
        if rng is not None:
            seen = seen + rng.normal(0.0, u_px, seen.shape)
        homography, _ = cv2.findHomography(page[:, :2], seen)
        homography /= homography[2, 2]
        covariance = np.zeros((9, 9))
        if rng is not None:
            covariance[:8, :8] = _covariance(homography, page[:, :2], u_px)
        camera = stand(homography, CENTRE_PX, WIDTH_PX, believed_f35_mm or self.f35_mm)
        return Scale(homography, 0.0, CENTRE_PX, 2500.0, covariance, (0.0, 0.0), True, None, (1.0, 1.0), camera, 0.05, page[:, :2])


def _covariance(homography: np.ndarray, page: np.ndarray, u_px: float) -> np.ndarray:
    """Of the eight entries, by Gauss-Newton at the solution."""
    start = homography.ravel()[:8]

    def seen(p: np.ndarray) -> np.ndarray:
        flat = np.column_stack([page, np.ones(len(page))]) @ np.append(p, 1.0).reshape(3, 3).T
        return (flat[:, :2] / flat[:, 2:]).ravel()

    steps = 1e-6 * np.maximum(np.abs(start), 1e-6)
    jacobian = np.column_stack([(seen(start + np.eye(8)[k] * s) - seen(start - np.eye(8)[k] * s)) / (2 * s) for k, s in enumerate(steps)])
    unit = np.linalg.norm(jacobian, axis=0)
    return np.linalg.inv((jacobian / unit).T @ (jacobian / unit)) / np.outer(unit, unit) * u_px**2


def axis_points(share: np.ndarray, tip_z: float, front_z: float, *, sag: float = 0.0, bow: float = 0.0) -> np.ndarray:
    """(N, 3) points x, y, height of an axis along page x that may sag out of the plane and bow within it."""
    arc = 4.0 * share * (1.0 - share)
    z = tip_z + (front_z - tip_z) * share + sag * arc
    return np.column_stack([TIP_MM[0] + LENGTH_MM * share, TIP_MM[1] + bow * arc, z])


def look(
    camera: Camera,
    ends: tuple[float, float],
    rng: np.random.Generator | None = None,
    *,
    shift: tuple[float, float] = (0.0, 0.0),
    **shape: float,
) -> AxisPx:
    """Mid line, tip and front as one camera sees them; ``shift`` moves the instrument on the sheet (mm along, across)."""
    move = np.array([*shift, 0.0])
    line = camera.px(axis_points(np.linspace(0.03, 0.97, 80), *ends, **shape) + move)
    tip, front = camera.px(axis_points(np.array([0.0, 1.0]), *ends, **shape) + move)
    ppm = camera.matrix[0, 0] / camera.height_mm
    if rng is not None:
        line = line + rng.normal(0.0, LINE_U_PX, line.shape)
        # One edge read thinner than the other, and paper not quite flat (10 um), both drifting along the instrument.
        pull = rng.normal(0.0, np.hypot(0.3, 0.01 * ppm), 2)
        line[:, 1] += np.linspace(pull[0], pull[1], len(line))
        tip = tip + rng.normal(0.0, np.hypot(0.9, 0.01 * ppm), 2)
    return AxisPx(line, tip, 0.9, front, ppm)


def across(height_mm: float, share: float, aim: float = 0.5, along_mm: float = 0.0) -> Camera:
    """A camera ``share`` of its height to the side of the instrument's middle."""
    middle = TIP_MM + [LENGTH_MM / 2 + along_mm, 0.0]
    return Camera(middle + [0.0, share * height_mm], height_mm, aim=aim)
