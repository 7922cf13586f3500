"""Slopes of the closed-form outline against central differences of the form itself (a general method, not our own slopes)."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from vision.shape_slopes import sloped_support, turned
from vision.shapes import RHOMBUS, SQUARE, TRIANGLE, support

STEP = 1e-6
THETA = np.linspace(-7.0, 25.0, 400) + 1e-3  # no corner of any blank falls on one of these


@pytest.mark.parametrize("blank", [SQUARE, TRIANGLE, RHOMBUS], ids=lambda blank: blank.name)
@settings(max_examples=30, deadline=None)
@given(rounding=st.floats(0.0, 0.45), low_corner=st.floats(0.4, 0.95))
def test_slopes_are_those_of_the_form(blank, rounding, low_corner):
    low = low_corner if blank is RHOMBUS else 1.0
    slopes = sloped_support(blank, turned(THETA), rounding, low)

    assert np.allclose(slopes.value, support(blank, THETA, rounding, low), atol=1e-12)
    clear = np.abs(np.diff(np.sign(slopes.by_theta), append=1.0)) < 1.0  # differences across a corner mean nothing
    clear &= np.roll(clear, 1)
    for name, moved in {
        "by_theta": lambda step: support(blank, THETA + step, rounding, low),
        "by_rounding": lambda step: support(blank, THETA, rounding + step, low),
        "by_low_corner": lambda step: support(blank, THETA, rounding, low + step),
    }.items():
        if name == "by_low_corner" and blank is not RHOMBUS:
            continue
        by_difference = (moved(STEP) - moved(-STEP)) / (2.0 * STEP)
        assert np.allclose(getattr(slopes, name)[clear], by_difference[clear], atol=1e-5), name
    assert clear.mean() > 0.5
