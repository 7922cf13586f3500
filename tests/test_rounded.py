"""Smoothing by software told from blur and ink, on the sheet's own print and against closed forms."""

from dataclasses import replace
from functools import cache
from pathlib import Path

import cv2
import numpy as np
import pytest

from calib.draw import raster
from calib.sheet import sheet_named
from vision.camera import stand
from vision.errors import PhotoError
from vision.exif import CameraInfo
from vision.photo import Photo
from vision.rounded import cut_px, outward_corners, refuse_rounded
from vision.scale import Scale

PX_PER_MM, WIDE_MM, HIGH_MM = 60.0, 24.0, 14.0
SHEET = sheet_named("A4-1")
STRIP = next(one for one in SHEET.strips if one.runs_along == "x")
CORNER_MM = (STRIP.x0_mm + 10.0, STRIP.y0_mm - 4.0)  # of the picture


@cache
def printed() -> np.ndarray:
    """Share of paper in each px about a ribbon."""
    x, y = CORNER_MM
    return raster(SHEET, x, y, x + WIDE_MM, y + HIGH_MM, PX_PER_MM).astype(np.float32) / 255.0


def photo(paper: np.ndarray) -> Photo:
    code = 255.0 * (0.05 + 0.75 * paper) ** (1 / 2.2)
    return Photo(Path("p.png"), np.repeat(np.rint(code).astype(np.uint8)[..., None], 3, axis=2), CameraInfo())


def scale() -> Scale:
    x, y = CORNER_MM
    matrix = np.array([[PX_PER_MM, 0.0, -0.5 - x * PX_PER_MM], [0.0, PX_PER_MM, -0.5 - y * PX_PER_MM], [0.0, 0.0, 1.0]])
    centre = (WIDE_MM * PX_PER_MM / 2.0, HIGH_MM * PX_PER_MM / 2.0)
    return Scale(
        homography=matrix, k1=0.0, centre_px=centre, radius_px=800.0, covariance=np.zeros((9, 9)), print_u=(0.001, 0.001),
        print_checked=True, sheet=SHEET, print_scale=(1.0, 1.0), camera=stand(matrix, centre, 1440, 40.0), residual_px=0.05,
        saddles_mm=np.empty((0, 2)),
    )  # fmt: skip


def blurred(sigma_px: float, along_px: float | None = None) -> np.ndarray:
    return cv2.GaussianBlur(printed(), (0, 0), sigma_px, sigmaY=along_px or sigma_px)


def smoothed(paper: np.ndarray, window_px: int) -> Photo:
    return replace(photo(paper), rgb=np.asarray(cv2.medianBlur(photo(paper).rgb, window_px)))


def test_outward_corners_are_dark_on_one_side_and_white_on_three() -> None:
    x0, y0 = CORNER_MM
    inside = [c for c in outward_corners(SHEET) if x0 + 1 < c[0] < x0 + WIDE_MM - 1 and y0 + 1 < c[1] < y0 + HIGH_MM - 1]

    assert len(inside) >= 8
    for x, y, right, down in inside:
        level = [
            printed()[round((y + b * down - y0) * PX_PER_MM), round((x + a * right - x0) * PX_PER_MM)]
            for a in (-0.25, 0.25) for b in (-0.25, 0.25)
        ]  # fmt: skip
        assert level == [1.0, 1.0, 1.0, 0.0]


@pytest.mark.parametrize("sigma_px", [1.0, 2.0, 4.0])
def test_a_blur_alone_is_no_smoothing(sigma_px: float) -> None:
    assert cut_px(photo(blurred(sigma_px)), scale()) == pytest.approx(0.0, abs=0.1)


def test_neither_is_a_smear_nor_sharpening_nor_ink_that_has_spread() -> None:
    """Ink by a disc of 2 px: an outward corner becomes an arc of that radius (mathematical morphology, closed form)."""
    inked = cv2.GaussianBlur(cv2.erode(printed(), cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (5, 5))), (0, 0), 1.2)
    sharp = np.clip(blurred(1.5) + 0.8 * (blurred(1.5) - blurred(2.5)), 0.0, 1.0)

    for paper in (blurred(4.0, 1.0), sharp, inked):
        assert abs(cut_px(photo(paper), scale()) or 9.0) < 0.35


@pytest.mark.parametrize("window_px", [9, 11, 15])
def test_a_median_cuts_corners_by_its_own_geometry(window_px: int) -> None:
    """A window of side n at (a, a) in a corner is half dark where (n / 2 + a)^2 = n^2 / 2, so a = n (sqrt 2 - 1) / 2."""
    cut = cut_px(smoothed(blurred(0.5), window_px), scale())

    assert cut == pytest.approx(window_px * (np.sqrt(2.0) - 1.0) / 2.0 - 0.5446 * 0.5, abs=0.3)


def test_a_little_smoothing_is_carried_and_much_is_refused() -> None:
    """Over 5 px hardly anything is wiped, over 7 px ridges are, over 15 px half a shank."""
    assert refuse_rounded(photo(blurred(1.2)), scale()).smoothed_px == 0.0
    told = refuse_rounded(smoothed(blurred(1.2), 7), scale())
    assert 0.1 < told.smoothed_px < 0.6
    assert "corners are cut by" in " ".join(told.warnings)
    with pytest.raises(PhotoError, match=r"cut by 2\.[0-9] px more .* at most 1\.1 may be") as refused:
        refuse_rounded(smoothed(blurred(1.2), 15), scale())
    assert refused.value.kind == "smoothed"


def test_a_print_of_another_size_has_its_corners_elsewhere() -> None:
    """Printed 1 % small and checked with callipers, so page mm are true mm: nominal places lie up to 1 mm beside."""
    small = scale().homography @ np.diag([1.0 / 0.99, 1.0 / 0.99, 1.0])
    checked = replace(scale(), homography=small, print_scale=(0.99, 0.99))

    assert cut_px(photo(blurred(1.2)), checked) == pytest.approx(cut_px(photo(blurred(1.2)), scale()), abs=0.05)
    assert cut_px(photo(blurred(1.2)), replace(checked, print_scale=(1.0, 1.0))) is None  # nothing there looks like a corner


def test_without_a_sheet_or_with_too_little_of_it_nothing_is_said() -> None:
    far = replace(scale(), homography=np.array([[60.0, 0.0, 9e5], [0.0, 60.0, 0.0], [0.0, 0.0, 1.0]]))

    assert cut_px(photo(blurred(1.0)), replace(scale(), sheet=None)) is None
    assert refuse_rounded(photo(blurred(1.0)), far) is far


@pytest.mark.parametrize("moved_mm", [(0.1, 0.0), (0.0, -0.12), (0.08, -0.05)])
def test_print_that_lies_elsewhere_is_no_smoothing(moved_mm: tuple[float, float]) -> None:
    """An unchecked print is off by half a per cent, and paper is not flat: corners lie up to 7 px from where they are looked for."""
    away = scale().homography @ np.array([[1.0, 0.0, moved_mm[0]], [0.0, 1.0, moved_mm[1]], [0.0, 0.0, 1.0]])

    assert cut_px(photo(blurred(1.5)), replace(scale(), homography=away)) == pytest.approx(0.0, abs=0.15)
    assert (cut_px(smoothed(blurred(1.2), 15), replace(scale(), homography=away)) or 0.0) > 1.5
