"""Stage 2c: markers and saddles -> Scale. One robust fit of homography and radial distortion, with its covariance."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from calib.prints import PrintScale
from calib.sheet import Sheet
from vision.errors import PhotoError
from vision.markers import Seen
from vision.saddles import refine_saddles
from vision.scale import distort, project

Array = NDArray[np.floating[Any]]
K1_PRIOR_U = 0.03  # lenses of phones and system cameras after their own correction; common practice, no source
MIN_SADDLES = 4
ROUGH = 2.0  # corners of markers err by up to so many px of the picture that they were seen in
LEAST_SHARE = 0.3  # of the corners in view; real photos show 80 % and more, mirrored prints under 20 %


@dataclass(frozen=True)
class Fit:
    """Homography (page mm to ideal px), k1, their (9, 9) covariance, robust residual px, the saddles used (N, 2) in mm and px."""

    homography: Array
    k1: float
    covariance: Array
    residual_px: float
    saddles_mm: Array
    saddles_px: Array


def fit_sheet(grey: NDArray[np.uint8], sheet: Sheet, seen: list[Seen], prints: PrintScale) -> Fit:
    """Fit the mapping of one sheet in one picture.

    Raises PhotoError 'scrambled-sheet' when the markers do not lie as printed, 'sheet-too-little' when fewer than
    four saddles, or saddles on one line only, are in view.
    """
    stretch = np.array([prints.scale_x, prints.scale_y])
    start = _from_markers(sheet, seen, stretch)
    all_mm = np.array([(s.x_mm, s.y_mm) for s in sheet.saddles]) * stretch
    clear_mm = np.array([s.clear_mm for s in sheet.saddles])
    centre, radius = lens_centre(grey.shape)
    fit = Fit(start, 0.0, np.zeros((9, 9)), 0.0, all_mm, np.zeros_like(all_mm))
    for _ in range(2):
        predicted = _in_reach(project(fit.homography, all_mm), fit.k1, centre, radius)
        clear_px = clear_mm * _scale_near(fit.homography, all_mm)
        refined, good = refine_saddles(grey, predicted, clear_px)
        if good.sum() < MIN_SADDLES or _on_one_line(all_mm[good]):
            raise PhotoError(
                "sheet-too-little",
                f"found {int(good.sum())} usable checkerboard corners of sheet {sheet.id}, needs at least "
                f"{MIN_SADDLES} that do not lie on one line: show more of the sheet around the instrument, in focus",
            )
        _refuse_mirrored(sheet, int(good.sum()), _in_view(predicted, grey.shape))
        fit = _least_squares(fit.homography, fit.k1, all_mm[good], refined[good], centre, radius)
    return fit


def _in_view(predicted_px: Array, shape: tuple[int, ...]) -> int:
    return int(((predicted_px > 12.0) & (predicted_px < [shape[1] - 13.0, shape[0] - 13.0])).all(axis=1).sum())


def _refuse_mirrored(sheet: Sheet, good: int, expected: int) -> None:
    """A chance marker can pose as ours (a mirrored print); the corners around it then do not lie where they should."""
    if good < LEAST_SHARE * expected:
        raise PhotoError(
            "scrambled-sheet",
            f"only {good} of the {expected} checkerboard corners that sheet {sheet.id} should show here were found "
            f"(at least {LEAST_SHARE:.0%} must): use a whole, flat, unmirrored print, in focus and uncovered",
        )


def _in_reach(ideal_px: Array, k1: float, centre: tuple[float, float], radius: float) -> Array:
    """Predicted px; NaN-free but far outside for what lies beyond the picture, where the lens term would fold back."""
    far = np.hypot(*(ideal_px - np.asarray(centre)).T) > 1.3 * radius
    return np.where(
        far[:, None], -1e6, distort(np.where(far[:, None], np.asarray(centre), ideal_px), k1, centre, radius)
    )


def lens_centre(shape: tuple[int, ...]) -> tuple[tuple[float, float], float]:
    """Return the picture's centre in px and half its diagonal, the unit in which k1 is counted."""
    height, width = shape[:2]
    return ((width - 1) / 2.0, (height - 1) / 2.0), float(np.hypot(width, height) / 2.0)


def _from_markers(sheet: Sheet, seen: list[Seen], stretch: Array) -> Array:
    known = {marker.id: marker for marker in sheet.markers}
    mm = np.concatenate([np.asarray(known[one.id].corners_mm, dtype=float) for one in seen]) * stretch
    px = np.concatenate([one.corners_px for one in seen])
    size_px = float(np.median([np.linalg.norm(one.corners_px[0] - one.corners_px[1]) for one in seen]))
    rough_px = max(one.coarse_px for one in seen) * ROUGH
    matrix, inliers = cv2.findHomography(mm, px, cv2.RANSAC, max(3.0, 0.08 * size_px, rough_px))
    share = 0.0 if matrix is None else float(np.mean(inliers))
    if matrix is None or share < 0.6 or np.linalg.det(matrix[:2, :2]) <= 0.0:
        raise PhotoError(
            "scrambled-sheet",
            f"markers of sheet {sheet.id} were found, but only {share:.0%} of them lie where the sheet prints them "
            "(at least 60 % must): use a whole, flat, unmirrored print of one sheet",
        )
    return np.asarray(matrix / matrix[2, 2], dtype=float)


def _least_squares(
    homography: Array, k1: float, mm: Array, px: Array, centre: tuple[float, float], radius: float
) -> Fit:
    start = np.append(homography.ravel()[:8], k1)
    units = np.maximum(np.abs(start), 1e-6)
    units[8] = 0.01

    def residuals(parameters: Array) -> Array:
        matrix = np.append(parameters[:8], 1.0).reshape(3, 3)
        miss = distort(project(matrix, mm), parameters[8], centre, radius) - px
        return np.append(miss.ravel(), parameters[8] / K1_PRIOR_U)

    def slopes(parameters: Array) -> Array:
        matrix = np.append(parameters[:8], 1.0).reshape(3, 3)
        miss = _slopes(matrix, parameters[8], mm, centre, radius)
        return np.concatenate([miss, np.append(np.zeros(8), 1.0 / K1_PRIOR_U)[None]])

    result = least_squares(residuals, start, jac=slopes, x_scale=units, loss="soft_l1", f_scale=0.5)
    miss = residuals(result.x)[:-1]
    spread = max(1.4826 * float(np.median(np.abs(miss))), 0.02)
    information = result.jac[:-1].T @ result.jac[:-1] / spread**2
    information[8, 8] += 1.0 / K1_PRIOR_U**2
    scaled = information * np.outer(units, units)
    covariance = np.linalg.pinv(scaled, hermitian=True, rcond=1e-14) * np.outer(units, units)
    matrix = np.append(result.x[:8], 1.0).reshape(3, 3)
    return Fit(matrix, float(result.x[8]), covariance, spread, mm, px)


def _slopes(matrix: Array, k1: float, mm: Array, centre: tuple[float, float], radius: float) -> Array:
    """Slopes (2 N, 9) of the px of (N, 2) places by the eight parameters of the homography and by k1, x and y in turn."""
    flat = np.column_stack([mm, np.ones(len(mm))])
    depth = flat @ matrix[2]
    ideal = flat @ matrix[:2].T / depth[:, None]
    by_ideal = np.zeros((len(mm), 2, 8))
    by_ideal[:, 0, :3] = by_ideal[:, 1, 3:6] = flat / depth[:, None]
    by_ideal[:, :, 6:] = -ideal[:, :, None] * (mm / depth[:, None])[:, None]
    away = ideal - centre
    r2 = (away**2).sum(axis=1) / radius**2
    lens = (1.0 + k1 * r2)[:, None, None] * np.eye(2) + 2.0 * k1 / radius**2 * away[:, :, None] * away[:, None]
    return np.concatenate([lens @ by_ideal, (away * r2[:, None])[:, :, None]], axis=2).reshape(-1, 9)


def _scale_near(homography: Array, mm: Array) -> Array:
    step = 0.1
    right = project(homography, mm + [step, 0.0]) - project(homography, mm)
    down = project(homography, mm + [0.0, step]) - project(homography, mm)
    area = np.abs(right[:, 0] * down[:, 1] - right[:, 1] * down[:, 0])
    return np.asarray(np.sqrt(area) / step)


def _on_one_line(points: Array) -> bool:
    spread = np.linalg.svd(points - points.mean(axis=0), compute_uv=False)
    return bool(spread[1] < 0.05 * spread[0] or spread[1] < 0.4)
