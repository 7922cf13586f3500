"""Stage 2i: Scale with the saddles of one photo + camera profile -> Scale that knows its camera, or why it does not fit.

The photo's own pose is fitted with the profile's lens held as far as its uncertainty holds it. Then the focal length, and
with it the camera's height, is known to a fraction of a per cent instead of the record's 4 %.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares
from scipy.special import chdtri

from vision.camera_profile import CameraProfile, difference, key_of
from vision.exif import CameraInfo
from vision.lens import View, clumping, pose_of, rotation_of, seen_at, turn_upright
from vision.quantity import combined
from vision.scale import Camera, Scale

Array = NDArray[np.floating[Any]]
REFUSED_BELOW = 0.001  # probability that a fitting profile is refused; our own choice
LENS, POSE, SQUEEZE = slice(0, 4), slice(4, 10), 10
EXTRA = 3  # the free fit has nine parameters, a camera that is known only its pose: six
MOST = 400


@dataclass(frozen=True)
class Refused:
    """A profile that does not fit this photo, and why, in one sentence."""

    why: str


def saddle_view(scale: Scale, info: CameraInfo, name: str) -> View:
    """The saddles of a photo in the sensor's own frame, with the free fit that found them."""
    back = turn_upright(info.orientation).T
    offset = (scale.saddles_px - np.asarray(scale.centre_px)) @ back.T
    centre = np.array([[1.0, 0.0, -scale.centre_px[0]], [0.0, 1.0, -scale.centre_px[1]], [0.0, 0.0, 1.0]])
    turned = np.block([[back, np.zeros((2, 1))], [np.zeros((1, 2)), np.ones((1, 1))]]) @ centre @ scale.homography
    middle = scale.px_per_mm_at(scale.centre_px).value
    return View(name, scale.saddles_mm, offset, middle, turned, scale.residual_px)


def with_profile(scale: Scale, info: CameraInfo, size_px: tuple[int, int], profile: CameraProfile) -> Scale | Refused:
    """Fit the photo with the profile's lens. ``size_px``: width and height of the upright photo."""
    unlike = difference(profile.key, key_of(info, *size_px))
    if unlike is not None:
        return Refused(f"camera profile '{profile.name}' is not used: {unlike}: calibrate this setting too")
    view = saddle_view(scale, info, profile.name)
    lens, lens_cov = _lens_here(profile, view, info, size_px)
    keep = _inliers(scale, view)
    if keep.sum() < 8:
        return Refused(
            f"camera profile '{profile.name}' is not used: {int(keep.sum())} checkerboard corners are in view, needs 8: "
            "show more of the sheet"
        )
    fit = _fit(scale, view, keep, lens, lens_cov)
    limit = float(chdtri(EXTRA, REFUSED_BELOW))
    if fit.excess > limit:
        return Refused(
            f"camera profile '{profile.name}' does not fit the checkerboard corners of this photo: chi-square {fit.excess:.1f} "
            f"for {EXTRA} degrees of freedom, {limit:.1f} at most: same lens, zoom and focus as in the profile? Sheet flat? "
            "Else calibrate again"
        )
    return _rebuilt(scale, info, profile, fit)


@dataclass(frozen=True)
class _Constrained:
    values: Array
    covariance: Array
    excess: float


def _lens_here(profile: CameraProfile, view: View, info: CameraInfo, size_px: tuple[int, int]) -> tuple[Array, Array]:
    """The profile's lens at this photo's scale; where the sensor's frame is not known, the principal point is unsure."""
    lens, covariance = profile.lens_at(view.px_per_mm)
    on_sensor = np.abs(turn_upright(info.orientation).T @ np.asarray(size_px, dtype=float))
    if bool(on_sensor[0] >= on_sensor[1]) != profile.landscape:
        aside = float(np.hypot(lens[1], lens[2]))
        covariance = covariance + np.diag([0.0, aside**2, aside**2, 0.0])
        lens = np.array([lens[0], 0.0, 0.0, lens[3]])
    return lens, covariance


def _inliers(scale: Scale, view: View) -> NDArray[np.bool_]:
    miss = scale.to_px(view.mm) - scale.saddles_px
    good = np.hypot(*miss.T) < 5.0 * max(scale.residual_px, 0.02)
    step = max(int(good.sum()) // MOST, 1)
    chosen = np.flatnonzero(good)[::step]
    return np.asarray(np.isin(np.arange(len(good)), chosen))


def _fit(scale: Scale, view: View, keep: NDArray[np.bool_], lens: Array, lens_cov: Array) -> _Constrained:
    mm, px = view.mm[keep], view.offset_px[keep]
    free = scale.to_px(mm) - scale.saddles_px[keep]
    noise = max(float(np.sqrt((free**2).sum() / max(2 * len(mm) - 9, 1))), 0.01)
    noise *= clumping(free, mm) ** 0.5
    pull = np.linalg.cholesky(np.linalg.inv(lens_cov)).T
    squeeze_u = float(np.hypot(*scale.print_u))

    def residuals(p: Array) -> Array:
        miss = seen_at(p[LENS], p[POSE], float(p[SQUEEZE]), mm, scale.radius_px) - px
        return np.concatenate([miss.ravel() / noise, pull @ (p[LENS] - lens), [p[SQUEEZE] / squeeze_u]])

    pose = pose_of(view.homography, float(lens[0]), (float(lens[1]), float(lens[2])))
    found = least_squares(residuals, np.concatenate([lens, pose, [0.0]]), x_scale="jac")
    excess = float((found.fun**2).sum() - (free**2).sum() / noise**2)
    information = found.jac.T @ found.jac
    size = np.sqrt(np.diag(information))
    covariance = np.linalg.pinv(information / np.outer(size, size), hermitian=True) / np.outer(size, size)
    return _Constrained(found.x, covariance, excess)


def _rebuilt(scale: Scale, info: CameraInfo, profile: CameraProfile, fit: _Constrained) -> Scale:
    """The same Scale with mapping, lens and camera of the constrained fit."""
    turn = turn_upright(info.orientation)

    def mapping(p: Array) -> Array:
        return _homography(p, turn, scale.centre_px)

    parameters = np.append(mapping(fit.values).ravel()[:8], fit.values[3])
    slopes = np.empty((9, len(fit.values)))
    for i in range(len(fit.values)):
        step = 1e-6 * max(abs(fit.values[i]), 1e-3)
        moved = fit.values.copy()
        moved[i] += step
        slopes[:, i] = (np.append(mapping(moved).ravel()[:8], moved[3]) - parameters) / step
    principal = turn @ fit.values[1:3]
    centre = (scale.centre_px[0] + float(principal[0]), scale.centre_px[1] + float(principal[1]))
    return replace(
        scale,
        homography=np.append(parameters[:8], 1.0).reshape(3, 3),
        k1=float(fit.values[3]),
        centre_px=centre,
        covariance=slopes @ fit.covariance @ slopes.T,
        camera=_camera(fit, scale.print_u),
        profile=profile.name,
    )


def _homography(p: Array, turn: Array, centre_px: tuple[float, float]) -> Array:
    """Page mm to ideal px of the upright photo; the print's squeeze belongs to the mapping, not to the pose."""
    rotation = rotation_of(p[POSE])
    page = np.column_stack([rotation[:, 0] * (1 + p[SQUEEZE] / 2), rotation[:, 1] * (1 - p[SQUEEZE] / 2), p[POSE][3:]])
    middle = np.asarray(centre_px) + turn @ p[1:3]
    lens = np.eye(3)
    lens[:2, :2], lens[:2, 2] = p[0] * turn, middle
    matrix = lens @ page
    return np.asarray(matrix / matrix[2, 2])


def _camera(fit: _Constrained, print_u: tuple[float, float]) -> Camera:
    """Foot, height and tilt from the pose; the height scales with the print."""

    def height_of(p: Array) -> float:
        return abs(float((rotation_of(p[POSE]).T @ p[POSE][3:])[2]))

    height = height_of(fit.values)
    slopes = np.empty(len(fit.values))
    for i in range(len(slopes)):
        moved = fit.values.copy()
        moved[i] += 1e-6 * max(abs(moved[i]), 1e-3)
        slopes[i] = (height_of(moved) - height) / (moved[i] - fit.values[i])
    u = float(slopes @ fit.covariance @ slopes) ** 0.5
    rotation = rotation_of(fit.values[POSE])
    place = -rotation.T @ fit.values[POSE][3:]
    paper = height * (print_u[0] + print_u[1]) / 2.0
    tilt = float(np.degrees(np.arccos(np.clip(rotation[2, 2], -1.0, 1.0))))
    foot = (float(place[0] / (1 + fit.values[SQUEEZE] / 2)), float(place[1] / (1 - fit.values[SQUEEZE] / 2)))
    known = combined(height, [("camera profile", u), ("print scale", paper)])
    return Camera(foot, known, tilt, height_known=True)
