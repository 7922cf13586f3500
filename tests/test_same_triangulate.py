"""The axis in space from several photos, against OpenCV's triangulation, closed forms and draws with known truth."""

import cv2
import numpy as np
import pytest
from synthetic_views import CENTRE_PX, LENGTH_MM, TIP_MM, Camera, across, axis_points, look

from vision.lifted import lift
from vision.place import to_profile
from vision.pose import Height
from vision.sighting import sight
from vision.triangulate import triangulate

POSES = {"hovering": (1.95, 1.95), "tipped": (0.15, 1.9), "held": (0.3, 0.35)}


def pair(height_mm: float, parallax: float = 0.4, aim: float = 0.5, along_mm: float = 0.0) -> list[Camera]:
    return [across(height_mm, -parallax / 2, aim), across(height_mm, parallax / 2, aim, along_mm)]


def solved(cameras, ends, **shape):
    return triangulate([sight(camera.scale(), look(camera, ends, **shape)) for camera in cameras], bent="sag" in shape)


@pytest.mark.parametrize("ends", POSES.values(), ids=POSES)
@pytest.mark.parametrize("height_mm", [45.0, 80.0, 160.0])
@pytest.mark.parametrize("aim", [0.0, 0.5, 1.0])
def test_two_views_give_the_height_of_both_ends(ends, height_mm, aim):
    found = solved(pair(height_mm, aim=aim, along_mm=6.0), ends)

    assert found.ends_mm[:2] == pytest.approx(ends, abs=2e-3)
    assert found.parallax == pytest.approx(0.4, abs=1e-3)


@pytest.mark.parametrize("ends", POSES.values(), ids=POSES)
def test_agrees_with_opencv_on_tip_and_front(ends):
    """cv2.triangulatePoints on the two ends, which unlike crests can be matched between the photos."""
    cameras = pair(60.0, along_mm=4.0)
    spots = [look(camera, ends) for camera in cameras]
    flat = [np.stack([one.tip, one.front], axis=1) for one in spots]
    x = cv2.triangulatePoints(cameras[0].projection, cameras[1].projection, flat[0], flat[1])
    theirs = -(x[2] / x[3])
    ours = solved(cameras, ends).ends_mm[:2]

    assert theirs == pytest.approx(ends, abs=1e-3)
    assert ours == pytest.approx(theirs, abs=2e-3)


def test_an_axis_that_bows_and_sags():
    found = solved(pair(60.0), (0.4, 1.9), sag=-0.5, bow=0.8)

    assert found.ends_mm == pytest.approx([0.4, 1.9, -0.5], abs=6e-3)


@pytest.mark.parametrize("wrong", [0.8, 1.25])
def test_square_on_the_focal_length_cancels(wrong):
    """z / (Z - z) is right whatever the focal length: q1 - q2 = m (F2 - F1), lengths on the sheet alone."""
    cameras = pair(60.0, aim=0.0)
    z = 1.9
    seen = [look(camera, (z, z)) for camera in cameras]
    views = [sight(camera.scale(believed_f35_mm=26.0 * wrong), one) for camera, one in zip(cameras, seen, strict=True)]
    found = triangulate(views, bent=False)
    tips = [view.tip_mm for view in views]
    closed = (tips[0] - tips[1])[1] / (np.subtract(views[1].foot_mm, views[0].foot_mm)[1])

    assert views[0].height_mm == pytest.approx(60.0 * wrong, rel=1e-6)
    assert closed == pytest.approx(z / (60.0 - z), rel=1e-4)
    assert found.ends_mm[0] / (views[0].height_mm - found.ends_mm[0]) == pytest.approx(closed, rel=1e-3)


def test_moving_along_gives_nothing_and_says_so():
    middle = TIP_MM + [LENGTH_MM / 2, 0.0]
    cameras = [Camera(middle + [move, 0.0], 60.0) for move in (-12.0, 12.0)]
    rng = np.random.default_rng(4)
    lifted = lift([camera.scale(rng) for camera in cameras], [look(camera, (1.9, 1.9), rng) for camera in cameras])

    assert lifted.axis.parallax < 0.02
    assert lifted.weak
    prior = Height(1.2, 1.9, 0.8, 0.3, 0.3, "resting freely")
    informed = lifted.height(prior)
    assert informed.tip_mm == pytest.approx(1.2, abs=0.8)  # what is left is the usual pose
    assert informed.u_tip_mm <= 0.8


def test_heights_are_honest():
    """Over many draws: bias under 1 % of z, and the truth within 2 u about as often as a normal law has it (95.4 %)."""
    rng = np.random.default_rng(31)
    count, misses, units, ratios = 400, [], [], []
    for _ in range(count):
        height = float(rng.uniform(45.0, 160.0))
        ends = (float(rng.uniform(0.1, 2.0)), float(rng.uniform(1.6, 2.1)))
        f35 = 26.0 * float(1.0 + rng.normal(0.0, 0.04))  # what the photo records is 4 % off
        cameras = pair(height, float(rng.uniform(0.34, 0.6)), float(rng.uniform(0.0, 1.0)), float(rng.normal(0.0, 4.0)))
        scales = [camera.scale(rng, believed_f35_mm=f35) for camera in cameras]
        lifted = lift(scales, [look(camera, ends, rng) for camera in cameras])
        z = 0.6 * ends[0] + 0.4 * ends[1]
        misses.append(lifted.height_mm.value - z)
        units.append(misses[-1] / lifted.height_mm.u)
        at = np.array([0.6, 0.4, 0.96])
        u_ratio = float(np.sqrt(at @ lifted.ratio @ at))
        seen = lifted.height_mm.value / scales[0].camera.height_mm.value * height
        ratios.append((seen - z) / u_ratio)

    assert abs(np.mean(misses)) < 0.01 * 1.4  # z is 1.37 mm in the middle of the draws
    for name, z in (("height", units), ("correction", ratios)):
        inside = float(np.mean(np.abs(z) <= 2.0))
        assert 0.93 <= inside <= 0.98, f"{name}: {inside:.3f} of {count}"


def test_three_views_tell_more_than_two():
    rng = np.random.default_rng(7)
    cameras = [across(60.0, share) for share in (-0.25, 0.0, 0.25)]
    scales, seen = [c.scale(rng) for c in cameras], [look(c, (1.9, 1.9), rng) for c in cameras]

    assert lift(scales, seen).height_mm.u <= lift(scales[::2], seen[::2]).height_mm.u * 1.02


def test_a_round_wire_seen_at_a_slant_keeps_its_width():
    """Both lines of sight that touch a cylinder, in closed form in the plane across its axis: asin(r / distance) to each side."""
    radius, z, height = 0.3, 1.9, 60.0
    for share in (-0.3, 0.0, 0.25):
        camera = across(height, share, aim=0.5)
        out = share * height
        middle, half = np.arctan2(-out, height - z), np.arcsin(radius / np.hypot(out, height - z))
        # Where each touching line of sight meets the level of the axis, page y.
        low, high = (TIP_MM[1] + out + (height - z) * np.tan(middle + side * half) for side in (-1.0, 1.0))
        profile = to_profile(*_flat_edges(camera, low, high, z))
        width = np.nanmedian(profile.upper_mm - profile.lower_mm)

        assert width == pytest.approx(2.0 * radius, rel=2.0 * (radius / (height - z)) ** 2 + 1e-4)


def _flat_edges(camera, low, high, z):
    from vision.edges import Edges  # noqa: PLC0415 - only here
    from vision.strip import Strip, normals  # noqa: PLC0415

    share = np.linspace(0.1, 0.9, 1200)
    middle = axis_points(share, z, z)
    dense, up, down = (camera.px(middle + [0.0, y - TIP_MM[1], 0.0]) for y in ((low + high) / 2.0, high, low))
    normal = normals(dense)
    offset = [((edge - dense) * normal).sum(axis=1) for edge in (up, down)]
    strip = Strip(np.zeros((3, len(dense)), np.float32), dense, normal, np.ones(len(dense), bool))
    edges = Edges(strip, offset[0], offset[1], np.ones((2, len(dense))), 1.0, 1.0)
    return edges, camera.scale(), Height(z, z, 0.0, 0.0, 0.0, "known"), 0.0, float(len(dense) - 1)


def test_the_middle_of_the_picture_is_where_the_tests_say():
    assert sight(across(60.0, 0.0).scale(), look(across(60.0, 0.0), (0.0, 0.0))).foot_mm == pytest.approx(
        TIP_MM + [LENGTH_MM / 2, 0.0], abs=1e-4
    )
    assert CENTRE_PX == (1999.5, 1499.5)
