"""Verdicts are guard-banded: what the uncertainty leaves open is stated by nobody."""

from dataclasses import replace

import numpy as np
import pytest
from invented_readings import k_file
from scipy.stats import norm

from vision.conformity import conformance_probability, judge, judge_reading
from vision.nominal import diameter_limit
from vision.quantity import Quantity
from vision.reading import Choice, Finding

UM = 1e-3


def verdicts(family="k-file", size=25, *, tip_lost=False, **quantities):
    """Verdicts on an invented reading of which only these quantities were measured."""
    one = replace(k_file(), **(dict.fromkeys(("d0_mm", "d16_mm", "length_mm")) | quantities))
    findings = (Finding("tip-lost", 0.0, 0.0, Quantity(1.5, 0.3), "mm", 0.9),) if tip_lost else ()
    condition = replace(one.condition, findings=findings)
    named = {"family": Choice(family, 0.95), "size": Choice(size, 0.95)}
    return judge_reading(replace(one, condition=condition, **named)).conformity


def verdict(off_um, expanded_um, size=25):
    return judged(off_um, expanded_um, size).verdict


def judged(off_um, expanded_um, size=25):
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
    seen = {"d0_mm": Quantity(0.255, 0.004), "d16_mm": Quantity(0.57 - 0.031, 0.005), "length_mm": Quantity(27.9, 0.1)}

    assert verdicts(**seen) == {
        "d0": "within",
        "d16": "outside",
        "length": "within",
        "tip_angle": None,
    }
    assert verdicts(length_mm=Quantity(26.5, 0.1))["length"] == "outside"


def test_what_was_not_measured_is_not_judged():
    """None stays None: no verdict without a measurement."""
    unmeasured = judge(None, 0.25, diameter_limit(25))

    assert (unmeasured.verdict, unmeasured.margin_u, unmeasured.reason) == (None, None, "not measured")
    assert set(verdicts("reamer", 40).values()) == {None}


@pytest.mark.parametrize(
    ("family", "size", "tip_lost"),
    [("barbed-broach", 25, False), ("other", 25, False), ("k-file", None, False), ("k-file", 25, True)],
)
def test_what_has_no_limit_that_was_read_is_not_judged(family, size, tip_lost):
    """A broach (table from memory), an unnamed size and a lost tip get no verdict."""
    seen = {"d0_mm": Quantity(0.25, 0.002), "length_mm": Quantity(25.0, 0.05)}

    assert set(verdicts(family, size, tip_lost=tip_lost, **seen).values()) == {None}


@pytest.mark.parametrize(("off_um", "u_um"), [(0, 10), (8, 4), (19, 3), (-25, 6)])
def test_conformance_probability_is_the_share_of_a_simulation(off_um, u_um):
    """JCGM 106:2012, clause 7 (from memory): the share of the values that could be attributed to it which lie inside."""
    draws = np.random.default_rng(31).normal(0.25 + off_um * UM, u_um * UM, 200_000)
    share = float(((draws > 0.23) & (draws < 0.27)).mean())

    stated = conformance_probability(Quantity(0.25 + off_um * UM, u_um * UM), 0.23, 0.27)

    assert stated == pytest.approx(share, abs=4 * np.sqrt(share * (1 - share) / 200_000) + 1e-4)


def test_conformance_probability_at_the_limit_itself():
    """Simple acceptance at a limit is right half of the time (JCGM 106:2012, 8.2; ILAC-G8:09/2019 says the same, read)."""
    assert conformance_probability(Quantity(0.27, 0.002), 0.23, 0.27) == pytest.approx(0.5, abs=1e-9)


@pytest.mark.parametrize(("r", "probability"), [(0.0, 0.5), (0.5, 0.84), (1.0, 0.977), (0.825, 0.95)])
def test_guard_bands_of_some_widths(r, probability):
    """A guard band r U with U = 2 u leaves a one-sided probability of 1 - Phi(-2 r).

    JCGM 106:2012, 8.3.2 and ILAC-G8:09/2019, table 1 (both from memory): r = 1 keeps the risk below 2.5 %; r = 0.83 below 5 %.
    """
    u = 0.001
    guarded = conformance_probability(Quantity(0.27 - r * 2 * u, u), -np.inf, 0.27)

    assert guarded == pytest.approx(probability, abs=2e-3)


@pytest.mark.parametrize(
    ("off_um", "size", "margin"), [(0, 25, 4.0), (15, 25, 1.0), (-25, 25, -1.0), (30, 80, -2.0), (50, 80, -2.0)]
)
def test_margin_counts_u_from_the_limit_met_first(off_um, size, margin):
    """With u = 5 um: from +-20 um inside and just beyond it, from the wider +-40 um once that is passed."""
    assert judged(off_um, 10, size).margin_u == pytest.approx(margin, abs=1e-9)


def test_a_reading_carries_what_its_verdicts_rest_on():
    """Verdicts follow the numbers as they stand in the reading, each with its limit or with a reason why there is none."""
    one = judge_reading(replace(k_file(), d0_mm=Quantity(0.281, 0.003), conformity={}, judged={}))

    assert one.conformity == {"d0": "outside", "d16": "within", "length": "within", "tip_angle": None}
    for name, judgement in one.judged.items():
        if judgement.verdict is None:
            assert judgement.reason, name
        else:
            assert judgement.within.source
            assert judgement.margin_u is not None
    assert one.judged["taper"].within is None, "no limit of the taper was read, so none is stated"
    assert "60" not in one.judged["taper"].reason


def test_a_tip_taken_for_lost_leaves_nothing_to_judge():
    """The condition's own finding decides, from even odds up."""
    one = k_file()
    findings = (Finding("tip-lost", 0.0, 0.0, Quantity(1.5, 0.4), "mm", 0.6),)
    lost = judge_reading(replace(one, condition=replace(one.condition, findings=findings)))

    assert set(lost.conformity.values()) == {None}
    assert {judgement.reason for judgement in lost.judged.values()} == {lost.judged["d0"].reason}
    assert "tip" in lost.judged["d0"].reason


def test_a_size_that_only_sorting_may_use_is_not_judged_against():
    one = replace(k_file(), size=Choice(25, 0.75))

    assert set(judge_reading(one).conformity.values()) == {None}
    assert judge_reading(replace(one, size=Choice(25, 0.85))).conformity["d0"] is not None
