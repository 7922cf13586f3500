"""What a diameter carries beyond its outline's doubt: that of a thick twisted blank, which shows few crests, and of blurred ridges."""

from __future__ import annotations

import numpy as np
import pytest

from vision.place import Profile
from vision.width_budget import RIDGE_BLUR_PX, RIDGE_U_BLUR, THICK_MM, THICK_SHARE, Envelope, WidthBudget

X = np.arange(0.0, 16.0, 0.02)
EDGE, BOTH = 0.1 * np.ones(len(X)), np.ones((2, len(X)))
PROFILE = Profile(X, EDGE, -EDGE, np.arange(len(X)), 50.0, 0.0, (EDGE, -EDGE), BOTH, 0.0 * BOTH)


@pytest.mark.parametrize(("d0_mm", "source", "more_mm"), [(0.5, "twist", 0.0), (1.3, "twist", THICK_SHARE * 0.4), (1.3, "wire", 0.0)])
def test_only_thick_twisted_blanks_carry_it(d0_mm: float, source: str, more_mm: float) -> None:
    budget = WidthBudget(PROFILE, 0.0, 1.0, 0.5, 0.0, row_px=1.0, before_screen=False)
    usual = budget.of_envelope(Envelope(0.5, 0.0, 0.003, 0.0, 0.0, "wire"), 0.0).u

    u = budget.of_envelope(Envelope(d0_mm, 0.0, 0.003, 0.0, 0.0, source), 0.0).u

    assert THICK_MM < 1.3
    assert u == pytest.approx(float(np.hypot(usual, more_mm)))


@pytest.mark.parametrize(("blur_px", "more_px"), [(0.4, 0.0), (1.6, RIDGE_U_BLUR * (1.6 - RIDGE_BLUR_PX))])
def test_blurred_ridges_carry_more_and_all_photos_share_half_of_it(blur_px: float, more_px: float) -> None:
    budget = WidthBudget(PROFILE, 0.0, blur_px, 0.5, 0.0, row_px=1.0, before_screen=False)
    wire, ridges = (budget.of_envelope(Envelope(0.5, 0.0, 0.003, 0.0, 0.0, source), 0.0) for source in ("wire", "crests"))

    assert ridges.u == pytest.approx(float(np.hypot(wire.u, more_px / PROFILE.px_per_mm)))
    assert dict(ridges.parts)["fit"] == dict(wire.parts)["fit"]  # "fit" is new in every photo, what a blurred ridge hides is not
