"""The ripple of a twisted shaft's shadow, against closed forms of a square's silhouette."""

from dataclasses import replace

import numpy as np
import pytest

from samples.arrays import CPU
from samples.bodies import Placed, place
from samples.draw_instrument import draw_instrument
from samples.pose import Pose
from samples.ripple import LEAST, MOST, WAYS, Slant, silhouette, wider_share

MEAN_OVER_CORNER = np.log(1 + 2**0.5) * 4 / (np.pi * 2**0.5)  # mean radius of a square over its corner's

STATIONS = np.arange(2.0, 14.0, 0.02)
NARROW = Slant(0.0, 0.01), Slant(0.0, 0.01)


def square(roll_deg: float = 0.0) -> Placed:
    drawn = draw_instrument(np.random.default_rng(0), "k-file", 40)
    sharp = replace(drawn, cross_section="square", corner_um=0.5, taper_mm_per_mm=0.0)
    return place(sharp, Pose("flat", 0.0, 0.0, 1.0, 0.0, roll_deg=roll_deg), CPU)


def test_silhouette_of_a_twisted_square_runs_from_its_faces_to_its_corners():
    seen = silhouette(square(), STATIONS)

    assert seen.shape == (STATIONS.size, WAYS)
    assert seen.max() == pytest.approx(1 / MEAN_OVER_CORNER, rel=0.01)
    assert seen.min() == pytest.approx(2**-0.5 / MEAN_OVER_CORNER, rel=0.01)


def test_mean_silhouette_is_the_perimeter_over_two_pi():
    """Cauchy's formula (from memory): the mean width of a convex section is its perimeter over pi."""
    perimeter = 4 * 2**0.5  # of a square whose corners lie at 1

    assert silhouette(square(), STATIONS).mean() == pytest.approx(perimeter / (2 * np.pi) / MEAN_OVER_CORNER, rel=0.005)


@pytest.mark.parametrize("roll_deg", [0.0, 25.0, 70.0])
def test_silhouette_is_that_of_the_points_of_the_surface_on_the_sheet(roll_deg):
    """The same from points of the surface, carried to the sheet by the pose."""
    placed, x = square(roll_deg), np.array([3.0, 7.3, 11.1])
    angle = np.linspace(0, 2 * np.pi, 2000, endpoint=False)
    radius = placed.surface.radius(np.repeat(x, angle.size), np.tile(angle, x.size)).reshape(x.size, -1)
    own = np.stack(np.broadcast_arrays(x[:, None], radius * np.cos(angle), radius * np.sin(angle)), -1)
    points = placed.pose.to_sheet(own) - placed.pose.to_sheet(np.stack([x, 0 * x, 0 * x], -1))[:, None]
    way = np.arange(WAYS) * 2 * np.pi / WAYS
    toward = np.stack([0 * way, np.cos(way), np.sin(way)])  # the axis runs along X, so across is Y

    assert np.allclose(silhouette(placed, x), (points @ toward).max(1) / radius.mean(1, keepdims=True), rtol=0.012)


def test_round_shaft_has_no_ripple():
    assert np.allclose(silhouette(square(), np.array([20.0, 21.0])), 1.0)


def test_far_points_see_less_ripple_and_no_share_is_beyond_the_silhouettes():
    off = np.tile(np.array([0.3, 2.5]), (STATIONS.size, 1))
    share = wider_share(square(), STATIONS, off, np.full(STATIONS.size, 0.2), (Slant(0.0, 0.3), Slant(0.0, 0.3)))

    inner = share[50:-50]
    assert inner[:, 1].std() < 0.5 * inner[:, 0].std()
    assert ((share >= (LEAST - 1) / 0.25) & (share <= (MOST - 1) / 0.25)).all()


def test_light_along_the_axis_moves_the_ripple():
    off = np.full((STATIONS.size, 1), 0.3)
    height = np.full(STATIONS.size, 0.2)
    still = wider_share(square(), STATIONS, off, height, NARROW)[:, 0]
    moved = wider_share(square(), STATIONS, off, height, (NARROW[0], Slant(0.5, 0.01)))[:, 0]

    by = round(0.5 * np.hypot(0.3, 0.2) / 0.02)
    assert np.allclose(moved[100:-100], still[100 + by : -100 + by or None], atol=0.06)
