"""Uncertainty budgets against the Guide's own worked examples and against simulations."""

from __future__ import annotations

import io
import math
from dataclasses import replace

import numpy as np
import pytest
from invented_readings import k_file, reading
from matplotlib.figure import Figure
from rich.console import Console
from test_report_table import CLEARANCE

from vision.budget import (
    CAUSES,
    budget_of,
    cone_covariance,
    correlation_matrix,
    correlations,
    propagated,
)
from vision.quantity import Quantity, combined
from vision.report.budget_figure import budget_figure
from vision.report.budget_table import budgets_of, print_budgets

# JCGM 100:2008, H.2, table H.2: five simultaneous readings of voltage (V), current (A) and phase (rad). Inputs read in the
# documentation of an open library that works the example; observations and results from memory.
VOLTAGE = (5.007, 4.994, 5.005, 4.990, 4.999)
CURRENT = (19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3)
PHASE = (1.0456, 1.0438, 1.0468, 1.0428, 1.0433)


def impedance() -> tuple[np.ndarray, np.ndarray]:
    """Resistance, reactance and modulus of H.2 with their covariance by the budget's own propagation."""
    rows = np.array([VOLTAGE, CURRENT, PHASE])
    v, i, phase = rows.mean(axis=1)
    of_means = np.cov(rows) / rows.shape[1]
    z, c, s = v / i, math.cos(phase), math.sin(phase)
    slopes = np.array([[c / i, -z * c / i, -z * s], [s / i, -z * s / i, z * c], [1.0 / i, -z / i, 0.0]])
    return np.array([z * c, z * s, z]), propagated(slopes, of_means)


def test_means_and_correlations_of_the_inputs_of_h2() -> None:
    """Table H.2: 4.9990 V (0.0032), 19.6610 mA (0.0095), 1.04446 rad (0.00075); r = -0.36, 0.86, -0.65."""
    rows = np.array([VOLTAGE, CURRENT, PHASE])
    r = correlation_matrix(np.cov(rows) / 5)

    assert rows.mean(axis=1) == pytest.approx([4.9990, 19.6610e-3, 1.04446], rel=1e-5)
    assert rows.std(axis=1, ddof=1) / math.sqrt(5) == pytest.approx([0.0032, 0.0095e-3, 0.00075], rel=0.02)
    assert (r[0, 1], r[0, 2], r[1, 2]) == pytest.approx((-0.36, 0.86, -0.65), abs=0.006)


def test_resistance_and_reactance_of_the_guide() -> None:
    """H.2.4: R = 127.732 ohm (0.071), X = 219.847 (0.295), Z = 254.260 (0.236); r = -0.588, -0.485, 0.993 (from memory)."""
    values, covariance = impedance()
    r = correlation_matrix(covariance)

    assert values == pytest.approx([127.732, 219.847, 254.260], abs=6e-4)
    assert np.sqrt(np.diag(covariance)) == pytest.approx([0.071, 0.295, 0.236], abs=6e-4)
    assert (r[0, 1], r[0, 2], r[1, 2]) == pytest.approx((-0.588, -0.485, 0.993), abs=6e-4)


def test_leaving_correlation_out_would_miss_the_guides_figures() -> None:
    """H.2 shows what is lost: without the covariances X would carry another u."""
    rows = np.array([VOLTAGE, CURRENT, PHASE])
    v, i, phase = rows.mean(axis=1)
    slope = np.array([[math.sin(phase) / i, -v * math.sin(phase) / i**2, v * math.cos(phase) / i]])
    alone = propagated(slope, np.diag(np.var(rows, axis=1, ddof=1) / 5))

    assert math.sqrt(alone[0, 0]) != pytest.approx(0.295, rel=0.1)


END_GAUGE_NM = (("standard", 25.0), ("comparison", 9.7), ("expansion", 2.9), ("temperature", 16.6))


def test_shares_of_the_end_gauge() -> None:
    """JCGM 100:2008, H.1 (from memory): 32 nm; the standard gauge makes 625 of 1003 nm² and stands first; U = 2 u = 63 nm."""
    budget = budget_of("length_mm", combined(50.000838, [(name, u * 1e-6) for name, u in END_GAUGE_NM]))

    assert [line.label for line in budget.lines] == ["standard", "temperature", "comparison", "expansion"]
    assert budget.lines[0].share == pytest.approx(625 / 1003, rel=2e-3)
    assert sum(line.share for line in budget.lines) == pytest.approx(1.0)
    assert budget.expanded_u == pytest.approx(63.4e-6, rel=2e-3)
    assert budget.ruling is None, "62 % do not rule"


def test_input_times_sensitivity_is_the_contribution() -> None:
    """5.1.3: each contribution is |c| u(x); a relative input has the value itself as its sensitivity."""
    taper = combined(0.02, [("height", 0.0002), ("edge model", 0.0003), ("fit", 0.0001)])
    for field, quantity in (("taper_mm_per_mm", taper), ("d0_mm", combined(0.25, [("height", 0.0025), ("fit", 0.001)]))):
        for line in budget_of(field, quantity).lines:
            assert line.input_u * line.sensitivity == pytest.approx(line.u)
    assert budget_of("d0_mm", combined(0.25, [("height", 0.0025)])).lines[0].input_u == pytest.approx(0.01)


def test_scale_is_told_apart_into_print_and_place() -> None:
    """Both parts of the photo's scale go into the budget; their squares still make the same variance."""
    scale = Quantity(60.0, 0.5, (("marker fit", 0.3), ("print scale", 0.4)))
    quantity = combined(0.5, [("scale", 0.5 * 0.5 / 60.0), ("fit", 0.001)])
    lines = {line.label: line for line in budget_of("d0_mm", quantity, scale).lines}

    assert lines["print scale"].input_u == pytest.approx(0.4 / 60.0)
    assert lines["marker fit"].input_u == pytest.approx(0.3 / 60.0)
    assert math.hypot(*(line.u for line in lines.values())) == pytest.approx(quantity.u)


def cone(*, rho: float = -0.7) -> dict[str, Quantity]:
    """D0, D16 and taper as measured together: print and height in common, a fit whose D0 and taper go apart."""
    d0, taper = 0.25, 0.02
    d16, u0, ut = d0 + 16 * taper, 0.0020, 0.00015
    u16 = math.sqrt(u0**2 + (16 * ut) ** 2 + 2 * 16 * rho * u0 * ut)
    rel = (("print scale", 0.006), ("height", 0.009))
    return {
        "d0_mm": combined(d0, [*((n, d0 * r) for n, r in rel), ("edge model", 0.003), ("fit", u0)]),
        "d16_mm": combined(d16, [*((n, d16 * r) for n, r in rel), ("edge model", 0.003), ("fit", u16)]),
        "taper_mm_per_mm": combined(taper, [*((n, taper * r) for n, r in rel), ("edge model", 0.0002), ("fit", ut)]),
        "length_mm": combined(25.0, [*((n, 25.0 * r) for n, r in rel), ("place", 0.1)]),
    }


def test_d16_is_d0_and_sixteen_tapers_in_its_uncertainty_too() -> None:
    """u(D0 + 16 taper) with the correlations stated is u(D16) (5.2.2, equation 13); without them it is not."""
    q = cone()
    r = correlations(q)["d0_mm"]["taper_mm_per_mm"]
    u0, u_rise, u16 = q["d0_mm"].u, 16 * q["taper_mm_per_mm"].u, q["d16_mm"].u

    assert math.sqrt(u0**2 + u_rise**2 + 2 * r * u0 * u_rise) == pytest.approx(u16, rel=1e-9)
    assert math.hypot(u0, u_rise) != pytest.approx(u16, rel=0.01)


@pytest.mark.parametrize("rho", [-0.9, -0.5, 0.0, 0.6])
def test_correlations_are_those_of_a_simulation(rho: float) -> None:
    """Errors drawn cause by cause (JCGM 101:2008) correlate as stated."""
    q, n = cone(rho=rho), 200_000
    rng = np.random.default_rng(8)
    d0, taper, d16 = (q[name].value for name in ("d0_mm", "taper_mm_per_mm", "d16_mm"))
    print_error, height_error = rng.normal(0, 0.006, n), rng.normal(0, 0.009, n)
    fit0, other = rng.normal(0, 0.0020, n), rng.normal(0, 1, n)
    fit_taper = 0.00015 * (rho * fit0 / 0.0020 + math.sqrt(1 - rho**2) * other)
    edge0 = rng.normal(0, 0.003, n)  # both ends alike in size, and apart so that their slope has its stated spread
    turn = 1.0 - (16 * 0.0002 / 0.003) ** 2 / 2
    edge16 = turn * edge0 + math.sqrt(1 - turn**2) * rng.normal(0, 0.003, n)
    end0 = d0 * (print_error + height_error) + edge0 + fit0
    end16 = d16 * (print_error + height_error) + edge16 + fit0 + 16 * fit_taper
    slope = (end16 - end0) / 16
    length = 25.0 * (print_error + height_error) + rng.normal(0, 0.1, n)
    drawn = np.corrcoef([end0, end16, slope, length])

    stated = correlations(q)
    names = list(q)
    for i, a in enumerate(names):
        assert q[a].u == pytest.approx([end0, end16, slope, length][i].std(), rel=0.01)
        for j, b in enumerate(names[i + 1 :], i + 1):
            assert stated[a][b] == pytest.approx(drawn[i, j], abs=0.01), (a, b)
    assert taper > 0


def test_what_cannot_be_known_is_left_out() -> None:
    """Without D16 nobody knows how the fit ties D0 to the taper, so no figure is stated for them."""
    stated = correlations({name: q for name, q in cone().items() if name != "d16_mm"})

    assert "taper_mm_per_mm" not in stated["d0_mm"]
    assert 0.0 < stated["d0_mm"]["length_mm"] < 1.0


def test_correlations_are_possible_ones() -> None:
    """No combination of the results has a negative variance, whatever the parts are."""
    rng = np.random.default_rng(5)
    for _ in range(50):
        u = rng.uniform(0.0, 1.0, 3) * (1.0, 1.0, 0.2)
        assert np.linalg.eigvalsh(cone_covariance(*u)).min() > -0.35 * max(u) ** 2  # spreads that contradict each other are cut
        q = cone()
        names = list(q)
        r = correlations(q)
        full = np.array([[1.0 if a == b else r.get(a, {}).get(b, r.get(b, {}).get(a, 0.0)) for b in names] for a in names])
        assert np.linalg.eigvalsh(full).min() > -1e-9


def test_every_label_of_a_budget_says_what_makes_it_smaller() -> None:
    for label, cause in CAUSES.items():
        assert cause.words, label
        assert cause.smaller, label


def printed(width: int = 80) -> str:
    out = io.StringIO()
    one = replace(k_file(), **cone())
    scale = replace(reading().scale, px_per_mm=Quantity(60.0, 0.5, (("marker fit", 0.3), ("print scale", 0.4))))
    print_budgets(one, scale, Console(file=out, width=width, markup=False))
    return out.getvalue()


def test_printed_budget_has_numbers_before_bars_and_fits() -> None:
    lines = printed().splitlines()

    assert max(len(line.rstrip()) for line in lines) <= 80
    assert any(line.startswith("D0 0.2500 mm, u 0.0045, U = 2 u = 0.0090") for line in lines)
    height = next(line for line in lines if line.startswith("height"))
    assert height.split()[:8] == ["height", "0.90", "%", "0.25", "mm", "0.0022", "25", "%"]
    assert height.rstrip().endswith("####")
    text = " ".join(" ".join(lines).split())
    assert "to make it smaller" in text
    assert "D0 with D16" in text
    assert "u stated as a whole, without contributions: working part, shank" in text


def test_no_budget_without_parts() -> None:
    plain = replace(k_file(), d0_mm=Quantity(0.25, 0.003), d16_mm=None)

    assert budget_of("d0_mm", Quantity(0.25, 0.003)) is None
    assert budgets_of(plain, None) == ()


def words_of(figure: Figure) -> str:
    texts = [*figure.texts, *(text for axes in figure.axes for text in axes.texts)]
    return " ".join(text.get_text() for text in texts)


def test_figure_says_each_number_beside_its_bar() -> None:
    """Bars are as long as the contributions; every number stands in words, and the cautions with them."""
    one = replace(k_file(), **cone())
    figure = budget_figure("a.jpg", one, None)
    words = words_of(figure)

    for budget, axes in zip(budgets_of(one, None), figure.axes, strict=True):
        widths = [bar.get_width() for bar in axes.patches]
        assert widths == pytest.approx([line.u / budget.quantity.u for line in budget.lines])
        assert sum(width**2 for width in widths) == pytest.approx(1.0)
    assert "edge model 0.0030 mm, 44 %" in words
    assert "cannot clear" in words.replace("it cannot clear one", "cannot clear")
    assert CLEARANCE.findall(words) == []


def test_figure_without_budgets_says_so() -> None:
    plain = replace(k_file(), d0_mm=None, d16_mm=None)

    assert "No quantity here has recorded contributions" in words_of(budget_figure("a.jpg", plain, None))
