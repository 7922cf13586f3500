"""Verdicts are guard-banded: what the uncertainty leaves open is stated by nobody."""

from dataclasses import fields

import pytest
from scipy.stats import norm

from vision.conformity import conformity, judge
from vision.dimensions import Dimensions
from vision.identity import Identity
from vision.nominal import diameter_limit
from vision.quantity import Quantity
from vision.reading import Choice

UM = 1e-3


def measured(**quantities):
    """Dimensions of which only some were measured."""
    none = {field.name: None for field in fields(Dimensions)} | {"notes": ()}
    return Dimensions(**(none | quantities))


def named(family, size):
    return Identity(Choice(family, 0.95), Choice(size, 0.95), "square", ())


def verdict(off_um, expanded_um, size=25):
    nominal = size / 100
    return judge(Quantity(nominal + off_um * UM, expanded_um / 2 * UM), nominal, diameter_limit(size))


@pytest.mark.parametrize(("expanded_um", "kept_um"), [(4, 16), (10, 10), (16, 4)])
@pytest.mark.parametrize("sign", [-1, 1])
def test_guard_band_inside(expanded_um, kept_um, sign):
    """JCGM 106:2012, guard band of one U (from memory): of ±20 µm, U = 10 leaves ±10 for 'within', 4 leaves 16, 16 leaves 4."""
    assert verdict(sign * (kept_um - 0.1), expanded_um) == "within"
    assert verdict(sign * (kept_um + 0.1), expanded_um) == "undecided"


@pytest.mark.parametrize("expanded_um", [4, 10, 16])
@pytest.mark.parametrize("sign", [-1, 1])
def test_guard_band_outside(expanded_um, sign):
    """'Outside' is stated only beyond the limit plus one U."""
    assert verdict(sign * (20 + expanded_um - 0.1), expanded_um) == "undecided"
    assert verdict(sign * (20 + expanded_um + 0.1), expanded_um) == "outside"


@pytest.mark.parametrize("off_um", [0, 5, 15, 25])
def test_nothing_is_within_at_a_wide_uncertainty(off_um):
    """With U of the tolerance itself nothing can be accepted, not even the nominal diameter."""
    assert verdict(off_um, 20.1) == "undecided"


@pytest.mark.parametrize("expanded_um", [4, 10, 16])
def test_wrong_verdicts_are_rare(expanded_um):
    """A verdict just inside its bound is right with 97.7 % by the conformance probability of JCGM 106:2012 (from memory)."""
    u = expanded_um / 2

    def inside(y):
        return norm.cdf((20 - y) / u) - norm.cdf((-20 - y) / u)

    within = max(y for y in range(60) if verdict(y, expanded_um) == "within")
    outside = min(y for y in range(60) if verdict(y, expanded_um) == "outside")
    assert inside(within) >= norm.cdf(2) - norm.sf(2) - 1e-9  # less the far tail
    assert 1 - inside(outside) >= norm.cdf(2) - 1e-9


def test_above_size_60_neither_verdict_leans_on_the_kinder_limit():
    """30 µm off is beyond the ±0.02 mm read and inside the ±0.04 mm remembered: undecided however well it was measured."""
    assert verdict(30, 0.1, size=60) == "outside"
    assert verdict(30, 0.1, size=80) == "undecided"
    assert verdict(15, 0.1, size=80) == "within"
    assert verdict(41, 0.1, size=80) == "outside"


def test_each_quantity_against_its_own_nominal():
    """D16 is judged against D0 + 0.32 mm and the length against the nearest of 21, 25, 28 and 31 mm (JIS T 5419:1995, read)."""
    seen = measured(
        d0_mm=Quantity(0.255, 0.004), d16_mm=Quantity(0.57 - 0.031, 0.005), length_mm=Quantity(27.9, 0.1)
    )

    assert conformity(seen, named("k-file", 25), tip_lost=False) == {
        "d0": "within",
        "d16": "outside",
        "length": "within",
        "tip_angle": None,
    }
    between = measured(length_mm=Quantity(26.5, 0.1))
    assert conformity(between, named("k-file", 25), tip_lost=False)["length"] == "outside"


def test_what_was_not_measured_is_not_judged():
    """None stays None: no verdict without a measurement."""
    assert judge(None, 0.25, diameter_limit(25)) is None
    assert set(conformity(measured(), named("reamer", 40), tip_lost=False).values()) == {None}


@pytest.mark.parametrize(
    ("family", "size", "tip_lost"),
    [("barbed-broach", 25, False), ("other", 25, False), ("k-file", None, False), ("k-file", 25, True)],
)
def test_what_has_no_limit_that_was_read_is_not_judged(family, size, tip_lost):
    """A broach (table from memory), an unnamed size and a lost tip get no verdict."""
    seen = measured(d0_mm=Quantity(0.25, 0.002), length_mm=Quantity(25.0, 0.05))

    assert set(conformity(seen, named(family, size), tip_lost=tip_lost).values()) == {None}
