"""Lens from several views of the sheet: coverage of what is claimed, against OpenCV's calibration and Zhang's closed form."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from calib.sheet import sheet_named
from vision.lens import View, clumping, pose_of, seen_at, turn_upright
from vision.lens_fit import Priors, closed_form_focal, fit_lens
from vision.quantity import Quantity

SIZE_PX = (1600, 1200)
RADIUS_PX = float(np.hypot(*SIZE_PX) / 2.0)
FOCAL_PX, AT, NOISE_PX = 1156.0, 26.0, 0.06
SADDLES = np.array([(s.x_mm, s.y_mm) for s in sheet_named("A4-1").saddles])[::3]
PRIORS = Priors(Quantity(2.8, 2.8), 0.008, SIZE_PX[0], RADIUS_PX)
STIFF = Priors(Quantity(0.0, 1e-6), 1e-7, SIZE_PX[0], RADIUS_PX)


def views_of(rng, lens, *, count=6, growth=0.0, squeeze=0.0, noise=NOISE_PX, tilts=(8.0, 26.0)):
    """Corners that a known camera sees in some views, tilted round about; ``lens``: f at 26 px/mm, centre x, y, k1."""
    found = []
    for number in range(count):
        scale = AT * float(rng.uniform(0.85, 1.25))
        here = np.array([lens[0] + growth * (scale - AT), *lens[1:]])
        about = 2.0 * np.pi * number / count + rng.normal(0.0, 0.2)
        tilt = np.radians(rng.uniform(*tilts)) * np.array([np.cos(about), np.sin(about), 0.0])
        rotation = cv2.Rodrigues(tilt)[0] @ cv2.Rodrigues(np.array([0.0, 0.0, rng.uniform(0.0, 6.28)]))[0]
        target = np.array([rng.uniform(70.0, 120.0), rng.uniform(90.0, 140.0), 0.0])
        pose = np.append(cv2.Rodrigues(rotation)[0].ravel(), np.array([0.0, 0.0, here[0] / scale]) - rotation @ target)
        px = seen_at(here, pose, squeeze, SADDLES, RADIUS_PX)
        straight = seen_at(np.array([here[0], 0.0, 0.0, 0.0]), pose, squeeze, SADDLES, RADIUS_PX)
        seen = (np.abs(px) < np.array(SIZE_PX) / 2.0 - 20.0).all(axis=1) & (np.hypot(*straight.T) < 1.3 * RADIUS_PX)
        px = px[seen] + rng.normal(0.0, noise, (int(seen.sum()), 2))
        free, _ = cv2.findHomography(SADDLES[seen], px)
        found.append(View(f"{number}", SADDLES[seen], px, scale, free, max(noise, 1e-3)))
    return found


def test_two_u_cover_the_truth():
    """Forty calibrations of cameras drawn from what is held possible: each parameter within 2 u in 95 %.

    200 comparisons: by the binomial law 95 % gives 179 to 198 in all but one case of a thousand.
    """
    inside, shares = 0, []
    for seed in range(40):
        rng = np.random.default_rng(seed)
        growth, squeeze = rng.normal(2.8, 2.8), rng.normal(0.0, 0.008)
        lens = np.array([FOCAL_PX, *rng.normal(0.0, 8.0, 2), rng.normal(0.0, 0.02)])
        fit = fit_lens(views_of(rng, lens, growth=growth, squeeze=squeeze), PRIORS, FOCAL_PX * 1.06)
        truth = np.array([lens[0] + growth * (fit.at_px_per_mm - AT), growth, *lens[1:]])
        u = np.sqrt(np.diag(fit.covariance))[:5]
        inside += int((np.abs(fit.values[:5] - truth) < 2.0 * u).sum())
        shares.append(u[0] / fit.values[0])

    assert 179 <= inside <= 198
    assert np.median(shares) < 1e-3


def test_it_is_opencvs_calibration_where_the_models_are_the_same():
    """Without growth or squeeze, cv2.calibrateCamera finds the same lens within a tenth of u (centre prior aside)."""
    views = views_of(np.random.default_rng(50), np.array([FOCAL_PX, 3.0, -2.0, 0.02]), count=8)
    fit = fit_lens(views, STIFF, FOCAL_PX)
    start = np.array([[FOCAL_PX, 0.0, SIZE_PX[0] / 2.0], [0.0, FOCAL_PX, SIZE_PX[1] / 2.0], [0.0, 0.0, 1.0]])
    flags = (
        cv2.CALIB_USE_INTRINSIC_GUESS
        | cv2.CALIB_FIX_ASPECT_RATIO
        | cv2.CALIB_ZERO_TANGENT_DIST
        | cv2.CALIB_FIX_K2
        | cv2.CALIB_FIX_K3
    )
    page = [np.column_stack([view.mm, np.zeros(len(view.mm))]).astype(np.float32) for view in fit.views]
    px = [(view.offset_px + np.array(SIZE_PX) / 2.0).astype(np.float32) for view in fit.views]
    _, matrix, distortion, _, _ = cv2.calibrateCamera(page, px, SIZE_PX, start, np.zeros(5), flags=flags)
    u = np.sqrt(np.diag(fit.covariance))

    theirs = [matrix[0, 0], matrix[0, 2] - SIZE_PX[0] / 2.0, matrix[1, 2] - SIZE_PX[1] / 2.0]
    theirs.append(distortion.ravel()[0] * (RADIUS_PX / matrix[0, 0]) ** 2)
    ours = fit.values[[0, 2, 3, 4]]
    assert (np.abs(ours - theirs) / u[[0, 2, 3, 4]] < 0.1).all()


def test_zhangs_closed_form():
    """Z. Zhang, IEEE PAMI 22(11) 2000 (from memory): without noise or distortion two constraints a view give f exactly."""
    views = views_of(np.random.default_rng(3), np.array([FOCAL_PX, 0.0, 0.0, 0.0]), count=3, noise=0.0)

    assert closed_form_focal([view.homography for view in views]) == pytest.approx(FOCAL_PX, rel=1e-4)


def test_square_on_views_say_that_they_do_not_know():
    """Views tilted by less than 2 degrees leave the focal length to several per cent, and the truth within 3 u."""
    views = views_of(np.random.default_rng(4), np.array([FOCAL_PX, 0.0, 0.0, 0.0]), count=4, tilts=(0.0, 1.5))
    fit = fit_lens(views, PRIORS, FOCAL_PX * 1.03)
    u = float(fit.covariance[0, 0]) ** 0.5

    tilted = fit_lens(views_of(np.random.default_rng(4), np.array([FOCAL_PX, 0, 0, 0.0])), PRIORS, FOCAL_PX)
    assert u > 10.0 * float(tilted.covariance[0, 0]) ** 0.5
    assert abs(fit.values[0] - FOCAL_PX) < 3.0 * u + 2.8 * 3.0 * abs(fit.at_px_per_mm - AT)


def test_a_few_wrong_corners_do_not_count():
    rng = np.random.default_rng(5)
    lens = np.array([FOCAL_PX, 2.0, 1.0, 0.01])
    views = views_of(rng, lens)
    views[0].offset_px[3:6] += 6.0
    fit = fit_lens(views, STIFF, FOCAL_PX)

    assert abs(fit.values[0] - FOCAL_PX) < 3.0 * fit.covariance[0, 0] ** 0.5
    assert fit.noise_px == pytest.approx(NOISE_PX, rel=0.15)


def test_neighbours_that_miss_alike_are_told_from_noise():
    rng = np.random.default_rng(6)
    noise = rng.normal(0.0, 0.1, (len(SADDLES), 2))
    wave = 0.1 * np.sin(SADDLES / 12.0)

    assert clumping(noise, SADDLES) < 1.4
    assert clumping(noise + wave, SADDLES) > 2.0


@pytest.mark.parametrize(("orientation", "quarters"), [(1, 0), (6, 3), (3, 2), (8, 1)])
def test_orientation_turns_places_as_the_picture_is_turned(orientation, quarters):
    """EXIF 6: a quarter clockwise brings the stored picture upright (CIPA DC-008); NumPy's rot90 goes anticlockwise."""
    stored = np.zeros((5, 7))
    stored[1, 5] = 1.0  # offset (2, -1) from the middle
    upright = np.rot90(stored, quarters)
    y, x = (int(v[0]) for v in np.nonzero(upright))

    place = turn_upright(orientation) @ np.array([2.0, -1.0])
    assert place == pytest.approx([x - (upright.shape[1] - 1) / 2.0, y - (upright.shape[0] - 1) / 2.0])


def test_pose_comes_back_from_a_homography():
    views = views_of(np.random.default_rng(8), np.array([FOCAL_PX, 0.0, 0.0, 0.0]), count=1, noise=0.0)
    pose = pose_of(views[0].homography, FOCAL_PX)
    px = seen_at(np.array([FOCAL_PX, 0.0, 0.0, 0.0]), pose, 0.0, views[0].mm, RADIUS_PX)

    assert np.abs(px - views[0].offset_px).max() < 0.02
