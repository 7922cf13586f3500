"""What the drawn populations hold: ranges, shares, overlaps. Thousands of instruments, no pictures."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from samples.arrays import CPU
from samples.bodies import place
from samples.draw_free import draw_of
from samples.draw_instrument import FAMILIES
from samples.instrument import SIDES, Instrument
from samples.iso import COLOURS, HALF_SIZES, colour_of
from samples.population import draw_macro
from samples.tray import draw_tray
from samples.truth import truth_of
from samples.twist import twist_rad
from samples.views import draw_views

EACH = 500


@cache
def lot(population: str, family: str) -> tuple[Instrument, ...]:
    """EACH instruments of a family; 2,000 of each population over the four families."""
    return tuple(
        draw_of(np.random.default_rng([seed, FAMILIES.index(family)]), population, family) for seed in range(EACH)
    )


def everyone(population: str) -> list[Instrument]:
    return [one for family in FAMILIES for one in lot(population, family)]


def density(instruments: tuple[Instrument, ...]) -> np.ndarray:
    """Edges per mm at x = 8 mm of the blank."""
    return np.array([1 / one.twist.pitch_mm for one in instruments])


def angle_deg(one: Instrument) -> float:
    """Edge against the axis at x = 8 mm: tan = pi D / lead, the textbook construction of the helix."""
    lead = one.twist.pitch_mm * SIDES.get(one.cross_section, 1)
    return float(np.degrees(np.arctan(np.pi * (one.blank_d0_mm + 8 * one.taper_mm_per_mm) / lead)))


@pytest.mark.parametrize("population", ["nominal", "wide", "free"])
def test_a_tenth_of_both_families_lies_where_the_other_one_is_common(population):
    """'Common': inside the middle 98 % of the other family, so that no single outlier makes the overlap."""
    k, reamer = (density(lot(population, family)) for family in ("k-file", "reamer"))

    assert np.mean(k < np.quantile(reamer, 0.99)) >= 0.1
    assert np.mean(reamer > np.quantile(k, 0.01)) >= 0.1


@pytest.mark.parametrize(
    ("family", "sizes", "quoted"),
    [
        ("k-file", range(15, 21), 1.97),
        ("k-file", range(80, 141), 0.88),
        ("reamer", range(15, 21), 0.80),
        ("reamer", range(130, 141), 0.28),
    ],
)
def test_density_falls_with_size_as_quoted(family, sizes, quoted):
    """Quoted from memory, no source read: K-files 1.97 edges/mm falling to 0.88, reamers 0.80 to 0.28; lots +-20 %."""
    found = density(tuple(one for one in lot("wide", family) if one.size in sizes))

    assert np.median(found) == pytest.approx(quoted, rel=0.12)
    assert 0.08 < found.std() / found.mean() < 0.2  # a uniform spread of +-20 % has 0.115; odd lots come on top


def test_free_diameters_are_log_uniform_from_60_to_1400_um():
    """A log-uniform law has its quartiles at even steps of the logarithm."""
    d0 = np.array([one.blank_d0_mm for one in everyone("free")])

    assert d0.min() >= 0.06
    assert d0.max() <= 1.40
    assert np.log(np.quantile(d0, [0.25, 0.5, 0.75])) == pytest.approx(
        np.log(0.06) + np.log(1.40 / 0.06) * np.array([0.25, 0.5, 0.75]), abs=0.12
    )


def test_free_tapers_and_lengths_fill_their_ranges():
    cutting = [one for one in everyone("free") if one.family != "barbed-broach"]
    taper = np.array([one.taper_mm_per_mm for one in cutting])
    length = np.array([one.blank_length_mm for one in everyone("free")])

    assert (taper.min(), taper.max()) == (pytest.approx(0.015, abs=1e-3), pytest.approx(0.065, abs=1e-3))
    assert (length.min(), length.max()) == (pytest.approx(16, abs=0.2), pytest.approx(33, abs=0.2))
    assert all(8.0 <= one.working_part_mm <= one.length_mm - 2.5 for one in everyone("free"))
    assert max(one.shank_width_mm for one in everyone("free")) < min(
        one.handle.diameter_mm for one in everyone("free") if one.shank_width_mm > 2.0
    )


def test_free_instruments_have_no_size_and_refuse_one():
    assert {one.size for one in everyone("free")} == {0}
    with pytest.raises(ValueError, match="population 'free' has no sizes, asked for 25"):
        draw_macro(1, size=25, population="free")


def test_wide_population_knows_every_listed_size_and_the_half_sizes():
    """Sizes 06 to 140 and half sizes 12 to 37 as in public tables (21 listed sizes, six half sizes)."""
    drawn = {one.size for one in everyone("wide")}

    assert drawn == set(COLOURS) | set(HALF_SIZES)
    assert len(COLOURS) == 21
    assert [colour_of(size) for size in (12, 17, 22, 27, 32, 37)] == [colour_of(s) for s in (10, 15, 20, 25, 30, 35)]


@pytest.mark.parametrize("family", ["k-file", "reamer"])
@pytest.mark.parametrize("population", ["wide", "free"])
def test_blanks_of_every_section_occur(population, family):
    """Square, triangular and rhombic K-files, square reamers: sections vary with the maker (textbooks disagree)."""
    found = [one.cross_section for one in lot(population, family)]
    wanted = {"k-file": {"square", "triangle", "rhombus"}, "reamer": {"triangle", "square"}}[family]

    assert set(found) == wanted
    assert min(found.count(section) for section in wanted) > 0.08 * EACH


def test_free_edges_stand_at_angles_that_twisting_allows():
    """From memory: K-files 25 to 40 degrees to the axis, reamers 10 to 30; an atlas: Hedstroem files 60 to 65."""
    middle = {family: np.median([angle_deg(one) for one in lot("free", family)]) for family in FAMILIES[:3]}

    assert 25 < middle["k-file"] < 40
    assert 10 < middle["reamer"] < 30
    assert 58 < middle["hedstroem-file"] < 67


@pytest.mark.parametrize("population", ["wide", "free"])
def test_some_handles_are_wrong_faded_or_bleached(population):
    everybody = everyone(population)
    right = [
        colour_of(one.size or min(COLOURS, key=lambda size, d0=one.blank_d0_mm: abs(size - 100 * d0)))
        for one in everybody
    ]
    wrong = np.mean([one.handle.moulded_colour != colour for one, colour in zip(everybody, right, strict=True)])
    looks = [one.handle.colour for one in everybody]

    assert 0.03 < wrong < 0.055
    assert 0.03 < looks.count("bleached") / len(looks) < 0.07
    assert 0.15 < np.mean([0 < one.handle.faded < 1 for one in everybody]) < 0.25
    assert len({one.handle.shape for one in everybody}) == 8
    assert all(one.handle.moulded_colour != "bleached" for one in everybody)


def test_healthy_twist_scatters_as_stated():
    """The rms of the deviation and the lag at which its correlation has fallen to 1/e, found again in the twist."""
    x = np.arange(-10.0, 50.0, 0.05)
    rms, alike = [], []
    for one in lot("free", "k-file")[:60]:
        law = replace(one.twist, drift_per_mm=0.0)
        smooth = twist_rad(replace(one, twist=replace(law, scatter_deg=0.0)), x)
        rough = np.degrees(twist_rad(replace(one, twist=law), x) - smooth)
        rough -= rough.mean()
        lag = round(law.scatter_length_mm / 0.05)
        rms.append(rough.std() / law.scatter_deg)
        alike.append(np.mean(rough[lag:] * rough[:-lag]) / law.scatter_deg**2)

    assert np.array(rms) == pytest.approx(1.0, abs=0.01)
    assert np.mean(alike) == pytest.approx(np.exp(-1), abs=0.08)
    assert all(3 <= o.twist.scatter_deg <= 15 and 1 <= o.twist.scatter_length_mm <= 4 for o in lot("free", "k-file"))


def test_all_three_laws_of_pitch_occur_and_the_angle_of_one_stays():
    """Constant angle: D(x) / lead(x) is the same everywhere, by tan(angle) = pi D / lead."""
    reamers = [o for o in lot("free", "reamer") if o.twist.drift_per_mm != 0]
    steady = [o for o in lot("free", "reamer") if o.twist.drift_per_mm == 0]
    drift = np.array([o.twist.drift_per_mm for o in reamers])
    ratio = np.array([o.taper_mm_per_mm / o.envelope_mm(8.0) for o in reamers])
    angled = [o for o, d, r in zip(reamers, drift, ratio, strict=True) if d == pytest.approx(r)]

    assert min(len(steady), len(angled), len(reamers) - len(angled)) > 0.2 * EACH
    one = replace(angled[0], twist=replace(angled[0].twist, scatter_deg=0.0))
    x = np.linspace(0.0, one.working_part_mm, 400)
    rate = np.gradient(twist_rad(one, x), x)[1:-1]
    product = rate * np.array([one.envelope_mm(v) for v in x[1:-1]])
    assert product == pytest.approx(product.mean(), rel=2e-3)


@pytest.mark.parametrize("population", ["wide", "free"])
@pytest.mark.parametrize("family", FAMILIES)
def test_truth_tells_what_a_score_needs(population, family):
    scene = draw_macro(3, family, "free", 6.0, image_px=(240, 180), population=population)
    laid = scene.laid[0]
    told = truth_of(scene, (place(laid.instrument, laid.pose, CPU),))["instruments"][0]

    assert told["population"] == population
    assert (told["size"] is None) == (population == "free")
    assert {"colour", "moulded_colour", "size_colour", "faded"} <= set(told["handle"])
    assert told["d0_mm"] == laid.instrument.d0_mm
    if family != "barbed-broach":
        assert told["twist"]["scatter_deg"] == laid.instrument.twist.scatter_deg
        assert told["twist"]["law"] in ("constant pitch", "constant angle", "drifting pitch")
        # A healthy instrument: the fitted trend's pitch at 8 mm is the law's, within what the scatter allows.
        assert told["pitch_mm"] == pytest.approx(laid.instrument.twist.pitch_mm, rel=0.15)


def test_hard_conditions_are_harder_and_keep_instrument_and_pose():
    usual, hard = (
        [draw_macro(seed, pose="free", px_per_mm=60.0, light="lamp", conditions=how) for seed in range(40)]
        for how in ("usual", "hard")
    )

    for a, b in zip(usual, hard, strict=True):
        assert a.laid == b.laid
        assert a.camera.matrix == pytest.approx(b.camera.matrix)  # so the truth is as exact
        assert b.camera.blur_px > a.camera.blur_px
        assert b.sensor.jpeg_quality <= 70
    clutter = [np.mean([len(s.paper.specks) + len(s.paper.lint) for s in lot]) for lot in (usual, hard)]
    assert clutter[1] > 5 * clutter[0]
    assert np.mean([s.paper.kind == "matt" for s in hard]) < 0.6 < np.mean([s.paper.kind == "matt" for s in usual])
    assert max(s.sensor.sharpen for s in hard) > 1.2 > max(s.sensor.sharpen for s in usual)
    assert min(s.light.ambient_low[1] for s in hard) < 0.5 * min(s.light.ambient_low[1] for s in usual)
    cast = [max(max(s.light.lobes[0].rgb) / min(s.light.lobes[0].rgb) for s in lot) for lot in (usual, hard)]
    assert cast[0] < 1.4
    assert cast[1] > 1.6


def test_hard_scales_reach_both_edges():
    drawn = [
        draw_macro(seed, pose="free", conditions="hard", image_px=(9000, 7000)).camera.px_per_mm for seed in range(60)
    ]

    assert min(drawn) < 18
    assert max(drawn) > 125
    assert 0.3 < np.mean(np.array(drawn) < 40) < 0.7


@pytest.mark.parametrize("population", ["wide", "free"])
def test_trays_and_views_draw_from_every_population(population):
    tray = draw_tray(2, 8, strangers=0.0, population=population)
    views = draw_views(2, "turned", 2, population=population)

    assert {laid.instrument.population for laid in tray.laid} == {population}
    assert [scene.laid[0].instrument.population for scene in views] == [population] * 2
