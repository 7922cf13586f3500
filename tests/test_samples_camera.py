"""The camera, the poses and the outline against OpenCV, shapely and closed forms."""

from dataclasses import replace

import cv2
import numpy as np
import pytest
import shapely

from samples.arrays import CPU
from samples.bodies import place
from samples.camera import Camera
from samples.draw_damage import pre_curved
from samples.draw_instrument import draw_instrument
from samples.fragments import fragments_of
from samples.instrument import Handle, Instrument
from samples.iso import handle_profile
from samples.layers import blur_disc
from samples.outline import outline_px
from samples.population import draw_macro
from samples.pose import Pose
from samples.stage import set_stage, surroundings_of
from samples.statics import rests, weights

CAMERA = Camera(
    "test",
    1600,
    1200,
    26.0,
    60.0,
    (80.0, 60.0),
    tilt_deg=6.0,
    tilt_to_deg=200.0,
    turn_deg=37.0,
    k1=0.01,
    focus_height_mm=0.5,
)


def test_projection_agrees_with_opencv():
    """cv2.projectPoints wants a right-handed world (Z into the sheet) and r in focal lengths, not half diagonals."""
    rng = np.random.default_rng(1)
    points = rng.uniform([70, 50, 0], [90, 70, 3], (50, 3))
    flip = np.diag([1.0, 1.0, -1.0])
    rotation = CAMERA.rotation @ flip
    rvec, _ = cv2.Rodrigues(rotation)
    tvec = -rotation @ (flip @ CAMERA.position)
    cx, cy = CAMERA.centre_px
    k = np.array([[CAMERA.focal_px, 0, cx], [0, CAMERA.focal_px, cy], [0, 0, 1]])
    k1 = CAMERA.k1 * (CAMERA.focal_px / CAMERA.half_diagonal_px) ** 2
    theirs, _ = cv2.projectPoints(points @ flip, rvec, tvec, k, np.array([k1, 0, 0, 0]))

    assert np.linalg.det(rotation) == pytest.approx(1.0)
    assert np.allclose(CAMERA.project(points), theirs[:, 0], atol=1e-6)


def test_rays_undo_the_projection():
    points = np.array([[75.0, 58.0, 0.0], [86.0, 66.0, 0.0], [80.0, 60.0, 0.0]])

    assert np.allclose(CAMERA.on_sheet(CAMERA.project(points)), points[:, :2], atol=1e-5)


def test_height_magnifies_by_z_over_z_minus_height():
    level = replace(CAMERA, tilt_deg=0.0, k1=0.0)
    ends = np.array([[70.0, 60, 0], [90, 60, 0]])
    raised = ends + [0, 0, 1.9]
    span = [np.linalg.norm(np.diff(level.project(p), axis=0)) for p in (ends, raised)]

    assert level.z_mm == pytest.approx(1600 * 26 / (36 * 60))
    assert span[1] / span[0] == pytest.approx(level.z_mm / (level.z_mm - 1.9), rel=1e-9)


def test_blur_disc_grows_with_height_as_a_thin_lens_says():
    """(f/N) z / Z px_per_mm for a feature z above a sharp sheet, first order in z / Z; 2 to 5 px per mm at 60 px/mm."""
    phone = replace(
        CAMERA, width_px=4032, height_px=3024, focal_mm=5.7, f_number=1.8, focus_height_mm=0.0, tilt_deg=0.0
    )
    depth = phone.z_mm - np.array([0.0, 0.5, 1.0, 2.0])
    disc = phone.blur_disc_px(depth)
    simple = 5.7 / 1.8 * np.array([0.0, 0.5, 1.0, 2.0]) / phone.z_mm * 60.0

    assert np.allclose(disc, simple, rtol=0.05)
    assert 2.0 < disc[2] < 5.0
    assert phone.blur_disc_px(np.array([phone.z_mm + 1.0]))[0] < 0


@pytest.mark.parametrize("diameter", [1.0, 3.7, 9.2])
def test_disc_kernel_has_the_second_moment_of_a_disc(diameter):
    """Variance along one axis of an evenly lit disc of diameter d: d^2 / 16 (a closed form)."""
    point = np.zeros((41, 41), np.float32)
    point[20, 20] = 1.0
    spread = blur_disc(point, diameter)
    x = np.arange(41) - 20.0

    assert spread.sum() == pytest.approx(1.0, abs=1e-5)
    assert (spread.sum(0) * x**2).sum() == pytest.approx(diameter**2 / 16, rel=0.03)


def size(number: int, section: str = "square") -> Instrument:
    """A 25 mm K-file of nominal size with a plain handle 3.9 mm thick, without a stop."""
    base = draw_instrument(np.random.default_rng(1), "k-file", number, 25)
    return replace(
        base,
        cross_section=section,
        blank_d0_mm=number / 100,
        taper_mm_per_mm=0.02,
        blank_length_mm=25.0,
        blank_working_part_mm=16.0,
        shank_width_mm=number / 100 + 0.32,
        stop=None,
        handle=Handle("red", "plain", (0.5, 0.0, 0.0), handle_profile("plain", 3.9, 11.0)),
    )


def test_a_size_25_hovers_and_a_size_80_tips():
    hovering, tipped = rests(size(25)), rests(size(80))

    assert [rest.touches for rest in hovering] == [("handle", "handle")]
    assert hovering[0].tip_height_mm == pytest.approx(1.95)
    assert hovering[0].slope_deg == pytest.approx(0.0)
    assert tipped[0].touches == ("tip", "handle")
    assert 3.0 < tipped[0].slope_deg < 4.5


def test_centre_of_mass_lies_inside_the_handle_up_to_size_50():
    """About 4.2 mm behind the front for size 10, 2.8 for 25, 1.3 for 40 (worked out with 0.15 g handles)."""
    behind = [weights(size(n)).centre_mm - 25.0 for n in (10, 25, 40, 80)]

    assert behind[:3] == pytest.approx([4.2, 2.8, 1.3], abs=0.6)
    assert behind[3] < 0


def test_a_right_hand_twist_looks_right_handed_in_the_picture():
    """On the side toward the viewer a right-hand helix with a level axis falls from left to right, like a backslash."""
    placed = place(replace(size(40), twist_hand="right"), Pose("flat", 80, 60, 2.0, 0.0), CPU)
    camera = replace(CAMERA, tilt_deg=0.0, turn_deg=0.0)
    theta0 = placed.surface.table[500, 0] + np.pi / 2  # the table's angle at x = 5; turn an edge to the top
    slopes = []
    for k in range(4):
        x = np.array([5.0, 5.02])
        angle = np.interp(x, np.arange(len(placed.surface.table)) * 0.01, placed.surface.table[:, 0]) + k * np.pi / 2
        point = np.stack([x, 0.2 * np.cos(angle), 0.2 * np.sin(angle)], 1)
        sheet = placed.pose.to_sheet(point)
        if sheet[0, 2] > 2.1:  # on the near side
            step = np.diff(camera.project(sheet), axis=0)[0]
            slopes.append(step[1] / step[0])

    assert theta0 > 0
    assert slopes
    assert min(slopes) > 0  # y grows downward


@pytest.mark.parametrize(("family", "seed"), [("k-file", 4), ("hedstroem-file", 5), ("reamer", 6)])
def test_traced_coverage_fills_the_true_outline(family, seed):
    """Area covered by the rays against the area that the truth's outline encloses (shapely), the reamer bent: within 0.1 %, which is
    0.02 px on each side of a shaft 36 px wide.
    """
    rng = np.random.default_rng(seed)
    instrument = draw_instrument(rng, family, 40)
    if family == "reamer":
        instrument = pre_curved(rng, instrument, 40.0)
    scene = draw_macro(
        seed, family, "flat", 60.0, instrument=instrument, image_px=(1800, 1350), preset="phone-12mp", turn_deg=20.0
    )
    scene = replace(scene, supersample=4, camera=replace(scene.camera, width_px=1800, height_px=1350))
    stage = set_stage(scene, CPU)
    placed = stage.placed[0]
    solid = fragments_of(placed, placed.bodies[0], scene.camera, surroundings_of(stage), np.random.default_rng(0))
    upper, lower = (np.array(side) for side in outline_px(placed, scene.camera))
    # Between 1 mm and 20 mm of the axis only: cut both areas by the same two lines across.
    ring = np.concatenate([upper[:, 1:], lower[::-1, 1:]])
    band = _band(placed, scene.camera, 1.0, 20.0)
    true_area = shapely.Polygon(ring).buffer(0).intersection(band).area
    rows, cols = np.nonzero(solid.rgba[..., 3])
    inside = shapely.contains_xy(band, cols + solid.left, rows + solid.top)

    assert solid.rgba[rows[inside], cols[inside], 3].sum() == pytest.approx(true_area, rel=1e-3)


def _band(placed, camera, from_mm: float, to_mm: float) -> shapely.Polygon:
    a, b = camera.project(placed.axis_points(np.array([from_mm, to_mm])))
    run = (b - a) / np.linalg.norm(b - a)
    side = 60 * np.array([-run[1], run[0]])
    return shapely.Polygon([a - side, b - side, b + side, a + side])
