"""The fit under bounds against SciPy's general solver with the same loss, and against a line whose outliers are known."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import least_squares

from vision.robust_fit import fit_robustly

X = np.linspace(0.0, 6.0, 400)
FREE = (np.full(4, -np.inf), np.full(4, np.inf))


def wave(p):
    return p[0] + p[1] * X + p[2] * np.sin(p[3] * X)


def slopes(p):
    return np.column_stack([np.ones_like(X), X, np.sin(p[3] * X), p[2] * X * np.cos(p[3] * X)])


def seen(seed):
    rng = np.random.default_rng(seed)
    y = wave(np.array([0.4, -0.1, 1.0, 2.0])) + rng.normal(0.0, 0.05, len(X))
    y[rng.random(len(X)) < 0.1] += 2.0
    return y


@pytest.mark.parametrize("bounds", [FREE, (np.array([-1.0, -0.05, 0.0, 1.0]), np.array([1.0, 1.0, 3.0, 3.0]))])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_fit_is_that_of_scipy(seed, bounds):
    y, start = seen(seed), np.array([0.0, 0.0, 0.7, 1.9])
    mine = fit_robustly(lambda p: wave(p) - y, slopes, start, bounds, soft_at=0.1, least_gain=1e-12)
    theirs = least_squares(lambda p: wave(p) - y, start, jac=slopes, bounds=bounds, loss="soft_l1", f_scale=0.1, xtol=1e-12, ftol=1e-12)
    np.testing.assert_allclose(mine.p, theirs.x, atol=2e-5)
    free = np.abs(theirs.x - bounds[0]) > 1e-3
    u, expected = (np.sqrt(np.diag(np.linalg.inv(normal[np.ix_(free, free)]))) for normal in (mine.normal, theirs.jac.T @ theirs.jac))
    np.testing.assert_allclose(u, expected, rtol=1e-3)


def test_outliers_pull_little():
    fitted = fit_robustly(lambda p: wave(p) - seen(4), slopes, np.array([0.0, 0.0, 0.7, 1.9]), FREE, soft_at=0.1)
    np.testing.assert_allclose(fitted.p, [0.4, -0.1, 1.0, 2.0], atol=0.03)  # by least squares the first is 0.6


def test_bounds_are_kept():
    low, high = np.array([-9.0, 0.0, 0.0, 1.5]), np.array([9.0, 1.0, 0.9, 2.5])
    fitted = fit_robustly(lambda p: wave(p) - seen(5), slopes, np.array([0.0, 0.5, 0.5, 1.9]), (low, high), soft_at=0.1)
    assert (fitted.p >= low).all()
    assert (fitted.p <= high).all()
    assert fitted.p[1] == 0.0
    assert fitted.p[2] == pytest.approx(0.9)
