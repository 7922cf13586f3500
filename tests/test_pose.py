"""How high the instrument lies: statics bounds it, and what one photo leaves open is carried as uncertainty."""

import math

import numpy as np
import pytest

from vision.pose import AGAIN_U_MM, HELD_GAP_MM, ON_PLANE, OTHER_POSE, Height, held, laid_again, resting
from vision.pose import HANDLE_MM as USUAL_HANDLE_MM

# Size 25 with a cylindrical handle. Common practice, no source: handles are 3.5 to 4.2 mm thick.
TIP_MM, SHANK_MM, HANDLE_MM, LENGTH_MM = 0.25, 0.57, 3.9, 25.0


@pytest.mark.parametrize("share", [0.0, 0.25, 0.4, 1.0])
def test_height_and_uncertainty_along_the_shaft(share):
    """z runs linearly from tip to handle, and its u is that of two correlated ends (JCGM 100:2008, 5.2.2), by simulation."""
    height = Height(0.5, 1.9, 0.4, 0.15, 0.3, "a pose")
    covariance = [[0.4**2, 0.3 * 0.4 * 0.15], [0.3 * 0.4 * 0.15, 0.15**2]]
    ends = np.random.default_rng(4).multivariate_normal([0.5, 1.9], covariance, 40_000)
    drawn = (1.0 - share) * ends[:, 0] + share * ends[:, 1]
    value, u = height.at(share)

    assert value == pytest.approx(0.5 + share * 1.4)
    assert u == pytest.approx(float(drawn.std()), rel=0.02)


def test_a_stated_scale_leaves_no_height():
    """A scale stated at the instrument needs no correction and adds no uncertainty."""
    assert ON_PLANE.at(0.0) == ON_PLANE.at(1.0) == (0.0, 0.0)


@pytest.mark.parametrize("shank_mm", [0.4, 0.57, 1.12, 1.72])
def test_a_held_shaft_lies_on_the_paper_or_a_little_above(shank_mm):
    """A shaft held down lies 0 to 0.3 mm above touching the paper; both limits are within two standard uncertainties."""
    height = held(shank_mm, shank_mm - 0.32)
    touching = shank_mm / 2.0

    for z in (touching, touching + HELD_GAP_MM):
        assert abs(height.handle_mm - z) <= 2.0 * height.u_handle_mm
        assert abs(height.tip_mm - z) <= 2.0 * height.u_tip_mm
    assert height.u_handle_mm == pytest.approx(HELD_GAP_MM / math.sqrt(12.0))  # rectangular, JCGM 100:2008, 4.3.7


@pytest.mark.parametrize("size", [10, 25, 40, 50, 55, 80, 140])
@pytest.mark.parametrize("handle_mm", [3.5, 3.9, 4.2, None])
def test_no_pose_that_statics_allows_is_excluded(size, handle_mm):
    """Hovering on the handle and tipped on the tip both lie within two standard uncertainties, at both ends, at any size."""
    tip = size / 100.0
    height = resting(tip, handle_mm)
    front = (handle_mm or HANDLE_MM) / 2.0

    for tip_z in (front, tip / 2.0):
        assert abs(height.tip_mm - tip_z) <= 2.0 * height.u_tip_mm
    assert abs(height.handle_mm - front) <= 2.0 * height.u_handle_mm
    assert tip / 2.0 < height.tip_mm < front
    assert height.handle_mm <= max(front, USUAL_HANDLE_MM / 2.0)  # what handles usually measure has a say


def test_tipping_tilts_a_25_by_4_degrees():
    """A 25 mm instrument of size 25 whose tip touches leans by asin((1.95 - 0.125) / 25) = 4.2 degrees (statics)."""
    lean = math.degrees(math.asin((HANDLE_MM / 2.0 - TIP_MM / 2.0) / LENGTH_MM))

    assert lean == pytest.approx(4.2, abs=0.05)
    height = resting(TIP_MM, HANDLE_MM)
    most = math.degrees(math.asin((height.handle_mm - height.tip_mm + 2.0 * height.u_tip_mm) / LENGTH_MM))
    assert most >= lean


def _behind_front_mm(size):
    """Centre of mass of shaft and handle, mm behind the handle's front, from volumes and densities.

    Steel 7.9 g/cm3; handle 0.15 g, 11 mm long: common practice, no source. Cone frustum of 16 mm, then a cylinder.
    """
    density, handle_g, handle_mm = 7.9e-3, 0.15, 11.0
    d0, d16 = size / 100.0, size / 100.0 + 0.32
    x = np.linspace(0.0, LENGTH_MM, 2501)
    diameter = np.minimum(d0 + 0.02 * x, d16)
    line_g = density * np.pi * diameter**2 / 4.0
    shaft_g = np.trapezoid(line_g, x)
    shaft_at = np.trapezoid(line_g * (x - LENGTH_MM), x) / shaft_g
    return (shaft_g * shaft_at + handle_g * handle_mm / 2.0) / (shaft_g + handle_g)


def test_small_sizes_balance_on_their_handle():
    """By statics the centre of mass of small sizes lies inside the handle, of sizes from 60 up before it; so the model leans."""
    inside = [size for size in (10, 25, 40, 45) if _behind_front_mm(size) > 0.0]
    before = [size for size in (60, 80, 100) if _behind_front_mm(size) < 0.0]

    assert inside == [10, 25, 40, 45]
    assert before == [60, 80, 100]
    small = [resting(size / 100, HANDLE_MM).tip_mm for size in inside]
    large = [resting(size / 100, HANDLE_MM).tip_mm for size in before]
    assert min(small) > max(large)


def test_a_handle_out_of_the_frame_costs_certainty():
    """Without the handle in view its usual thickness is taken, with a wider uncertainty at both ends."""
    seen, unseen = resting(TIP_MM, USUAL_HANDLE_MM), resting(TIP_MM, None)

    assert unseen.tip_mm == pytest.approx(seen.tip_mm)
    assert unseen.u_tip_mm > seen.u_tip_mm
    assert unseen.u_handle_mm > seen.u_handle_mm
    assert held(SHANK_MM, TIP_MM).u_handle_mm < seen.u_handle_mm


def test_an_instrument_laid_down_again_rests_as_before_or_now_and_then_otherwise():
    """Mean and spread of two cases of known shares, by simulation."""
    before, own = Height(1.9, 1.8, 0.05, 0.04, 0.9, "triangulated"), Height(0.9, 1.7, 0.5, 0.15, 0.3, "resting freely")
    random = np.random.default_rng(7)
    other = random.random(200_000) < OTHER_POSE
    again = laid_again(before, own)

    for name in ("tip", "handle"):
        (a, u_a), (b, u_b) = ((getattr(one, f"{name}_mm"), getattr(one, f"u_{name}_mm")) for one in (before, own))
        drawn = np.where(other, random.normal(b, u_b, len(other)), random.normal(a, math.hypot(u_a, AGAIN_U_MM), len(other)))
        assert getattr(again, f"{name}_mm") == pytest.approx(float(drawn.mean()), abs=0.005)
        assert getattr(again, f"u_{name}_mm") == pytest.approx(float(drawn.std()), rel=0.02)
