"""Outlines before a lit screen, against blurred steps in closed form."""

import numpy as np
import pytest
from scipy.stats import norm

from vision.backlit import half_level
from vision.held_signs import edge_widths
from vision.strip import Strip

SCREEN, HALF, COLUMNS = 0.7, 30, 200


def bar(half_width_px, blur_px, core=0.05):
    """A dark bar about the strip's middle: two Gaussian-blurred steps (the normal distribution function)."""
    t = np.arange(-HALF, HALF + 1.0)[:, None] * np.ones(COLUMNS)
    inside = norm.cdf((t + half_width_px) / blur_px) - norm.cdf((t - half_width_px) / blur_px)
    values = (SCREEN + (core - SCREEN) * inside).astype(np.float32)
    axis = np.column_stack([np.arange(COLUMNS, dtype=float), np.zeros(COLUMNS)])
    return Strip(values, axis, np.tile([0.0, 1.0], (COLUMNS, 1)), np.ones(COLUMNS, dtype=bool))


@pytest.mark.parametrize("blur_px", [0.7, 1.2, 2.0])
@pytest.mark.parametrize("miss_px", [-0.8, 0.0, 0.8])
def test_the_half_level_is_the_edge_of_a_blurred_bar(blur_px, miss_px):
    """Wherever near the edge the outline came from, the half level lies within 0.1 px of the true step."""
    strip, true_px = bar(9.3, blur_px), 9.3
    up, low = (np.full(COLUMNS, sign * (true_px + miss_px)) for sign in (1.0, -1.0))
    up, low = half_level(strip, up, low, blur_px, np.ones(COLUMNS, dtype=bool))

    assert up == pytest.approx(true_px, abs=0.1)
    assert low == pytest.approx(-true_px, abs=0.1)


def test_columns_not_before_the_screen_and_faint_rims_keep_their_outline():
    lit = np.arange(COLUMNS) < 100
    edge = np.full(COLUMNS, 10.0)
    moved, _ = half_level(bar(9.3, 1.0), edge, -edge, 1.0, lit)
    faint, _ = half_level(bar(9.3, 1.0, core=0.5), edge, -edge, 1.0, np.ones(COLUMNS, dtype=bool))

    assert (moved[:100] != 10.0).all()
    assert (moved[100:] == 10.0).all()
    assert (faint == 10.0).all()


@pytest.mark.parametrize("sigma", [0.8, 1.5, 3.0])
def test_width_of_a_blurred_step(sigma):
    """Height over slope gives back the width of a Gaussian-blurred step; finite samples of 0.25 px widen it by below 2 %."""
    t = np.arange(-15.0, 15.0, 0.25)
    profiles = np.stack([norm.cdf((t - shift) / sigma) for shift in (-0.3, 0.0, 0.2)])

    assert edge_widths(profiles) * 0.25 == pytest.approx(sigma, rel=0.02)
