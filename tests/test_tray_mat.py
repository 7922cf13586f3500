"""The tray mats: what they hold, that their codes are their own, and that a place on one tells its slot."""

from collections import Counter
from itertools import combinations
from types import SimpleNamespace

import numpy as np
import pypdfium2
import pytest

from calib.draw import raster, write_pdf
from calib.sheet import every_sheet, mats, sheet_named, sheets
from vision.markers import find_markers, sheets_of
from vision.tray.looked import lane_at

MATS = list(mats().values())
every_mat = pytest.mark.parametrize("mat", MATS, ids=lambda mat: mat.id)
PAPER_MM = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}  # ISO 216; 8.5 in x 11 in
LONGEST_MM, HANDLE_MM, THICK_MM = 31.0, 12.0, 4.5  # ISO 3630-1's longest common length; handles: common practice, no source


def test_mats_by_name_and_apart_from_sheets_and_cards() -> None:
    assert list(mats()) == ["A4-M1", "LETTER-M1"]
    assert sheet_named("A4-M1") is mats()["A4-M1"]
    assert set(mats()).isdisjoint(sheets())
    assert [sheet.id for sheet in every_sheet().values() if sheet.mat] == list(mats())


def test_no_code_is_on_two_pages() -> None:
    ids = Counter(marker.id for sheet in every_sheet().values() for marker in sheet.markers)

    assert max(ids.values()) == 1
    assert max(ids) < 1000  # the dictionary has 1000 codes


@every_mat
def test_everything_lies_on_the_paper_and_nothing_overlaps(mat) -> None:
    parts = [*mat.strips, *mat.lanes, *mat.patches]

    assert (mat.width_mm, mat.height_mm) == PAPER_MM[mat.paper]
    assert all(p.x0_mm >= 8.0 and p.x1_mm <= mat.trim_line.start_mm[0] and p.y1_mm <= mat.height_mm - 8.0 for p in parts)
    for a, b in combinations(parts, 2):
        assert a.x1_mm <= b.x0_mm + 1e-6 or b.x1_mm <= a.x0_mm + 1e-6 or a.y1_mm <= b.y0_mm + 1e-6 or b.y1_mm <= a.y0_mm + 1e-6


@every_mat
def test_a_slot_takes_the_longest_instrument_and_touches_a_ribbon(mat) -> None:
    assert [lane.number for lane in mat.lanes] == list(range(1, 25))
    for lane in mat.lanes:
        assert lane.width_mm > LONGEST_MM + HANDLE_MM
        assert lane.height_mm > 2 * THICK_MM
        assert any(abs(s.y0_mm - lane.y1_mm) < 1e-3 or abs(s.y1_mm - lane.y0_mm) < 1e-3 for s in mat.strips)


@every_mat
def test_its_codes_tell_the_mat_at_the_scale_of_a_whole_tray(mat) -> None:
    grey = np.asarray(raster(mat, 0.0, 0.0, mat.width_mm, mat.height_mm, 8.0))

    told = sheets_of(find_markers(grey))

    assert list(told) == [mat.id]
    assert len(told[mat.id][1]) == len(mat.markers)


@every_mat
def test_a_place_tells_its_slot(mat) -> None:
    scale = SimpleNamespace(sheet=mat, print_scale=(1.0, 1.0))

    assert [lane_at(scale, lane.centre_mm) for lane in mat.lanes] == list(range(1, 25))  # type: ignore[arg-type]
    for lane in mat.lanes:
        x_mm, y_mm = lane.centre_mm
        assert lane_at(scale, (x_mm, y_mm + 0.4 * lane.height_mm)) == lane.number  # type: ignore[arg-type]


@every_mat
def test_the_page_names_itself_and_numbers_every_slot(mat, tmp_path) -> None:
    write_pdf(mat, tmp_path / "mat.pdf")
    with pypdfium2.PdfDocument(tmp_path / "mat.pdf") as pdf:
        words = pdf[0].get_textpage().get_text_bounded()

    assert f"tray mat {mat.id}" in words
    assert all(str(number) in words.split() for number in range(1, 25))
    assert "cannot clear" in words
