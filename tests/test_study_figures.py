"""The study's plain baseline, its bound, the truths it slips in, and its report, on made-up pictures and rows."""

from __future__ import annotations

import numpy as np
import pytest
from invented_readings import k_file
from scipy import stats

from samples.camera import Camera
from tests.study import fair
from tests.study.baseline import dimensions, outline
from tests.study.cases import cases
from tests.study.causes import CAUSES, causes_table, switched, true_height, true_marks, true_offsets, true_scale
from tests.study.ideal import PAPER, TRUE_PX, Ideal, bound_px, columns_used, picture, reference_px, spread_ratio
from tests.study.read import told
from tests.study.report import report_text
from tests.study.text_table import number, share, table
from vision import instrument, run_on
from vision.marks import NO_MARKS
from vision.photo import LINEAR
from vision.quantity import Quantity
from vision.scale import Camera as Stood
from vision.scale import Scale

PX_PER_MM = 60.0


def test_the_plain_way_measures_a_plain_cone():
    """A matt dark cone, sharp to a px, is what a threshold can measure: D0 0.30, taper 0.02, shank 0.62 mm, no flutes."""
    columns, rows = np.arange(1800), np.arange(400)[:, None]
    x = (columns - 120) / PX_PER_MM
    half = PX_PER_MM * np.where(x < 16.0, 0.15 + 0.01 * x, 0.31)
    dark = (np.abs(rows - 200) < half) & (x >= 0.0)
    rgb = np.where(dark, 60, 220).astype(np.uint8)[..., None].repeat(3, axis=2)
    one = {"working_part_mm": 16.0, "length_mm": 24.0, "pitch_mm": None}
    got = dimensions(*outline(rgb, np.array([120.0, 200.0]), np.array([1560.0, 200.0]), PX_PER_MM), one)

    assert got["d0_mm"] == pytest.approx(0.30, abs=0.04)  # 2 px, windows' widest columns
    assert got["taper_mm_per_mm"] == pytest.approx(0.02, abs=0.002)
    assert got["shank_width_mm"] == pytest.approx(0.62, abs=1.5 / PX_PER_MM)
    assert got["pitch_mm"] is None


def test_print_beside_the_shaft_is_no_metal():
    rgb = np.full((400, 1800, 3), 220, np.uint8)
    rgb[190:210, 120:1560] = 60
    rgb[:120, 300:800] = 20  # reaches the band's border
    x, upper, lower = outline(rgb, np.array([120.0, 200.0]), np.array([1560.0, 200.0]), PX_PER_MM)
    assert (upper - lower)[100:1300].max() < 24 / PX_PER_MM
    assert x[-1] == pytest.approx(24.0, abs=0.1)


@pytest.mark.parametrize("blur_px", [1.0, 3.0])
def test_the_bound_is_the_closed_form_but_for_rounding(blur_px):
    """sqrt(2) (noise/contrast) sqrt(2 sqrt(pi) blur): both edges of one column, noise far above the 8-bit step."""
    kind = Ideal(blur_px, 0.05, 0.05)
    closed = np.sqrt(2.0) * kind.noise / (PAPER - kind.metal) * np.sqrt(2.0 * np.sqrt(np.pi) * blur_px)
    assert bound_px(kind) == pytest.approx(closed, rel=0.01)
    assert bound_px(kind) >= closed * (1.0 - 1e-6)


def test_the_bar_has_the_light_width_and_noise_it_says():
    kind = Ideal(1.5, 0.3, 0.02)
    light = LINEAR[picture(kind, 1)[..., 0]]
    assert light[:60].mean() == pytest.approx(PAPER, abs=0.002)
    assert light[:60].std() == pytest.approx(kind.noise, rel=0.05)
    width = (PAPER - light).sum(axis=0).mean() / (PAPER - kind.metal)
    assert width == pytest.approx(TRUE_PX, abs=0.05)


def test_a_fit_that_knows_the_blur_reaches_the_bound():
    """Maximum likelihood is efficient: its spread is the bound's within what 40 repeats tell (standard error 11 %)."""
    kind = Ideal(1.5, 0.05, 0.03)
    got = np.array([reference_px(picture(kind, seed), kind.blur_px) for seed in range(40)])
    ratio, low, high = spread_ratio(got, bound_px(kind) / np.sqrt(columns_used()))
    assert low < 1.0 < high
    assert 0.7 < ratio < 1.3
    assert got.mean() == pytest.approx(TRUE_PX, abs=0.005)


def test_spread_ratio_has_the_chi_square_interval():
    """Limits of sd/sigma at n = 20: 0.76 and 1.46 (handbook table of the chi-square interval, from memory)."""
    values = np.random.default_rng(2).normal(0.0, 1.0, 20)
    ratio, low, high = spread_ratio(values, 1.0)
    assert ratio == pytest.approx(stats.tstd(values))
    assert (low / ratio, high / ratio) == pytest.approx((0.76, 1.46), abs=0.006)


def test_true_outlines_come_as_offsets_from_any_axis():
    """A circle of radius 500 px with an outline 12 px outside and 7 inside, seen from an axis 2 px off it."""
    turn = np.linspace(0.2, 1.2, 600)
    ring = np.column_stack([np.cos(turn), np.sin(turn)])
    axis, inward = 502.0 * ring, -ring
    spots = np.linspace(0.3, 1.1, 200)
    lines = {name: 500.0 + off for name, off in (("upper", 12.0), ("lower", -7.0))}
    one = {"outline_px": {n: np.column_stack([spots, r * np.cos(spots), r * np.sin(spots)]).tolist() for n, r in lines.items()}}
    upper, lower = true_offsets(axis, inward, one)

    inside = np.isfinite(upper) & np.isfinite(lower)
    assert inside.mean() == pytest.approx(0.8, abs=0.02)
    assert upper[inside] == pytest.approx(9.0, abs=0.02)
    assert lower[inside] == pytest.approx(-10.0, abs=0.02)


def test_true_marks_and_height():
    axis = np.column_stack([np.arange(1000.0), np.full(1000, 50.0)])
    line = [[x, 100.0 + 30.0 * x, 50.0] for x in np.arange(0.0, 25.5, 0.5)]
    one = {
        "axis_px": line, "working_part_mm": 16.25, "tip_px": [100.0, 50.0], "handle_px": [850.0, 50.0],
        "visible": {"tip": True, "handle_front": True},
        "height_mm_of_x": [[0.0, 0.2], [12.5, 1.2], [25.0, 1.8]],
    }  # fmt: skip
    marks = true_marks(NO_MARKS, axis, one)
    assert [mark.column for mark in (marks.tip, marks.front, marks.part_end) if mark] == pytest.approx([100.0, 850.0, 587.5])
    hidden = true_marks(NO_MARKS, axis, one | {"visible": {"tip": False, "handle_front": False}})
    assert (hidden.tip, hidden.front) == (None, None)
    height = true_height(one)
    assert [height.at(share)[0] for share in (0.0, 0.5, 1.0)] == pytest.approx([0.2, 1.2, 1.8])


def test_switching_leaves_the_stages_as_they_were():
    before = run_on.locate_edges, instrument.read_marks, instrument._height
    with pytest.raises(ZeroDivisionError), switched("all of them", {"instruments": [{}]}):
        _ = 1 / int(instrument.read_marks is before[1])
    assert (run_on.locate_edges, instrument.read_marks, instrument._height) == before


def test_true_scale_maps_as_the_renderers_camera_does():
    camera = Camera("x", 3000, 2000, 50.0, 80.0, (60.0, 40.0), tilt_deg=4.0, tilt_to_deg=30.0, turn_deg=20.0, k1=0.01)
    radius = float(np.hypot(3000, 2000) / 2.0)
    stood = Stood((0.0, 0.0), Quantity(50.0, 2.0), 0.0, height_known=True)
    found = Scale(
        np.eye(3), 0.0, (1499.5, 999.5), radius, np.eye(9), (0.1, 0.1), None, None, (1.0, 1.0), stood, 0.2, np.zeros((3, 2))
    )  # fmt: skip
    told_ = {"matrix": camera.matrix.tolist(), "k1": camera.k1, "position_mm": camera.position.tolist()}
    scale = true_scale(found, {"camera": told_, "print_scale": {"x": 1.01, "y": 0.99}})
    spots = np.random.default_rng(1).uniform([45, 30], [75, 50], (20, 2))
    assert scale.to_px(spots) == pytest.approx(camera.project(np.column_stack([spots, np.zeros(20)])), abs=1e-6)
    assert scale.print_scale == (1.01, 0.99)
    assert scale.camera.height_mm.value == pytest.approx(camera.position[2])


def invented_row(setup, seed, family="k-file"):
    said = told(k_file())
    truth = {
        "family": family, "stranger": None, "population": "nominal", "size": 25, "cross_section": "square", "damage": [],
        "d0_mm": 0.25, "d16_mm": 0.57, "taper_mm_per_mm": 0.02, "tip_width_mm": 0.1, "shank_width_mm": 0.57, "length_mm": 25.0,
        "working_part_mm": 16.2, "pitch_mm": 0.58, "helix_angle_deg": 29.0, "px_per_mm": 60.0 + seed, "tilt_deg": 2.0, "blur_px": 1.2,
        "handle": "red", "size_colour": "red",
    }  # fmt: skip
    return {
        "item": f"{setup}-{seed}", "setup": setup, "seed": seed, "held": True, "truth": truth,
        "photos": [{"error": None, "found": 1, "reading": said}],
        "baseline": {"d0_mm": 0.27}, "read_s": 1.0, "render_s": 2.0,
    }  # fmt: skip


def test_a_report_of_invented_rows(monkeypatch):
    monkeypatch.setattr(fair, "k_share", lambda *_: 0.999)
    rows = [invented_row("flat", k) for k in range(6)] + [invented_row("traced-flat", k) for k in range(3)]
    rows.append({**invented_row("strangers", 1), "truth": invented_row("strangers", 1)["truth"] | {"family": "other", "stranger": "wire"}})
    text = report_text(cases(rows), rows)
    assert "10 pieces, 10 photos" in text
    assert "### flat" in text
    assert "6 of 6" in text
    value = told(k_file())["d0_mm"][0]
    ours, plain = abs(value - 0.25) * 1000, 20.0
    line = next(line for line in text.splitlines() if line.startswith("| flat") and "D0, um" in line and "(+0)" in line)
    assert f"{number(ours)}" in line
    assert f"{plain / ours:.1f} (" in line
    assert "named as one of the four" in text


def test_causes_stand_side_by_side():
    rows = []
    for k in range(4):
        whole = invented_row("flat", k)
        rows.append({**whole, "causes": dict.fromkeys(CAUSES, whole["photos"][0])})
    lines = causes_table(rows).splitlines()
    assert all(cause in lines[0] for cause in CAUSES)
    assert "(4)" in lines[2]


def test_tables_read_as_text():
    assert table(("a", "bb"), [("1", "2")]) == "| a | bb |\n| - | -- |\n| 1 | 2  |"
    assert share(81, 263) == "30.8 % (81/263; 25.5 to 36.6)"  # Newcombe 1998 (from memory)
    assert share(0, 0) == "- (0)"
    assert [number(v) for v in (None, float("nan"), float("inf"), 0.01234)] == ["-", "-", "open", "0.0123"]
