"""Pooling against the closed forms of JCGM 100:2008, 4.2 and draws with known truth."""

import numpy as np
import pytest
from scipy import stats

from vision.pooling import pool
from vision.quantity import Quantity, combined


def reading(value, own, shared):
    return combined(value, [("fit", own), ("scale", shared)])


def test_equal_readings_give_the_mean_and_s_over_root_n():
    """JCGM 100:2008, 4.2.3: u of the mean is s / sqrt(n); it governs where the readings scatter more than they claim."""
    values = np.array([0.2510, 0.2550, 0.2530, 0.2580])
    one = pool([reading(v, 1e-4, 0.0) for v in values])

    assert one.quantity.value == pytest.approx(values.mean())
    assert one.quantity.u == pytest.approx(values.std(ddof=1) / 2.0, rel=1e-6)
    assert one.disagree


def test_readings_that_agree_shrink_by_root_n_but_not_what_they_share():
    one = pool([reading(0.253, 0.003, 0.002)] * 4)

    assert one.quantity.u == pytest.approx(np.hypot(0.003 / 2.0, 0.002))
    assert not one.disagree
    assert dict(one.quantity.parts)["scale"] == pytest.approx(0.002)


def test_chi_square_and_birge_ratio_against_scipy():
    values, own = np.array([1.00, 1.02, 1.09]), np.array([0.01, 0.02, 0.02])
    one = pool([reading(v, u, 0.0) for v, u in zip(values, own, strict=True)])
    mean = np.average(values, weights=own**-2)
    chi = float((((values - mean) / own) ** 2).sum())

    assert one.quantity.value == pytest.approx(mean)
    assert one.chi_square == pytest.approx(chi)
    assert one.probability == pytest.approx(stats.chi2.sf(chi, 2))
    assert one.quantity.u == pytest.approx(np.sqrt(chi / 2.0) / np.sqrt((own**-2).sum()))
    assert one.farthest == 2


def test_what_is_missing_is_left_out():
    only = reading(2.0, 0.1, 0.2)
    one = pool([None, only, None])

    assert pool([None, None]) is None
    assert one.quantity.value == 2.0
    assert one.quantity.u == pytest.approx(only.u)
    assert one.farthest == 1


def test_an_edge_model_is_partly_shared_and_bare_numbers_too():
    for quantity in (combined(1.0, [("edge model", 0.01)]), Quantity(1.0, 0.01)):
        one = pool([quantity, quantity])
        assert one.quantity.u == pytest.approx(0.01 * np.sqrt(0.5 / 2.0 + 0.5))


def test_pooled_u_is_honest():
    """Three readings with an error of their own and one they share: truth within 2 u in 93 to 98 of 100, and few alarms."""
    rng = np.random.default_rng(5)
    inside, alarms, count = 0, 0, 2000
    for _ in range(count):
        common = rng.normal(0.0, 0.002)
        one = pool([reading(0.25 + common + rng.normal(0.0, 0.003), 0.003, 0.002) for _ in range(3)])
        inside += abs(one.quantity.value - 0.25) <= 2.0 * one.quantity.u
        alarms += one.disagree

    assert 0.93 <= inside / count <= 0.98
    assert alarms / count == pytest.approx(0.01, abs=0.008)
