"""The pages show what the data says: read back with general-purpose libraries, not with our own code."""

import cv2
import numpy as np
import pypdfium2
import pytest
from PIL import Image

from calib.draw import raster, write_pdf, write_png
from calib.sheet import MARKER_DICTIONARY, Rect, sheets

SHEETS = list(sheets().values())
every_sheet = pytest.mark.parametrize("sheet", SHEETS, ids=lambda sheet: sheet.id)
SCALE = 30.0  # px/mm of the pictures that positions are read from
SEEN_AT = 15.0  # px/mm of the picture that OpenCV looks for markers in: it searches all of it


@pytest.fixture(scope="module")
def pages():
    return {sheet.id: raster(sheet, 0, 0, sheet.width_mm, sheet.height_mm, SCALE) for sheet in SHEETS}


@pytest.fixture
def pdf(sheet, tmp_path):
    write_pdf(sheet, tmp_path / "sheet.pdf")
    document = pypdfium2.PdfDocument(tmp_path / "sheet.pdf")
    yield document
    document.close()


def _refined_mm(picture, places_mm, window_mm, px_per_mm, origin_mm=(0.0, 0.0)):
    """Saddle corners as OpenCV finds them, mm on the page, starting from where they should be."""
    start = ((np.asarray(places_mm) - origin_mm) * px_per_mm - 0.5).astype(np.float32).reshape(-1, 1, 2)
    half = max(2, int(window_mm * px_per_mm))
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_COUNT, 50, 1e-3)
    found = cv2.cornerSubPix(picture, start, (half, half), (-1, -1), stop)
    return (found.reshape(-1, 2).astype(float) + 0.5) / px_per_mm + origin_mm


@every_sheet
def test_every_saddle_stays_put_under_refinement(sheet, pages):
    for clear_mm in {saddle.clear_mm for saddle in sheet.saddles}:
        places_mm = np.array([(s.x_mm, s.y_mm) for s in sheet.saddles if s.clear_mm == clear_mm])
        shift_mm = _refined_mm(pages[sheet.id], places_mm, 0.8 * clear_mm, SCALE) - places_mm

        assert np.abs(shift_mm).max() < 0.02
        assert np.abs(shift_mm.mean(axis=0)).max() < 0.003


@every_sheet
def test_every_saddle_has_two_black_and_two_white_quarters(sheet, pages):
    page = pages[sheet.id]
    for saddle in sheet.saddles:
        d_mm = 0.7 * saddle.clear_mm
        quarters = [
            int(page[int((saddle.y_mm + v * d_mm) * SCALE), int((saddle.x_mm + u * d_mm) * SCALE)])
            for v in (-1, 1)
            for u in (-1, 1)
        ]
        dark, light = 0, 255
        assert quarters == ([dark, light, light, dark] if saddle.dark_top_left else [light, dark, dark, light])


@pytest.mark.parametrize("px_per_mm", [17.3, 60.0, 97.1])
@pytest.mark.parametrize("origin_mm", [(31.0, 90.0), (100.123, 141.777), (171.0507, 55.5)])
@every_sheet
def test_a_crop_is_placed_to_a_few_micrometres(sheet, origin_mm, px_per_mm):
    x0, y0 = origin_mm
    crop = Rect(x0, y0, x0 + 22.0, y0 + 17.0)
    picture = raster(sheet, crop.x0_mm, crop.y0_mm, crop.x1_mm, crop.y1_mm, px_per_mm)
    inner = Rect(x0 + 0.5, y0 + 0.5, x0 + 21.5, y0 + 16.5)
    places_mm = np.array([(s.x_mm, s.y_mm) for s in sheet.saddles if inner.contains(s.x_mm, s.y_mm)])
    shift_mm = _refined_mm(picture, places_mm, 0.28, px_per_mm, origin_mm) - places_mm

    assert picture.shape == (round(17 * px_per_mm), round(22 * px_per_mm))
    assert len(places_mm) >= 4
    assert np.abs(np.median(shift_mm, axis=0)).max() < 0.005


@every_sheet
def test_grey_is_the_share_of_paper_in_a_pixel(sheet):
    """A pixel whose left quarter is ink holds three quarters of white."""
    cell = max(sheet.dark_rects, key=lambda rect: rect.width_mm * rect.height_mm)
    x0_mm, y0_mm = cell.x1_mm - 1.25, cell.centre_mm[1] - 2.0
    picture = raster(sheet, x0_mm, y0_mm, x0_mm + 2.0, y0_mm + 2.0, 1.0)

    assert picture.shape == (2, 2)
    assert picture[0, 0] == 0
    # Column 1 spans from 0.25 mm before the cell's edge to 0.75 mm behind it.
    assert picture[0, 1] == pytest.approx(0.75 * 255, abs=2)


@every_sheet
def test_black_is_without_seams(sheet):
    """Anti-aliased neighbours leave no pale line where module meets module."""
    marker = sheet.markers[0]
    (x0, y0), (x1, _), _, _ = marker.corners_mm
    border_mm = marker.module_mm
    picture = raster(sheet, x0 + 0.02, y0 + 0.02, x1 - 0.02, y0 + border_mm - 0.02, 73.7)

    assert picture.max() == 0


@every_sheet
def test_opencv_reads_every_marker_where_the_data_says(sheet):
    page = raster(sheet, 0, 0, sheet.width_mm, sheet.height_mm, SEEN_AT)
    parameters = cv2.aruco.DetectorParameters()
    parameters.minMarkerPerimeterRate = 0.005  # small codes on a large page; the default drops them
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    parameters.relativeCornerRefinmentWinSize = 0.5
    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, MARKER_DICTIONARY))
    corners, ids, _ = cv2.aruco.ArucoDetector(dictionary, parameters).detectMarkers(page)
    found = {int(id_): (quad.reshape(4, 2) + 0.5) / SEEN_AT for id_, quad in zip(ids.ravel(), corners, strict=True)}

    assert set(found) == {marker.id for marker in sheet.markers}
    assert len(ids) == len(sheet.markers)
    for marker in sheet.markers:
        assert np.abs(found[marker.id] - marker.corners_mm).max() < 0.03


@every_sheet
def test_lanes_are_free_of_ink(sheet, pages):
    page = pages[sheet.id].copy()
    for slot in sheet.slots:
        x0, y0, x1, y1 = (round(v * SCALE) for v in (slot.x0_mm, slot.y0_mm, slot.x1_mm, slot.y1_mm))
        assert page[y0:y1, x0:x1].min() < 255  # the outline is there
        page[y0 - 4 : y1 + 4, x0 - 4 : x1 + 4] = 255  # a line 0.2 mm wide reaches 3 px beyond its path
    for lane in sheet.lanes:
        # The outermost pixels share their area with the ribbons, which the renderer rounds to 1/256 px.
        rows = slice(int(lane.y0_mm * SCALE) + 1, int(lane.y1_mm * SCALE) - 1)
        columns = slice(int(lane.x0_mm * SCALE) + 1, int(lane.x1_mm * SCALE) - 1)
        assert page[rows, columns].min() == 255


@every_sheet
def test_the_margins_are_free_of_ink(sheet, pages):
    rows, columns = np.nonzero(pages[sheet.id] < 255)

    for places_px, length_mm in ((columns, sheet.width_mm), (rows, sheet.height_mm)):
        assert places_px.min() / SCALE >= 8 - 0.1  # half a hairline
        assert (places_px.max() + 1) / SCALE <= length_mm - 8 + 0.1


@every_sheet
def test_patches_show_their_grey(sheet, pages):
    for patch in sheet.patches:
        x, y = patch.centre_mm
        shown = pages[sheet.id][int(y * SCALE), int(x * SCALE)]
        assert shown == pytest.approx(255 * patch.level, abs=1)


@every_sheet
def test_check_lines_are_140_mm_in_the_picture(sheet, pages):
    """Both end ticks are found as dark profiles beside the line itself."""
    page = 255.0 - pages[sheet.id]
    for line, axis in ((sheet.check_lines.across, 0), (sheet.check_lines.along, 1)):
        ends_mm = []
        for end in (line.start_mm, line.end_mm):
            # 0.6 mm beside the line the profile crosses the tick alone.
            column, row = (int((end[k] + (0.0 if k == axis else 0.6)) * SCALE) for k in (0, 1))
            half = round(0.5 * SCALE)
            profile = page[row, column - half : column + half] if axis == 0 else page[row - half : row + half, column]
            first = (column if axis == 0 else row) - half
            ends_mm.append((np.average(np.arange(len(profile)), weights=profile) + first + 0.5) / SCALE)
        assert ends_mm[1] - ends_mm[0] == pytest.approx(140.0, abs=0.01)


@every_sheet
def test_the_pdf_has_exactly_the_papers_size(sheet, pdf):
    size_mm = [points * 25.4 / 72 for points in pdf[0].get_size()]

    assert len(pdf) == 1
    assert size_mm == pytest.approx([sheet.width_mm, sheet.height_mm], abs=1e-3)


@every_sheet
def test_the_page_says_what_it_is_and_how_to_use_it(sheet, pdf):
    words = " ".join(pdf[0].get_textpage().get_text_bounded().split())

    for part in (
        sheet.id,
        f"revision {sheet.revision}",
        "Print at 100 %",
        "flutegauge sheet check",
        "BEFORE sterilising",
        "no longer sterile",
        "eye protection",
        "matt",
        "stand back",
        "by a third",
        "instructions come first",
        "cannot clear an instrument",
    ):
        assert part in words
    assert "safe" not in words.lower()


@every_sheet
def test_words_keep_off_the_measuring_parts_and_the_cut(sheet, pdf):
    text = pdf[0].get_textpage()
    to_mm = 25.4 / 72
    cut_mm = sheet.trim_line.start_mm[0]
    for index in range(text.count_chars()):
        left, bottom, right, top = (edge * to_mm for edge in text.get_charbox(index))
        box = Rect(left, sheet.height_mm - top, right, sheet.height_mm - bottom)
        assert box.x1_mm < cut_mm or box.x0_mm > cut_mm
        for part in (*sheet.strips, *sheet.lanes, *sheet.patches):
            assert (
                box.x1_mm <= part.x0_mm or box.x0_mm >= part.x1_mm or box.y1_mm <= part.y0_mm or box.y0_mm >= part.y1_mm
            )


@every_sheet
def test_png_and_pdf_show_the_same_page(sheet, pdf, tmp_path):
    dpi = 300
    write_png(sheet, tmp_path / "sheet.png", dpi)
    with Image.open(tmp_path / "sheet.png") as image:
        stated_dpi = image.info["dpi"]
        png = np.asarray(image.convert("L"))
    plain = pdf[0].render(scale=dpi / 72, grayscale=True).to_numpy()
    plain = plain.reshape(plain.shape[:2])
    rows, columns = (min(a, b) for a, b in zip(png.shape, plain.shape, strict=True))
    places_mm = np.array([(s.x_mm, s.y_mm) for s in sheet.saddles])
    px_per_mm = stated_dpi[0] / 25.4

    assert stated_dpi == pytest.approx((dpi, dpi), abs=0.05)
    assert png.shape == (round(sheet.height_mm / 25.4 * dpi), round(sheet.width_mm / 25.4 * dpi))
    assert np.abs(png[:rows, :columns].astype(float) - plain[:rows, :columns]).mean() < 3
    shift_mm = _refined_mm(png, places_mm, 0.28, px_per_mm) - places_mm
    assert np.abs(shift_mm.mean(axis=0)).max() < 0.01


@every_sheet
def test_the_same_sheet_gives_the_same_file(sheet, tmp_path):
    for name in ("a.pdf", "b.pdf"):
        write_pdf(sheet, tmp_path / name)

    assert (tmp_path / "a.pdf").read_bytes() == (tmp_path / "b.pdf").read_bytes()


@every_sheet
def test_beyond_the_page_is_white(sheet):
    assert raster(sheet, -20.0, -20.0, -1.0, -1.0, 5.0).min() == 255


@every_sheet
def test_an_impossible_crop_is_refused(sheet):
    with pytest.raises(ValueError, match="x 10 to 5, y 0 to 5, px_per_mm 8"):
        raster(sheet, 10, 0, 5, 5, 8)
    with pytest.raises(ValueError, match="px_per_mm 0"):
        raster(sheet, 0, 0, 5, 5, 0)


def test_resolutions_that_make_no_sense_are_refused(tmp_path):
    for dpi in (30, 10_000, float("nan")):
        with pytest.raises(ValueError, match="72 to 2400"):
            write_png(SHEETS[0], tmp_path / "sheet.png", dpi)
