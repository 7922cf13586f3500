"""An outline that leaps to a shadow and stays there is told from crests, from a fibre across it, and from noise."""

from __future__ import annotations

import numpy as np
import pytest

from vision.outline_jumps import jump_mm
from vision.place import Profile

PX_PER_MM, ROW_MM = 60.0, 1.0 / 60.0


def profile(*, by_mm: float = 0.0, from_mm: float = 0.0, to_mm: float = 4.0, px_per_mm: float = PX_PER_MM) -> Profile:
    """A twisted blank of 0.4 mm with crests every 0.8 mm and noise of 3 um, its upper outline moved between two places."""
    x = np.arange(0.0, 16.0, 1.0 / px_per_mm)
    crests = 0.16 + 0.01 * x + 0.04 * np.abs(np.sin(np.pi * x / 0.8))
    upper = crests + np.random.default_rng(5).normal(0.0, 0.003, len(x)) + by_mm * ((x > from_mm) & (x < to_mm))
    ones = np.ones((2, len(x)))
    return Profile(x, upper, -crests, np.arange(len(x)), px_per_mm, 0.001, (upper, -crests), ones, 0.002 * ones)


def test_crests_and_noise_are_no_jumps():
    assert jump_mm(profile(), ROW_MM) == 0.0


@pytest.mark.parametrize("by_mm", [0.10, 0.16])
def test_an_outline_that_stays_aside_is_told_by_how_much(by_mm: float):
    assert jump_mm(profile(by_mm=by_mm), ROW_MM) == pytest.approx(by_mm, abs=0.025)


def test_a_fibre_across_it_is_none():
    assert jump_mm(profile(by_mm=0.12, from_mm=3.0, to_mm=3.1), ROW_MM) == 0.0


def test_where_the_photo_is_too_coarse_nothing_is_told():
    assert jump_mm(profile(by_mm=0.16, px_per_mm=20.0), 0.05) == 0.0


def test_what_is_not_seen_is_no_jump():
    hidden = profile()
    hidden.upper_mm[200:260] = np.nan

    assert jump_mm(hidden, ROW_MM) == 0.0
