"""Traps that once caught this code: each input read wrong before it was mended."""

import numpy as np
import pytest
from scipy.stats import norm
from test_crests import draw
from test_envelope import exact_crests
from test_handle import coloured
from test_scale import GRID_PX, NOWHERE, UM, View, photograph, texture, warped
from test_sheetfit import WIDE, refused
from test_steps import PAPER, located, strip
from test_twist import fitted

from vision.envelope import through_crests
from vision.findscale import find_scale
from vision.handle import handle_colour
from vision.shapes import RHOMBUS, TRIANGLE


@pytest.mark.parametrize("k1", [-0.005, -0.02])
def test_a_barrel_lens_does_not_fold_the_far_page_into_the_picture(k1):
    """Saddles far outside the picture stay outside, whatever the sign of the lens term: 3 µm as for other views."""
    view = View(60.0, tilt_deg=-8.0, turn_deg=200.0, k1=k1, over_mm=(140.0, 90.0))
    scale = find_scale(photograph(view), given=None, prints=NOWHERE)

    assert scale.residual_px < 0.1
    assert np.abs(scale.to_plane_mm(GRID_PX) - view.page_mm(GRID_PX)).max() < 3.0 * UM



@pytest.mark.parametrize("view", [WIDE, View(24.0, k1=0.0, tilt_deg=2.0), View(30.0, k1=0.0)], ids=["16", "24", "30"])
def test_a_mirrored_sheet_is_refused(view):
    """A mirrored picture of our sheet has no readable code and gives no scale."""
    picture = warped(view, *texture(view))

    assert refused(picture[:, ::-1].copy()).kind in ("no-sheet", "scrambled-sheet", "sheet-too-little")



@pytest.mark.parametrize(("code", "word"), [((0, 0, 0), "black"), ((178, 34, 34), "red"), ((255, 255, 255), "white")])
def test_a_handle_of_one_flat_colour(code, word):
    """A handle whose pixels are all alike, as black or white ones clipped by the camera, has its colour too."""
    assert handle_colour(*coloured(code, noise=0.0)).word == word



@pytest.mark.parametrize("seed", [11, 12, 13])
def test_local_pitch_of_a_triangle(seed):
    """Pitch at 8 mm of a reamer on a triangular blank comes back within 1 %, and the misfit is the noise."""
    drawn = draw(TRIANGLE, d0_mm=0.30, lead_mm=4.0, noise_mm=0.003, unsteady_deg=5.0, seed=seed)
    fit = fitted(drawn, TRIANGLE)
    rate = np.interp(8.0, drawn.x_mm, np.gradient(drawn.theta_rad, drawn.x_mm))

    assert fit.rate_rad_per_mm(np.array([8.0]))[0] == pytest.approx(rate, rel=0.01)
    assert fit.misfit_mm < 1.2 * 0.003
    assert fit.d0_mm == pytest.approx(0.30, abs=2.0 * UM)



@pytest.mark.parametrize("seed", range(11, 17))
def test_a_rhombus_whose_low_crests_are_barely_seen(seed):
    """Where now and then a low crest is found, numbering keeps to the high ones: D0 within 2 µm."""
    drawn = draw(RHOMBUS, d0_mm=0.40, lead_mm=2.6, low_corner=0.7, noise_mm=0.002, seed=seed)

    assert fitted(drawn, RHOMBUS).d0_mm == pytest.approx(0.40, abs=2.0 * UM)



@pytest.mark.parametrize("pitch_mm", [0.9, 1.3])
def test_claimed_uncertainty_with_few_crests_is_honest(pitch_mm):
    """With 22 or 32 crests about six parameters, errors over claims stay below 1.3 over 200 draws."""
    d0 = []
    for seed in range(200):
        cone = through_crests(*exact_crests(0.30, 0.02, pitch_mm, bend_mm=0.1, noise_mm=0.003, seed=seed))
        d0.append((cone.d0_mm - 0.30) / cone.covariance[0, 0] ** 0.5)

    assert 0.7 < np.sqrt(np.mean(np.square(d0))) < 1.3



@pytest.mark.parametrize("rim", [0.2, 0.5, 0.8])
def test_a_strong_halo_of_sharpening_is_passed_over(rim):
    """A rim of up to 0.8 of the paper's light, as phones draw them around dark things, is no edge: the step behind it is."""
    rows = np.arange(81)[:, None]
    bright = norm.cdf((rows - 42.0) / 0.9) - norm.cdf((rows - 45.0) / 0.9)
    row, slope = located(strip(45.0, 1.0) + rim * PAPER * bright, 1.0, threshold=0.02)

    assert (slope < 0.0).all()
    assert row == pytest.approx(45.0, abs=0.3)
