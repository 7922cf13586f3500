"""The window cards: what they hold, what close-ups over a window see, and that page, picture and data agree."""

from collections import Counter
from itertools import combinations

import cv2
import numpy as np
import pypdfium2
import pytest
from PIL import Image

from calib.draw import raster, write_pdf, write_png
from calib.sheet import MARKER_DICTIONARY, cards, every_sheet, sheet_named, sheet_of_marker, sheets

CARDS = list(cards().values())
every_card = pytest.mark.parametrize("card", CARDS, ids=lambda card: card.id)
SCALE = 30.0  # px/mm of the pictures that positions are read from
WORKING_MM, LONGEST_MM, SHORTEST_MM = 16.0, 31.0, 21.0  # ISO 3630-1: least working part, common lengths
FRONT_MM = 0.5  # the handle's front stands at least this far inside the slot or beyond the edge


def inside(frame, x_mm, y_mm):
    return frame[0] <= x_mm <= frame[2] and frame[1] <= y_mm <= frame[3]


def coded_points(card, frame):
    """Saddles in view that meet a marker wholly in view; a frame is (x0, y0, x1, y1), mm."""
    found = set()
    for strip in card.strips:
        for marker in strip.markers:
            if all(inside(frame, *corner) for corner in marker.corners_mm):
                x, y = marker.centre_mm
                reach_mm = strip.square_mm / 2 + 1e-6
                found |= {
                    (s.x_mm, s.y_mm)
                    for s in strip.saddles
                    if inside(frame, s.x_mm, s.y_mm) and max(abs(s.x_mm - x), abs(s.y_mm - y)) <= reach_mm
                }
    return len(found)


def around(x_mm, y_mm, width_mm, height_mm):
    return x_mm - width_mm / 2, y_mm - height_mm / 2, x_mm + width_mm / 2, y_mm + height_mm / 2


def test_cards_by_name_and_apart_from_the_sheets():
    assert list(cards()) == ["A4-W1", "LETTER-W1"]
    assert set(cards()).isdisjoint(sheets())
    assert sheet_named("A4-W1") is cards()["A4-W1"]


def test_no_marker_is_on_two_pages():
    ids = Counter(marker.id for sheet in every_sheet().values() for marker in sheet.markers)

    assert max(ids.values()) == 1
    assert max(ids) < 1000  # the dictionary has 1000 codes
    for card in CARDS:
        assert all(sheet_of_marker(marker.id) is card for marker in card.markers)


@every_card
def test_parts_do_not_overlap_and_keep_to_the_printable_page(card):
    parts = [*card.strips, *card.lanes, *card.patches]
    lines = (card.check_lines.along, card.check_lines.across)

    for a, b in combinations(parts, 2):
        apart = max(a.x0_mm - b.x1_mm, b.x0_mm - a.x1_mm, a.y0_mm - b.y1_mm, b.y0_mm - a.y1_mm)
        assert apart >= -1e-9
    for part in parts:
        assert part.x0_mm >= 8
        assert part.y0_mm >= 8
        assert part.x1_mm <= card.trim_line.start_mm[0]
        for line in lines:
            (x0, y0), (x1, y1) = line.start_mm, line.end_mm
            assert x1 < part.x0_mm or x0 > part.x1_mm or y1 < part.y0_mm or y0 > part.y1_mm
    for line in lines:
        assert np.hypot(*np.subtract(line.end_mm, line.start_mm)) == pytest.approx(140.0)


@every_card
def test_a_window_takes_the_longest_and_the_shortest_instrument(card):
    """With the handle in the slot or beyond the edge, tip and working part of 31 and 21 mm ones lie over the window."""
    ends_mm = {1: card.slots[0].x0_mm, 2: card.trim_line.start_mm[0]}
    for window in card.windows:
        front_mm = ends_mm[window.lane_number] + FRONT_MM
        assert ends_mm[window.lane_number] - window.x1_mm == pytest.approx(4.0)  # a bridge to hold the shank down on
        assert front_mm - LONGEST_MM > window.x0_mm + 2.0
        assert front_mm - SHORTEST_MM + WORKING_MM < window.x1_mm
        assert window.height_mm > 2 * 1.72  # the thickest shaft, size 140: 1.40 mm and 16 mm of 2 % taper


@every_card
@pytest.mark.parametrize(("width_mm", "height_mm", "least"), [(28.0, 20.0, 6), (20.0, 28.0, 6)])
def test_a_picture_of_a_whole_instrument_sees_six_coded_points(card, width_mm, height_mm, least):
    for window in card.windows:
        for x_mm in np.linspace(window.x0_mm, window.x1_mm, 31):
            for y_mm in np.linspace(window.y0_mm, window.y1_mm, 5):
                assert coded_points(card, around(x_mm, y_mm, width_mm, height_mm)) >= least


@every_card
def test_a_close_up_at_the_windows_rim_sees_four_coded_points(card):
    """Frames of 12 mm x 9 mm about any point of the three rims that ribbons follow."""
    for window in card.windows:
        rims = [(x, y) for y in (window.y0_mm, window.y1_mm) for x in np.arange(window.x0_mm, window.x1_mm, 0.2)]
        rims += [(window.x0_mm, y) for y in np.linspace(window.y0_mm, window.y1_mm, 11)]
        for place in rims:
            assert coded_points(card, around(*place, 12.0, 9.0)) >= 4


@every_card
def test_a_close_up_with_the_shaft_in_view_sees_four_coded_points(card):
    """The axis lies 1.3 mm or more inside the frame, which reaches over one ribbon; all along window and bridge."""
    for window in card.windows:
        axis_mm = window.centre_mm[1]
        farthest_mm = 2.5 + 0.6 + 1.0 + 2.8  # half the window, rim, half row, full row
        for x_mm in np.arange(window.x0_mm - 2.0, window.x1_mm - 2.0, 0.35):
            for t_mm in np.linspace(1.3, 9.0 - farthest_mm - 1e-3, 4):
                for side in (-1, 1):
                    frame = around(x_mm, axis_mm + side * (4.5 - t_mm), 12.0, 9.0)
                    assert coded_points(card, frame) >= 4


@every_card
def test_a_frame_that_sees_only_the_window_counts_nothing(card):
    window = card.windows[1]
    assert coded_points(card, around(*window.centre_mm, 12.0, 6.0)) == 0


@every_card
def test_png_pdf_and_data_agree(card, tmp_path):
    """OpenCV finds every marker of the PNG where the data puts it, in half its size (it searches all); PDFium draws the PDF alike."""
    write_png(card, tmp_path / "card.png", 600)
    write_pdf(card, tmp_path / "card.pdf")
    with Image.open(tmp_path / "card.png") as image:
        png = np.asarray(image.convert("L"))
    with pypdfium2.PdfDocument(tmp_path / "card.pdf") as pdf:
        size_mm = [points * 25.4 / 72 for points in pdf[0].get_size()]
        drawn = pdf[0].render(scale=600 / 72, grayscale=True).to_numpy()
    drawn = drawn.reshape(drawn.shape[:2])
    rows, columns = (min(a, b) for a, b in zip(png.shape, drawn.shape, strict=True))
    parameters = cv2.aruco.DetectorParameters()
    parameters.minMarkerPerimeterRate = 0.005
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    parameters.relativeCornerRefinmentWinSize = 0.5
    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, MARKER_DICTIONARY))
    even = png[: len(png) // 2 * 2, : png.shape[1] // 2 * 2]
    half = cv2.resize(even, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    corners, ids, _ = cv2.aruco.ArucoDetector(dictionary, parameters).detectMarkers(half)
    found = {int(i): (quad.reshape(4, 2) + 0.5) * 25.4 / 300 for i, quad in zip(ids.ravel(), corners, strict=True)}

    assert size_mm == pytest.approx([card.width_mm, card.height_mm], abs=1e-3)
    assert np.abs(png[:rows, :columns].astype(float) - drawn[:rows, :columns]).mean() < 2
    assert set(found) == {marker.id for marker in card.markers}
    for marker in card.markers:
        assert np.abs(found[marker.id] - marker.corners_mm).max() < 0.05


@every_card
def test_windows_and_lanes_are_free_of_ink_but_for_the_dashes(card):
    for lane in card.lanes:
        picture = raster(card, lane.x0_mm, lane.y0_mm, lane.x1_mm, lane.y1_mm, SCALE).copy()
        for hole in (*card.slots, *card.windows):
            x0, y0, x1, y1 = (
                round(v * SCALE)
                for v in (hole.x0_mm - lane.x0_mm, hole.y0_mm - lane.y0_mm, hole.x1_mm - lane.x0_mm, hole.y1_mm - lane.y0_mm)
            )
            if x0 >= picture.shape[1] or x1 <= 0:
                continue
            assert picture[max(y0 - 3, 0) : y0 + 3, max(x0, 0) : x1].min() < 255  # the dashes are there
            inner = picture[y0 + 12 : y1 - 12, x0 + 12 : x1 - 12].copy()  # the corners' arcs reach 9 px inward
            picture[max(y0 - 4, 0) : y1 + 4, max(x0 - 4, 0) : x1 + 4] = 255
            assert inner.min() == 255
        assert picture[2:-2, 2:-2].min() == 255


@every_card
def test_the_card_says_what_it_is_for_and_what_it_does_not_do(card, tmp_path):
    write_pdf(card, tmp_path / "card.pdf")
    with pypdfium2.PdfDocument(tmp_path / "card.pdf") as pdf:
        text = pdf[0].get_textpage()
        words = " ".join(text.get_text_bounded().split())
        to_mm, cut_mm = 25.4 / 72, card.trim_line.start_mm[0]
        boxes = [text.get_charbox(k) for k in range(text.count_chars())]

    for part in (
        card.id,
        "Print at 100 %",
        "flutegauge sheet check",
        "The window alone is not flat.",
        "no wider than 0.9 x its distance",
        "clear glass",
        "Room light from the side",
        "slot is for the handle",
        "BEFORE sterilising",
        "no longer sterile",
        "eye protection",
        "matt",
        "stand back",
        "cannot clear an instrument",
    ):
        assert part in words
    assert "safe" not in words.lower()
    for left, bottom, right, top in boxes:
        x0, x1 = left * to_mm, right * to_mm
        y0, y1 = card.height_mm - top * to_mm, card.height_mm - bottom * to_mm
        assert x1 < cut_mm or x0 > cut_mm
        assert y1 < card.height_mm - 8
        for part in (*card.strips, *card.lanes, *card.patches):
            assert x1 <= part.x0_mm or x0 >= part.x1_mm or y1 <= part.y0_mm or y0 >= part.y1_mm
