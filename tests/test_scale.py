"""Scale from photos of the sheet made by a known camera: the way back from px to mm, and what limits it."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import cv2
import numpy as np
import pytest

from calib.draw import raster
from calib.prints import CALLIPER_U_MM, UNCHECKED_U, PrintCheck, save
from calib.sheet import sheet_named
from vision.exif import CameraInfo
from vision.findscale import find_scale
from vision.photo import Photo
from vision.scale import GivenScale, distort, project, undistort

WIDTH_PX, HEIGHT_PX, F35_MM = 1280, 960, 26.0
FOCAL_PX = WIDTH_PX * F35_MM / 36.0
CENTRE_PX = ((WIDTH_PX - 1) / 2.0, (HEIGHT_PX - 1) / 2.0)
RADIUS_PX = float(np.hypot(WIDTH_PX, HEIGHT_PX) / 2.0)
NOWHERE = Path("no/such/print-checks.json")
UM = 1e-3


@dataclass(frozen=True)
class View:
    """A camera over the sheet: scale and page point at the picture's middle, tilt, turn, lens, and the print's stretch."""

    px_per_mm: float
    over_mm: tuple[float, float] = (70.0, 150.0)
    tilt_deg: float = 5.0
    turn_deg: float = 30.0
    k1: float = 0.02
    blur_px: float = 1.2
    sheet: str = "A4-1"
    stretch: tuple[float, float] = (1.0, 1.0)

    @property
    def distance_mm(self):
        return FOCAL_PX / self.px_per_mm

    def rotation(self):
        turn = cv2.Rodrigues(np.radians([0.0, 0.0, self.turn_deg]))[0]
        return cv2.Rodrigues(np.radians([self.tilt_deg, 0.0, 0.0]))[0] @ turn

    def shift(self):
        return np.array([0.0, 0.0, self.distance_mm]) - self.rotation() @ np.array([*self.over_mm, 0.0])

    def homography(self):
        matrix = np.array([[FOCAL_PX, 0.0, CENTRE_PX[0]], [0.0, FOCAL_PX, CENTRE_PX[1]], [0.0, 0.0, 1.0]])
        rotation = self.rotation()
        return matrix @ np.column_stack([rotation[:, 0], rotation[:, 1], self.shift()])

    def place(self):
        """Camera centre in page axes (z into the page)."""
        return -self.rotation().T @ self.shift()

    def page_mm(self, points_px):
        """True page mm of px."""
        ideal = undistort(np.asarray(points_px, dtype=float), self.k1, CENTRE_PX, RADIUS_PX)
        return project(np.linalg.inv(self.homography()), ideal)


@cache
def photograph(view: View, f35_mm: float | None = F35_MM) -> Photo:
    """A photo of the sheet, warped from its own raster, blurred and with noise."""
    return as_photo(warped(view, *texture(view)), view.blur_px, f35_mm)


def texture(view: View):
    """The part of the sheet that is in view, drawn a little finer than it is seen, and where it begins (nominal mm)."""
    corners = view.page_mm([[0, 0], [WIDTH_PX, 0], [0, HEIGHT_PX], [WIDTH_PX, HEIGHT_PX]]) / view.stretch
    low, high = corners.min(axis=0) - 1.5, corners.max(axis=0) + 1.5
    fine = max(view.px_per_mm, 24.0)
    return raster(sheet_named(view.sheet), *low, *high, fine), low, fine


def warped(view: View, drawn, low, fine):
    """The picture, from page places on a grid of 8 px (between which the mapping is straight to a thousandth of a px)."""
    coarse = np.stack(np.meshgrid(np.arange(0, WIDTH_PX + 8, 8), np.arange(0, HEIGHT_PX + 8, 8)), axis=-1)
    nominal = view.page_mm(coarse.reshape(-1, 2)) / view.stretch
    at = ((nominal - low) * fine - 0.5).astype(np.float32).reshape(coarse.shape)
    x, y = np.meshgrid(np.arange(WIDTH_PX, dtype=np.float32) / 8, np.arange(HEIGHT_PX, dtype=np.float32) / 8)
    at = cv2.remap(at, x, y, cv2.INTER_LINEAR)
    return cv2.remap(drawn.astype(np.float32), at[..., 0], at[..., 1], cv2.INTER_LINEAR, borderValue=255)


def as_photo(picture, blur_px=1.2, f35_mm: float | None = F35_MM) -> Photo:
    soft = cv2.GaussianBlur(picture * 0.8 + 20.0, (0, 0), blur_px)
    noisy = soft + np.random.default_rng(1).normal(0.0, 2.0, soft.shape)
    code = np.clip(np.rint(noisy), 0, 255).astype(np.uint8)
    return Photo(Path("sheet.png"), np.repeat(code[..., None], 3, axis=2), CameraInfo(None, None, f35_mm))


@cache
def scale_of(view: View, prints: Path = NOWHERE, f35_mm: float | None = F35_MM):
    return find_scale(photograph(view, f35_mm), given=None, prints=prints)


VIEWS = [
    pytest.param(View(60.0), id="60 px/mm"),
    pytest.param(View(60.0, tilt_deg=-8.0, turn_deg=200.0, k1=0.01, over_mm=(140.0, 90.0)), id="60 px/mm, 8 deg"),
    pytest.param(View(36.0, tilt_deg=3.0, turn_deg=91.0, k1=0.0, sheet="LETTER-1"), id="36 px/mm, Letter"),
    pytest.param(View(24.0, tilt_deg=2.0, turn_deg=-5.0, k1=0.03), id="24 px/mm"),
]
GRID_PX = np.stack(np.meshgrid([256.0, 640.0, 1024.0], [192.0, 480.0, 768.0]), axis=-1).reshape(-1, 2)


@pytest.mark.parametrize("view", VIEWS)
def test_the_mapping_comes_back(view):
    """Points over the inner part of the picture come back to their true place on the page to 3 µm, and px to 0.1 px."""
    scale = scale_of(view)
    truth = view.page_mm(GRID_PX)

    assert scale.sheet is sheet_named(view.sheet)
    assert scale.source == "sheet"
    assert np.abs(scale.to_plane_mm(GRID_PX) - truth).max() < 3.0 * UM
    assert np.abs(scale.to_px(truth) - GRID_PX).max() < 0.1


@pytest.mark.parametrize("view", VIEWS)
def test_local_scale_and_its_uncertainty(view):
    """Local px/mm is right within 0.1 % over the picture, changes across a tilted view, and carries print and fit."""
    scale = scale_of(view)
    local = []
    for point in GRID_PX:
        left, right, up, down = view.page_mm(point + np.array([[-1.0, 0.0], [1.0, 0.0], [0.0, -1.0], [0.0, 1.0]]))
        truth = 2.0 / np.sqrt(abs(np.linalg.det(np.column_stack([right - left, down - up]))))
        quantity = scale.px_per_mm_at((float(point[0]), float(point[1])))
        local.append(quantity.value)
        fit, paper = (u for _, u in quantity.parts)
        assert quantity.value == pytest.approx(truth, rel=1e-3)  # taken one-sided over 0.05 mm
        assert paper == pytest.approx(truth * UNCHECKED_U, rel=0.01)
        assert quantity.u == pytest.approx(np.hypot(fit, paper))
    assert np.ptp(local) / view.px_per_mm > 0.01


@pytest.mark.parametrize("view", VIEWS)
def test_where_the_camera_stood(view):
    """With the focal length recorded, height is right within 1 %, tilt within half a degree, foot within 1 % of the height."""
    camera = scale_of(view).camera
    x, y, z = view.place()

    assert camera.height_known
    assert camera.height_mm.value == pytest.approx(-z, rel=0.01)
    assert camera.tilt_deg == pytest.approx(abs(view.tilt_deg), abs=0.5)
    assert camera.foot_mm == pytest.approx((x, y), abs=0.01 * -z)
    assert camera.height_mm.u / camera.height_mm.value < 0.1


def test_without_a_focal_length_the_height_is_not_known():
    """One square view of a plane does not tell the distance: without a recorded focal length it is a broad expectation only."""
    view = VIEWS[3].values[0]
    with_record, without = scale_of(view), scale_of(view, f35_mm=None)

    assert not without.camera.height_known
    assert without.camera.height_mm.u / without.camera.height_mm.value >= 0.4
    assert np.abs(without.to_plane_mm(GRID_PX) - with_record.to_plane_mm(GRID_PX)).max() < 1e-9


@pytest.mark.parametrize("view", VIEWS)
def test_without_a_focal_length_the_height_is_right_within_its_u(view):
    height = scale_of(view, f35_mm=None).camera.height_mm

    assert abs(height.value + view.place()[2]) < 2.0 * height.u


def test_a_checked_print_is_measured_in_true_mm(tmp_path):
    """The two check lines, read with callipers, turn page places to true mm along and across, and cut the uncertainty."""
    along_mm, across_mm = 141.05, 139.30  # lines of 140 mm, as on a printer off by +0.75 % and -0.5 %
    kept = save(
        PrintCheck("A4-1", "office", along_mm, across_mm, CALLIPER_U_MM, dt.date(2024, 5, 2), "callipers"),
        tmp_path / "print-checks.json",
    )
    view = View(60.0, stretch=(across_mm / 140.0, along_mm / 140.0))
    checked, unchecked = scale_of(view, prints=kept), scale_of(view)
    truth = view.page_mm(GRID_PX)

    assert np.abs(checked.to_plane_mm(GRID_PX) - truth).max() < 3.0 * UM
    assert np.abs(unchecked.to_plane_mm(GRID_PX) - truth).max() > 100.0 * UM
    assert checked.print_checked is True
    assert unchecked.print_checked is False
    assert checked.print_scale == pytest.approx((across_mm / 140.0, along_mm / 140.0))
    paper = dict(checked.px_per_mm_at(CENTRE_PX).parts)["print scale"]
    assert paper / checked.px_per_mm_at(CENTRE_PX).value == pytest.approx(CALLIPER_U_MM / 140.0)
    # What the uncertain print leaves open covers what it was really off by.
    off = unchecked.px_per_mm_at(CENTRE_PX).value / checked.px_per_mm_at(CENTRE_PX).value - 1.0
    assert abs(off) < 2.0 * UNCHECKED_U


def test_a_stated_scale():
    """A stated px/mm holds everywhere, with its own uncertainty and no sheet."""
    scale = find_scale(photograph(VIEWS[0].values[0]), given=GivenScale(62.5, 0.4), prints=NOWHERE)

    assert scale.source == "given"
    assert scale.print_checked is None
    assert scale.px_per_mm_at((10.0, 900.0)).value == pytest.approx(62.5)
    assert scale.px_per_mm_at((10.0, 900.0)).u == pytest.approx(0.4)
    assert scale.to_plane_mm(np.array([[625.0, 125.0]])) == pytest.approx(np.array([[10.0, 2.0]]))
    assert not scale.camera.height_known


@pytest.mark.parametrize("k1", [-0.05, 0.0, 0.02, 0.1])
def test_radial_distortion_is_that_of_a_general_library(k1):
    """The lens term moves points as OpenCV's first radial coefficient does, and undoing it brings them back."""
    draw = np.random.default_rng(2)
    ideal = draw.uniform([0.0, 0.0], [WIDTH_PX, HEIGHT_PX], (200, 2))
    matrix = np.array([[FOCAL_PX, 0.0, CENTRE_PX[0]], [0.0, FOCAL_PX, CENTRE_PX[1]], [0.0, 0.0, 1.0]])
    rays = np.column_stack([(ideal - CENTRE_PX) / FOCAL_PX, np.ones(200)])
    lens = np.array([k1 * (FOCAL_PX / RADIUS_PX) ** 2, 0.0, 0.0, 0.0])
    reference, _ = cv2.projectPoints(rays, np.zeros(3), np.zeros(3), matrix, lens)
    moved = distort(ideal, k1, CENTRE_PX, RADIUS_PX)

    assert moved == pytest.approx(reference.reshape(-1, 2), abs=1e-6)
    assert undistort(moved, k1, CENTRE_PX, RADIUS_PX) == pytest.approx(ideal, abs=1e-3)


def test_projection_is_that_of_a_general_library():
    """A homography moves points as OpenCV's perspectiveTransform does."""
    matrix = VIEWS[1].values[0].homography()
    points = np.random.default_rng(3).uniform(0.0, 200.0, (50, 2))

    assert project(matrix, points) == pytest.approx(cv2.perspectiveTransform(points[None], matrix)[0], rel=1e-9)
