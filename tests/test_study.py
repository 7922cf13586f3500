"""The accuracy study's plan, its memory, and the statistics it reports, against handbooks, closed forms and SciPy."""

from __future__ import annotations

import json
import math
import os
import pickle
import time
from collections import Counter
from dataclasses import dataclass, replace

import numpy as np
import pytest
from scipy import stats

from calib.prints import CALLIPER_U_MM, load
from calib.sheet import sheet_named
from tests.study import fair, rows
from tests.study.accuracy import COUNTS, FIRST, FIRST_TRACED
from tests.study.calls import called_wrongly, true_margin
from tests.study.cases import cases, errors, group_of
from tests.study.design import (
    FAMILIES,
    HEIGHT_KNOWN_TO,
    LEAST_D0_MM,
    LEAST_Z_MM,
    PX_PER_MM,
    THICKEST_MM,
    Item,
    plan,
    scenes,
    stated_camera,
)
from tests.study.intervals import bootstrap, brier, log_loss, percentile_interval, robust_sd, wilson
from tests.study.produce import own_gpu, prints_of
from tests.study.run import Work, run
from tests.study.tray_photos import Photos
from tests.study.tray_scenes import tray_scene
from vision.reading import PhotoReading
from vision.tray.looked import TrayPhoto


@pytest.mark.parametrize(
    ("hits", "count", "low", "high"), [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)]
)
def test_wilson_as_published(hits, count, low, high):
    """Newcombe, Statistics in Medicine 17 (1998) 857, table I, method 3 (from memory)."""
    assert wilson(hits, count) == pytest.approx((low, high), abs=6e-5)


@pytest.mark.parametrize(("hits", "count"), [(3, 40), (39, 40), (450, 900)])
def test_wilson_agrees_with_scipy(hits, count):
    expected = stats.binomtest(hits, count).proportion_ci(0.95, method="wilson")
    assert wilson(hits, count) == pytest.approx((expected.low, expected.high), abs=1e-9)


def test_ranks_of_a_percentile_as_tabled():
    """Median: ranks 2 and 9 of 10, 6 and 15 of 20 (tables of the sign test's interval, from memory)."""
    assert percentile_interval(np.arange(1.0, 11.0), 50) == (2.0, 9.0)
    assert percentile_interval(np.arange(1.0, 21.0), 50) == (6.0, 15.0)


@pytest.mark.parametrize(("count", "q"), [(40, 50), (300, 50), (300, 95)])
def test_ranks_cover_as_often_as_claimed(count, q):
    """P(low rank <= number below the percentile < high rank) by the binomial distribution is at least 95 %."""
    low, high = percentile_interval(np.arange(1.0, count + 1.0), q)
    covered = stats.binom.cdf(high - 1, count, q / 100) - stats.binom.cdf(low - 1, count, q / 100)
    assert 0.95 <= covered < 0.99


def test_a_percentile_that_so_few_values_cannot_bound_is_open():
    assert percentile_interval(np.arange(1.0, 31.0), 95)[1] == math.inf
    assert percentile_interval(np.arange(1.0, 4.0), 50) == (0.0, math.inf)


def test_robust_sd_is_the_sd_of_a_normal_sample_and_deaf_to_outliers():
    values = stats.norm.ppf((np.arange(4000) + 0.5) / 4000) * 2.0
    spoilt = np.concatenate([values, [500.0, -900.0]])
    assert robust_sd(values) == pytest.approx(2.0, rel=2e-3)
    assert robust_sd(spoilt) == pytest.approx(stats.median_abs_deviation(spoilt, scale="normal"), rel=1e-4)


def test_bootstrap_of_a_mean_agrees_with_student():
    values = np.random.default_rng(3).normal(5.0, 2.0, 200)
    expected = stats.t.interval(0.95, 199, values.mean(), stats.sem(values))
    assert bootstrap(values, lambda v: float(v.mean()), 2000) == pytest.approx(expected, abs=0.05)


def test_scores_of_a_constant_have_closed_forms():
    """A constant that states the shares scores sum p(1 - p) (Brier) and the entropy (log-loss)."""
    right = ["a"] * 6 + ["b"] * 3 + ["c"]
    p = np.array([0.6, 0.3, 0.1])
    given = [dict(zip("abc", p, strict=True))] * 10
    assert brier(given, right) == pytest.approx(float((p * (1 - p)).sum()))
    assert log_loss(given, right) == pytest.approx(float(stats.entropy(p)))


def test_a_class_not_stated_scores_as_zero():
    assert brier([{"a": 1.0}], ["b"]) == 2.0
    assert log_loss([{"a": 1.0}], ["b"]) == pytest.approx(-math.log(0.001))


def test_the_plan_uses_no_seed_twice_and_is_mixed():
    items = plan(COUNTS, FIRST, FIRST_TRACED)
    assert len({item.name for item in items}) == sum(COUNTS.values()) == len(items)
    own = [item.seed for item in items if not item.setup.startswith("traced")]
    traced = [item.seed for item in items if item.setup.startswith("traced")]
    assert len(set(own)) == len(own)
    assert len(set(traced)) == len(traced)
    assert min(own) >= 13000
    assert max(own) < 33000 <= min(traced)
    tenth = Counter(item.setup for item in items[: len(items) // 10])
    assert all(abs(tenth[name] - count / 10) <= 1.0 for name, count in COUNTS.items())
    for name in COUNTS:
        families = Counter(FAMILIES[item.seed % 4] for item in items if item.setup == name)
        assert max(families.values()) - min(families.values()) <= 1


@pytest.mark.parametrize("name", ["flat", "same", "free", "hard", "unchecked", "strangers", "traced-free"])
def test_scenes_keep_to_the_design(name):
    drawn = [scenes(item) for item in plan({name: 4}, 100, 900)]
    for views in drawn:
        camera, laid = views[0].camera, views[0].laid[0]
        assert len(views) == (2 if name == "same" else 1)
        assert PX_PER_MM[0] <= camera.px_per_mm <= PX_PER_MM[1]
        assert camera.z_mm >= LEAST_Z_MM
        assert camera.width_px * camera.height_px < 20e6
        if name != "strangers":
            assert laid.instrument.d0_mm >= LEAST_D0_MM
            assert laid.instrument.shank_width_mm <= THICKEST_MM
            assert not laid.instrument.damage
        if name in ("flat", "unchecked"):
            assert laid.pose.kind == "flat"
        for one in views:
            ends = one.camera.project(laid.pose.to_sheet(np.array([[0.0, 0, 0], [laid.instrument.length_mm, 0, 0]])))
            assert np.all((ends > 0) & (ends < [one.camera.width_px, one.camera.height_px]))


def test_two_views_show_one_untouched_instrument():
    first, second = scenes(Item("same", 2104))
    assert first.laid == second.laid
    way = second.camera.position - first.camera.position
    assert np.linalg.norm(way) > 0.2 * first.camera.z_mm


def test_the_stated_focal_length_is_off_by_up_to_what_is_said():
    camera = scenes(Item("flat", 101))[0].camera
    off = np.array([stated_camera(camera, seed).f35_mm / camera.f35_mm - 1.0 for seed in range(300)])
    assert np.abs(off).max() <= HEIGHT_KNOWN_TO
    assert off.std() == pytest.approx(HEIGHT_KNOWN_TO / math.sqrt(3), rel=0.1)  # rectangular (JCGM 100:2008, 4.3.7)


def test_the_print_check_is_read_with_callipers(tmp_path):
    truth = {"sheet": "A4-1", "print_scale": {"x": 1.004, "y": 0.997}}
    line = sheet_named("A4-1").check_lines.across.nominal_mm
    off = [load("A4-1", prints_of(Item("flat", seed), tmp_path, truth)).scale_x - 1.004 for seed in range(60)]
    assert np.std(off) == pytest.approx(CALLIPER_U_MM / line, rel=0.3)
    assert not load("A4-1", prints_of(Item("unchecked", 1), tmp_path, truth)).checked


def test_rows_outlive_a_cut_line(tmp_path):
    path = tmp_path / "rows.jsonl"
    rows.add(path, {"item": "a", "n": 1})
    path.write_text(path.read_text() + '{"item": "b", "n"')  # a killed run
    rows.add(path, {"item": "c", "n": 3})
    rows.add(path, {"item": "a", "n": 4})
    assert rows.done(path) == {"a", "c"}
    assert {row["item"]: row["n"] for row in rows.load([path])} == {"a": 4, "c": 3}
    assert rows.done(tmp_path / "none.jsonl") == set()


@dataclass(frozen=True)
class Pretended(Work):
    """Work that takes no time; seed 3 breaks."""

    def one(self, item):
        if time.time() > self.until:
            return None
        if item.seed == 3:
            raise ValueError("broken")
        return {"item": item.name}


def test_a_run_goes_on_where_it_stopped_and_stops_in_time(tmp_path):
    items, out = [Item("flat", k) for k in range(6)], tmp_path / "rows.jsonl"
    said: list[str] = []
    work = Pretended(tmp_path, "cpu")
    assert run(items, replace(work, until=0.0), 1, out, said.append) == 0
    assert "6 left for another run" in said[-1]
    assert run(items[:4], work, 1, out, said.append) == 1
    assert any("flat-3: " in line and "broken" in line for line in said)
    assert run(items, work, 1, out, said.append) == 1
    assert "6 items, 3 there already, 3 to do" in said[-3]
    assert len(rows.done(out)) == 5


def test_a_tray_study_goes_on_where_it_stopped_and_stops_in_time(tmp_path):
    (tmp_path / "7.json").write_text("{}")
    (tmp_path / "7.pickle").write_bytes(pickle.dumps((TrayPhoto(PhotoReading("7.jpg", None, None), (), None, None), 12.4)))
    photos = Photos(tmp_path, until=0.0)

    def count(seed, truth, tray):
        return Counter({tray.file: seed, "truths": len(truth)})

    assert photos.one(tray_scene, count, 7) == Counter({"7.jpg": 7, "photos": 1, "seconds": 12})
    assert photos.one(tray_scene, count, 8) is None
    assert not (tmp_path / "8.jpg").exists()


def test_processes_share_the_gpus(monkeypatch):
    monkeypatch.setenv("STUDY_GPUS", "2,5")
    monkeypatch.setenv("CUDA_VISIBLE_DEVICES", "none yet")
    monkeypatch.setenv("STUDY_GPU_TAKEN", "to be undone")
    for name, expected in (("SpawnProcess-1", "5"), ("SpawnProcess-8", "2"), ("MainProcess", "2")):
        monkeypatch.delenv("STUDY_GPU_TAKEN", raising=False)
        monkeypatch.setattr("tests.study.produce.current_process", lambda name=name: type("P", (), {"name": name}))
        own_gpu()
        assert os.environ["CUDA_VISIBLE_DEVICES"] == expected


@pytest.mark.parametrize(
    ("verdict", "true", "wrong", "margin"),
    [
        ("within", 0.715, False, 0.005),
        ("within", 0.725, True, 0.0),
        ("outside", 0.735, True, 0.0),
        ("outside", 0.655, False, 0.005),
        ("undecided", 0.760, False, 0.020),
    ],
)
def test_calls_are_judged_by_the_truth(verdict, true, wrong, margin):
    """Size 70: +-0.02 mm for 'within', +-0.04 mm for 'outside'; between the two neither may be said."""
    judged = {"verdict": verdict, "nominal": 0.7, "within": 0.02, "outside": 0.04}
    assert called_wrongly(judged, true) is wrong
    assert true_margin(judged, true) == pytest.approx(margin, abs=1e-9)


def row(setup, d0, value, u, *, held=True, **more):
    reading = {"d0_mm": None if value is None else [value, u]}
    return {
        "item": f"{setup}-{d0}-{value}", "setup": setup, "held": held, "truth": {"d0_mm": d0},
        "photos": [{"error": None, "found": 1, "reading": reading}], **more,
    }  # fmt: skip


def test_errors_carry_the_printed_unit():
    found = cases([row("flat", 0.3, 0.304, 0.002), row("flat", 0.3, None, None), row("flat", 0.4, 0.398, 0.001)])
    in_um, in_percent = errors(found, "d0_mm", 1000.0), errors(found, "d0_mm", None)
    assert in_um.error == pytest.approx([4.0, -2.0])
    assert in_um.u == pytest.approx([2.0, 1.0])
    assert (in_um.asked, len(in_um.cases)) == (3, 2)
    assert in_percent.error == pytest.approx([100 * 4 / 300, -0.5])


def test_two_views_count_by_their_combined_reading():
    both = row("same", 0.3, 0.2, 0.1, combined={"d0_mm": [0.3003, 0.001]})
    assert errors(cases([both]), "d0_mm", 1000.0).error == pytest.approx([0.3])
    assert cases([row("same", 0.3, 0.2, 0.1, combined=None)])[0].reading is None


def test_bistable_sizes_stand_apart():
    assert [group_of(row("free", d0, d0, 0.1)) for d0 in (0.3, 0.6, 0.8)] == ["free", "free, sizes 50-70", "free"]
    assert group_of(row("hard", 0.6, 0.6, 0.1, held=False)) == "hard, free"


def test_fair_share_follows_section_and_density(monkeypatch):
    """Only K-files are rhombic; dense square blanks are K-files, coarse triangular ones reamers; shares add up to 1."""
    monkeypatch.setattr(fair, "DRAWN", 150)
    fair._drawn.cache_clear()
    fair._curves.cache_clear()
    assert fair.k_share("nominal", "square", 0.5, 1.8) > 0.98
    assert fair.k_share("nominal", "triangle", 0.5, 0.55) < 0.1
    piece = {"population": "free", "d0_mm": 0.3, "taper_mm_per_mm": 0.02, "pitch_mm": 1 / 1.05, "cross_section": "triangle"}
    k, reamer = (fair.right_share(piece | {"family": name}) for name in fair.TWISTED)
    assert k is not None
    assert reamer is not None
    assert k + reamer == pytest.approx(1.0)
    assert fair.right_share(piece | {"family": "barbed-broach"}) is None
    assert fair.k_share("free", "rhombus", 0.5, 1.4) > 0.999
    fair._drawn.cache_clear()
    fair._curves.cache_clear()


def test_rows_are_plain_json(tmp_path):
    path = tmp_path / "rows.jsonl"
    rows.add(path, row("flat", 0.3, 0.304, 0.002))
    assert json.loads(path.read_text())["truth"]["d0_mm"] == 0.3
