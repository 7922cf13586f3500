"""Kink against pre-curve: the step of direction is found at any angle, arcs of 8 mm and more are none."""

from __future__ import annotations

import numpy as np
import pytest

from vision.bends import sharpest_bend

STEP_MM = 0.0143


def line(curvature, *, noise_mm=0.002, seed=1):
    """Middle line (N, 2) of a shaft from its curvature (1/mm) of x, with the noise of an outline."""
    x = np.arange(0.2, 15.0, STEP_MM)
    heading = np.cumsum(curvature(x)) * STEP_MM + 0.3
    rng = np.random.default_rng(seed)
    across = rng.normal(0.0, noise_mm, len(x))
    points = np.column_stack([np.cumsum(np.cos(heading)), np.cumsum(np.sin(heading))]) * STEP_MM
    return x, points + across[:, None] * np.column_stack([-np.sin(heading), np.cos(heading)])


def kink(x, at, degrees, half_mm=0.15):
    return np.radians(degrees) * np.exp(-0.5 * ((x - at) / half_mm) ** 2) / (half_mm * np.sqrt(2.0 * np.pi))


def arc(x, radius_mm, low, high):
    up = 1.0 if low <= 0.0 else np.clip((x - low) / 0.5 + 0.5, 0.0, 1.0)
    return up * np.clip((high - x) / 0.5 + 0.5, 0.0, 1.0) / radius_mm


@pytest.mark.parametrize("degrees", [15.0, -30.0, 60.0])
@pytest.mark.parametrize("at", [1.2, 5.0, 10.0])
def test_a_kink_is_found_with_its_angle_and_place(degrees, at):
    """Within 2 degrees and a tenth, placed within 0.15 mm; near the tip, where one side is short, within 6 and a tenth."""
    bend = sharpest_bend(*line(lambda x: kink(x, at, degrees)), 0.0)

    assert bend is not None
    assert bend.sharp_deg == pytest.approx(degrees, abs=(6.0 if at < 2.0 else 2.0) + 0.1 * abs(degrees))
    assert bend.at_mm == pytest.approx(at, abs=0.25 if at < 2.0 else 0.15)
    assert bend.probability > 0.99


@pytest.mark.parametrize("radius_mm", [8.0, 12.0, 25.0])
@pytest.mark.parametrize(("low", "high"), [(0.0, 5.0), (0.0, 12.0), (3.0, 9.0)])
def test_a_pre_curve_is_no_kink(radius_mm, low, high):
    """However strong, at its ends too; its whole turn is told."""
    bend = sharpest_bend(*line(lambda x: arc(x, radius_mm, low, high), seed=2), 0.0)

    assert bend is not None
    assert bend.probability < 0.3
    assert abs(bend.whole_deg) == pytest.approx(np.degrees((high - max(low, 0.2)) / radius_mm), rel=0.1, abs=2.0)


def test_a_kink_in_a_pre_curve_is_found_over_it():
    bend = sharpest_bend(*line(lambda x: arc(x, 10.0, 0.0, 8.0) + kink(x, 4.0, 20.0)), 0.0)

    assert bend is not None
    assert bend.at_mm == pytest.approx(4.0, abs=0.2)
    assert bend.sharp_deg == pytest.approx(20.0, abs=3.0)


def test_the_printed_limit_is_that_of_the_alert():
    """A straight shaft is quiet, and a kink at the printed limit is called more often than not over 8 draws, at half of it never."""
    quiet = sharpest_bend(*line(lambda x: 0.0 * x), 0.0)
    assert quiet is not None
    assert quiet.probability < 0.01
    called = [
        [sharpest_bend(*line(lambda x, s=share: kink(x, 4.0, s * quiet.smallest_deg), seed=k), 0.0).probability > 0.5 for k in range(8)]
        for share in (1.0, 0.5)
    ]
    assert np.mean(called[0]) > 0.6
    assert not any(called[1])


def test_what_a_stop_hides_is_no_kink():
    """A gap over which the line jumps a little is bridged, not judged."""
    x, points = line(lambda x: 0.0 * x)
    points[(x > 6.0) & (x < 8.5)] = np.nan
    points[x >= 8.5, 1] += 0.05
    bend = sharpest_bend(x, points, 0.0)

    assert bend is not None
    assert bend.probability < 0.3


def test_too_short_a_line_has_no_bend():
    x, points = line(lambda x: 0.0 * x)
    assert sharpest_bend(x[:150], points[:150], 0.0) is None


@pytest.mark.parametrize(("degrees", "told"), [(16.0, True), (0.0, False)])
def test_on_a_short_piece_a_kink_is_not_taken_for_its_own_noise(degrees, told):
    """8 mm of a broach's working part: every place lies within a window of the kink, which shows there as steps the other way."""
    x, points = line(lambda x: kink(x, 4.4, degrees) + arc(x, 30.0, 0.0, 8.0), noise_mm=0.004)

    bend = sharpest_bend(x[x < 8.0], points[x < 8.0], 0.0)

    assert bend is not None
    assert bend.u_deg < 2.0
    assert (bend.probability > 0.95) == told
