"""Markers and saddles of the sheet: the fit against OpenCV's own solver, and sheets that must be refused."""

import cv2
import numpy as np
import pytest
from test_scale import CENTRE_PX, FOCAL_PX, GRID_PX, NOWHERE, RADIUS_PX, UM, View, as_photo, photograph, texture, warped

from calib.prints import UNCHECKED
from calib.sheet import sheet_named, sheets
from vision.errors import PhotoError
from vision.findscale import find_scale
from vision.markers import find_markers, foreign_markers, sheets_of
from vision.saddles import refine_saddles
from vision.scale import distort, project, undistort
from vision.sheetfit import fit_sheet

CLOSE = View(48.0)
STRAIGHT = View(40.0, tilt_deg=6.0, k1=0.0)


def grey(photo):
    return np.ascontiguousarray(photo.rgb[..., 0])


def refused(picture):
    with pytest.raises(PhotoError) as caught:
        find_scale(as_photo(picture), given=None, prints=NOWHERE)
    return caught.value


def saddles_mm(view):
    return np.array([(saddle.x_mm, saddle.y_mm) for saddle in sheet_named(view.sheet).saddles])


def in_view(view, points_mm, margin_px=60.0):
    """Which page points the picture shows, and where."""
    ideal = project(view.homography(), points_mm)
    near = (np.abs(ideal - CENTRE_PX) < 2.0 * RADIUS_PX).all(axis=1)
    px = distort(ideal, view.k1, CENTRE_PX, RADIUS_PX)
    return near & (np.abs(px - CENTRE_PX) < np.array(CENTRE_PX) - margin_px).all(axis=1), px


@pytest.mark.parametrize("view", [CLOSE, STRAIGHT], ids=["lens", "no lens"])
def test_homography_is_that_of_opencvs_own_solver(view):
    """On the same refined saddles, free of the lens, cv2.findHomography maps the picture to the same places within 2 µm."""
    picture = grey(photograph(view))
    seen = find_markers(picture)
    fit = fit_sheet(picture, sheet_named(view.sheet), seen, UNCHECKED)
    predicted = distort(project(fit.homography, fit.saddles_mm), fit.k1, CENTRE_PX, RADIUS_PX)
    refined, good = refine_saddles(picture, predicted, np.full(len(predicted), 0.35 * view.px_per_mm))
    ideal = undistort(refined, fit.k1, CENTRE_PX, RADIUS_PX)
    other, _ = cv2.findHomography(fit.saddles_mm[good], ideal[good], 0)
    at = undistort(GRID_PX, fit.k1, CENTRE_PX, RADIUS_PX)

    assert good.mean() > 0.9
    ours, theirs = (project(np.linalg.inv(matrix), at) for matrix in (fit.homography, other))
    assert np.abs(ours - theirs).max() < 2.0 * UM
    assert np.abs(theirs - view.page_mm(GRID_PX)).max() < 4.0 * UM


def test_lens_and_its_uncertainty():
    """The radial term comes back within three times its claimed uncertainty, and the residual is a few hundredths of a px."""
    for view in (CLOSE, STRAIGHT, View(24.0, k1=0.03)):
        picture = grey(photograph(view))
        fit = fit_sheet(picture, sheet_named(view.sheet), find_markers(picture), UNCHECKED)
        assert fit.k1 == pytest.approx(view.k1, abs=3.0 * fit.covariance[8, 8] ** 0.5 + 2e-4)
        assert 0.0 < fit.residual_px < 0.1


def test_markers_found_are_those_in_view():
    """Every marker wholly in the picture is found once, its corners where the camera put them, and no other."""
    view = CLOSE
    found = {one.id: one for one in find_markers(grey(photograph(view)))}
    wanted = {}
    for marker in sheet_named(view.sheet).markers:
        inside, px = in_view(view, np.array(marker.corners_mm), margin_px=20.0)
        if inside.all():
            wanted[marker.id] = px

    assert len(wanted) >= 3
    assert set(wanted) <= set(found)
    for marker, px in wanted.items():
        assert np.abs(found[marker].corners_px - px).max() < 1.5
    assert list(sheets_of(found.values())) == [view.sheet]


def test_saddles_are_refined_to_hundredths_of_a_px():
    """From a start 3 px off, saddles come back within 0.1 px and typically 0.03 px of where the camera put them."""
    view = CLOSE
    picture = grey(photograph(view))
    inside, truth = in_view(view, saddles_mm(view))
    clear = np.array([saddle.clear_mm for saddle in sheet_named(view.sheet).saddles])[inside] * view.px_per_mm
    start = truth[inside] + np.random.default_rng(3).uniform(-3.0, 3.0, (inside.sum(), 2))
    refined, good = refine_saddles(picture, start, clear)
    miss = np.linalg.norm(refined - truth[inside], axis=1)

    assert inside.sum() >= 8
    assert good.mean() > 0.9
    assert miss[good].max() < 0.1
    assert np.median(miss[good]) < 0.03


def test_what_is_no_saddle_is_not_kept():
    """Bare paper, a plain edge, a corner of a marker's square and places beyond the picture are no saddles."""
    picture = np.full((200, 200), 220, np.uint8)
    picture[:, 120:] = 30
    picture[:60, :60] = 30
    places = np.array([[90.0, 150.0], [119.5, 150.0], [59.5, 59.5], [-40.0, 20.0], [199.0, 100.0]])
    _, good = refine_saddles(picture, places, np.full(len(places), 15.0))

    assert not good.any()


def test_no_sheet():
    """A picture without any marker says so, and names the two ways on."""
    error = refused(np.full((960, 1280), 200.0))

    assert error.kind == "no-sheet"
    assert "--px-per-mm" in error.message


def foreign(dictionary):
    """A sheet of markers that somebody else might print, from OpenCV's own generator."""
    codes = cv2.aruco.getPredefinedDictionary(dictionary)
    page = np.full((960, 1280), 255, np.uint8)
    for k in range(12):
        marker = cv2.aruco.generateImageMarker(codes, 3 * k + 1, 140)
        top, left = 80 + 270 * (k // 4), 100 + 290 * (k % 4)
        page[top : top + 140, left : left + 140] = marker
    return page.astype(float)


@pytest.mark.parametrize("dictionary", [cv2.aruco.DICT_6X6_250, cv2.aruco.DICT_4X4_50, cv2.aruco.DICT_APRILTAG_36H11])
def test_a_foreign_sheet_is_refused(dictionary):
    """A sheet of markers of another dictionary is told from no sheet at all."""
    picture = foreign(dictionary)
    error = refused(picture)

    assert error.kind == "foreign-sheet"
    assert "found 12 markers" in error.message
    assert foreign_markers(picture.astype(np.uint8)) == 12


def test_our_codes_in_a_foreign_layout_are_refused():
    """Codes of our dictionary that do not lie as the sheet prints them give no scale."""
    assert refused(foreign(cv2.aruco.DICT_5X5_1000)).kind == "scrambled-sheet"


WIDE = View(16.0, tilt_deg=0.0, turn_deg=0.0, k1=0.0, over_mm=(105.0, 140.0))


def test_a_scrambled_sheet_is_refused():
    """Our own sheet cut into pieces and laid together in another order gives no scale."""
    drawn, low, fine = texture(WIDE)
    tile = round(12.0 * fine)
    rows, columns = drawn.shape[0] // tile, drawn.shape[1] // tile
    order = np.random.default_rng(4).permutation(rows * columns)
    mixed = drawn.copy()
    for new, old in enumerate(order):
        (r, c), (i, j) = divmod(new, columns), divmod(old, columns)
        mixed[r * tile : (r + 1) * tile, c * tile : (c + 1) * tile] = drawn[
            i * tile : (i + 1) * tile, j * tile : (j + 1) * tile
        ]
    whole, mixed_up = (find_markers(grey(as_photo(warped(WIDE, page, low, fine)))) for page in (drawn, mixed))

    assert len(mixed_up) >= 8  # it is the layout that is refused, not the markers
    assert len(whole) > len(mixed_up)
    error = refused(warped(WIDE, mixed, low, fine))
    assert error.kind == "scrambled-sheet"
    assert "A4-1" in error.message


def side_by_side(left, right):
    half = left.shape[1] // 2
    return np.concatenate([left[:, :half], right[:, half:]], axis=1)


def test_two_sheets_are_refused():
    """Sheets of two papers in one photo, and two copies of one sheet, are each named and refused."""
    first = warped(WIDE, *texture(WIDE))
    other = View(16.0, tilt_deg=0.0, turn_deg=0.0, k1=0.0, over_mm=(105.0, 140.0), sheet="LETTER-1")
    error = refused(side_by_side(first, warped(other, *texture(other))))
    assert error.kind == "two-sheets"
    assert all(name in error.message for name in sheets())

    copies = refused(np.concatenate([first[:, :640], first[:, :640]], axis=1))
    assert copies.kind == "two-sheets"
    assert "two copies of A4-1" in copies.message


def test_too_little_of_the_sheet_is_refused():
    """One marker with nothing else of the sheet around it gives no scale, and the message says how much is needed."""
    picture = warped(CLOSE, *texture(CLOSE))
    seen = max(find_markers(grey(as_photo(picture))), key=lambda one: one.corners_px[:, 0].mean())
    low, high = seen.corners_px.min(axis=0).astype(int) - 8, seen.corners_px.max(axis=0).astype(int) + 8
    bare = np.full_like(picture, 255.0)
    bare[low[1] : high[1], low[0] : high[0]] = picture[low[1] : high[1], low[0] : high[0]]
    error = refused(bare)

    assert error.kind == "sheet-too-little"
    assert "at least 4" in error.message


def test_a_sheet_far_away_has_a_scale_too():
    """The whole page in one picture is fitted by its large markers: places within 0.1 mm over the page."""
    view = View(960 / 310.0, tilt_deg=1.0, turn_deg=0.0, k1=0.0, over_mm=(105.0, 148.5), blur_px=0.8)
    scale = find_scale(photograph(view), given=None, prints=NOWHERE)

    assert np.abs(scale.to_plane_mm(GRID_PX) - view.page_mm(GRID_PX)).max() < 0.1
    assert scale.camera.height_mm.value == pytest.approx(FOCAL_PX / view.px_per_mm, rel=0.01)
