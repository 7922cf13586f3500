"""A measured number with its uncertainty: combination, scaling and rounding as in the Guide (JCGM 100:2008)."""

import math

import numpy as np
import pytest

from vision.quantity import Quantity, combined, decimals, rounded

# JCGM 100:2008, H.1, calibration of a 50 mm end gauge (from memory): contributions in nm to the length of 50 000 838 nm,
# which the example combines to 32 nm.
END_GAUGE_NM = (
    ("standard", 25.0),
    ("comparison", 9.7),
    ("difference of expansion coefficients", 2.9),
    ("difference of temperatures", 16.6),
)


def test_end_gauge_of_the_guide():
    """The worked example H.1 of JCGM 100:2008 (from memory): l = 50.000 838 mm, u = 32 nm."""
    length_mm = combined(50.000838, [(name, u * 1e-6) for name, u in END_GAUGE_NM])

    assert rounded(length_mm) == (50.000838, 0.000032)
    assert dict(length_mm.parts) == pytest.approx({name: u * 1e-6 for name, u in END_GAUGE_NM})


@pytest.mark.parametrize(
    ("value", "u", "stated"),
    [
        (10.05762, 0.027, (10.058, 0.027)),  # JCGM 100:2008, 7.2.6 (read as quoted): 10.057 62 ohm with 27 mohm
        (0.0, 28.05, (0.0, 28.0)),  # 7.2.6 (read as quoted): 28.05 kHz 'should be rounded down to 28 kHz'
        (0.25312, 0.0996, (0.25, 0.10)),  # two digits of the ROUNDED u: 0.10, not 0.100
        (100.021474, 0.00035, (100.02147, 0.00035)),  # the nominally 100 g mass of 7.2.2 (from memory)
        (1234.5, 56.0, (1234.0, 56.0)),  # halves go to the even digit (IEEE 754), as Python rounds
        (-0.25049, 0.0062, (-0.2505, 0.0062)),
        (0.3, 0.0, (0.3, 0.0)),
    ],
)
def test_rounding(value, u, stated):
    """u keeps two significant digits and the value stops at the same decimal place."""
    assert rounded(Quantity(value, u)) == pytest.approx(stated, abs=1e-12)


@pytest.mark.parametrize(
    ("u", "places"), [(0.0996, 2), (0.0994, 3), (0.0031, 4), (0.00996, 3), (9.96, 0), (9.94, 1), (996.0, -2), (28.05, 0)]
)
def test_place_of_the_last_digit(u, places):
    """The last digit kept is the second significant one of u as it is printed."""
    assert decimals(u) == places
    shown = f"{round(u, places):.{max(places, 0)}f}".replace(".", "").lstrip("0")
    assert len(shown.rstrip("0") if places < 0 else shown) <= 2


def test_combined_spread_is_that_of_a_simulation():
    """The root sum of squares is the spread of a sum of independent errors, whatever their shape (JCGM 101:2008)."""
    draw = np.random.default_rng(20)
    half_width, u_normal, n = 0.008, 0.005, 100_000
    total = draw.uniform(-half_width, half_width, n) + draw.normal(0.0, u_normal, n)

    quantity = combined(0.4, [("rectangular", half_width / math.sqrt(3)), ("normal", u_normal)])

    assert quantity.u == pytest.approx(float(total.std()), rel=4 / math.sqrt(2 * n))  # four times its own scatter


def test_combining_ignores_the_sign_of_a_sensitivity():
    """Contributions are spreads: a negative sensitivity adds as much as a positive one."""
    assert combined(1.0, [("a", -3.0), ("b", 4.0)]) == combined(1.0, [("a", 3.0), ("b", 4.0)])
    assert combined(1.0, [("a", -3.0), ("b", 4.0)]).u == pytest.approx(5.0)
    assert combined(1.0, []).u == 0.0


def test_scaling_an_exact_factor():
    """An exact factor scales value, u and every part; u never turns negative."""
    doubled = combined(-2.0, [("a", 0.3), ("b", 0.4)]).scaled(-2.0)

    assert (doubled.value, doubled.u) == pytest.approx((4.0, 1.0))
    assert dict(doubled.parts) == pytest.approx({"a": 0.6, "b": 0.8})


@pytest.mark.parametrize(("value", "u"), [(math.nan, 0.1), (1.0, math.inf), (1.0, -0.1), (math.inf, 0.1)])
def test_what_is_no_quantity(value, u):
    """A number without a finite value and uncertainty is refused, with both sides named."""
    with pytest.raises(ValueError, match=r"finite value and u >= 0, got value=.* u="):
        Quantity(value, u)
