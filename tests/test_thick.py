"""A thick twisted blank shows few crests: its diameter carries more than its outline's doubt, a thin one's does not."""

from __future__ import annotations

import numpy as np
import pytest

from vision.place import Profile
from vision.width_budget import THICK_MM, THICK_SHARE, Envelope, WidthBudget

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
