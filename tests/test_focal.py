"""The focal length that one view of the sheet tells: pinhole cameras made here, and what OpenCV makes of the same corners."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from calib.sheet import sheets
from vision.camera import stand
from vision.focal import FLAT_U, USUAL_F35_MM, USUAL_F35_U, Doubt, View, focal_seen, focal_shared
from vision.one_lens import REFOCUSED_U, one_lens
from vision.quantity import Quantity
from vision.scale import Camera, Scale, project
from vision.sighting import focal_px

SIZE_PX = (1920, 1080)
CENTRE = ((SIZE_PX[0] - 1) / 2.0, (SIZE_PX[1] - 1) / 2.0)
LOOKED_AT = np.array([100.0, 140.0, 0.0])
DISTANCE_MM = 60.0


def view(f35_mm: float, tilt_deg: float, turn_deg: float = 30.0, roll_deg: float = 0.0) -> NDArray[np.float64]:
    """Page mm to px of a pinhole camera that looks at a place of the page under a tilt (page axes: x right, y down, z into it)."""
    tilt, turn = np.radians([tilt_deg, turn_deg])
    about_x = np.array([[1, 0, 0], [0, np.cos(tilt), -np.sin(tilt)], [0, np.sin(tilt), np.cos(tilt)]])
    about_z, rolled = (
        np.array([[np.cos(by), -np.sin(by), 0], [np.sin(by), np.cos(by), 0], [0, 0, 1]]) for by in (turn, np.radians(roll_deg))
    )
    rotation = rolled @ about_x @ about_z
    focal = SIZE_PX[0] * f35_mm / 36.0
    lens = np.array([[focal, 0, CENTRE[0]], [0, focal, CENTRE[1]], [0, 0, 1]])
    shift = np.array([0.0, 0.0, DISTANCE_MM]) - rotation @ LOOKED_AT
    matrix = lens @ np.column_stack([rotation[:, 0], rotation[:, 1], shift])
    return np.asarray(matrix / matrix[2, 2])


@pytest.mark.parametrize("f35_mm", [24.0, 35.0, 58.0])
@pytest.mark.parametrize("tilt_deg", [18.0, 28.0])
def test_a_view_from_aside_tells_the_focal_length_within_its_u(f35_mm: float, tilt_deg: float) -> None:
    seen = focal_seen(view(f35_mm, tilt_deg), CENTRE, SIZE_PX[0], Doubt())

    assert abs(seen.f35_mm / f35_mm - 1.0) < 1.5 * seen.u
    assert seen.u < 0.2


def test_square_on_what_is_usual_stays() -> None:
    seen = focal_seen(view(58.0, 0.0), CENTRE, SIZE_PX[0], Doubt())

    assert seen.f35_mm == pytest.approx(USUAL_F35_MM, rel=0.05)
    assert seen.u == pytest.approx(USUAL_F35_U, rel=0.05)


def test_it_agrees_with_opencv() -> None:
    """OpenCV's first guess for a calibration takes the focal length from one view's vanishing points.

    It looks for both px sizes, so the view must lean neither upward nor sideways alone.
    """
    mm = np.stack(np.meshgrid(np.arange(88.0, 112.0, 4.0), np.arange(134.0, 146.0, 4.0)), axis=-1).reshape(-1, 2)
    matrix = view(50.0, 28.0, roll_deg=40.0)
    px = project(matrix, mm).astype(np.float32)
    flat = np.column_stack([mm, np.zeros(len(mm))]).astype(np.float32)
    theirs = cv2.initCameraMatrix2D([flat], [px], SIZE_PX)[0, 0] * 36.0 / SIZE_PX[0]
    ours = focal_seen(matrix, CENTRE, SIZE_PX[0], Doubt())

    assert theirs == pytest.approx(50.0, rel=0.01)
    assert ours.f35_mm == pytest.approx(theirs, abs=2.0 * ours.u * theirs)


def test_what_the_paper_may_be_wrong_in_is_carried() -> None:
    sure, unsure = (focal_seen(view(50.0, 18.0, 0.0), CENTRE, SIZE_PX[0], Doubt(paper=paper)) for paper in (0.0, 10.0 * FLAT_U))

    assert unsure.u > 1.5 * sure.u
    assert unsure.u < USUAL_F35_U


def test_a_print_that_is_stretched_one_way_is_told_from_a_tilt_by_a_view_from_straight_above() -> None:
    stretched, paper = np.diag([1.013, 1.0, 1.0]), Doubt(paper=0.0133)
    above, aside = (View(view(58.0, tilt_deg, 80.0) @ stretched, paper, "a print") for tilt_deg in (1.0, 20.0))
    alone, together = focal_shared([aside], CENTRE, SIZE_PX[0]), focal_shared([above, aside], CENTRE, SIZE_PX[0])
    other = focal_shared([replace(above, print_name="another print"), aside], CENTRE, SIZE_PX[0])

    assert abs(together.f35_mm / 58.0 - 1.0) < 0.05 < abs(alone.f35_mm / 58.0 - 1.0)
    assert together.u < 0.5 * alone.u
    assert abs(together.f35_mm / 58.0 - 1.0) < together.u
    assert other.u == pytest.approx(alone.u, rel=0.05)  # another print may be stretched otherwise


def scale_of(matrix: NDArray[np.float64], camera: Camera | None = None) -> Scale:
    return Scale(
        homography=matrix, k1=0.0, centre_px=CENTRE, radius_px=1100.0, covariance=np.zeros((9, 9)), print_u=(0.001, 0.001),
        print_checked=True, sheet=next(iter(sheets().values())), print_scale=(1.0, 1.0),
        camera=camera or stand(matrix, CENTRE, SIZE_PX[0], None), residual_px=0.05, saddles_mm=np.empty((0, 2)),
    )  # fmt: skip


def test_photos_by_one_camera_share_what_the_slanted_one_tells() -> None:
    square, aside = scale_of(view(58.0, 0.0)), scale_of(view(58.0, 28.0))
    first, second = one_lens([square, aside])

    assert square.camera.height_mm.value < 0.7 * DISTANCE_MM
    assert abs(first.camera.height_mm.value / DISTANCE_MM - 1.0) < 2.0 * first.camera.height_mm.u / first.camera.height_mm.value
    assert first.camera.height_mm.u / first.camera.height_mm.value > REFOCUSED_U
    assert second is aside
    assert focal_px(first) == pytest.approx(focal_px(second), rel=1e-3)


def test_a_recorded_lens_and_photos_of_another_size_are_left_alone() -> None:
    square, aside = scale_of(view(58.0, 0.0)), scale_of(view(58.0, 28.0))
    recorded = replace(square, camera=replace(square.camera, height_known=True))
    smaller = replace(square, centre_px=(CENTRE[0] / 2.0, CENTRE[1] / 2.0))
    stated = replace(square, sheet=None, camera=Camera((0.0, 0.0), Quantity(1e9, 0.0), 0.0, height_known=False))

    assert one_lens([recorded, aside])[0] is recorded
    assert one_lens([smaller, aside])[0] is smaller
    assert one_lens([stated, aside])[0] is stated
    assert one_lens([square, square])[0] is square
    assert one_lens([]) == []
