"""Tags: printed, seen in a photo, and matched to what lies beside them."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pypdfium2
import pytest
from command_line import status_of, usage_error

from vision.desk.keeping import instruments_meant
from vision.desk.tag_find import find_tags
from vision.desk.tag_print import CELL_MM, tags_pdf
from vision.desk.tag_wish import Label
from vision.desk.wording import catalogue, speaker
from vision.markers import find_markers
from vision.records.database import open_records
from vision.records.tags import named_by

SAY = speaker(catalogue())
SAMPLE = Path(__file__).resolve().parent.parent / "samples" / "photos" / "k-file-25-flat.jpg"


def page(labels: list[Label], dpi: float = 200.0) -> np.ndarray:
    document = pypdfium2.PdfDocument(tags_pdf(labels, SAY))
    picture = document[0].render(scale=dpi / 72.0, grayscale=True).to_numpy()
    document.close()
    return np.ascontiguousarray(picture[..., 0] if picture.ndim == 3 else picture)


@pytest.fixture(scope="module")
def printed() -> np.ndarray:
    return page([Label("K-7", 0), Label("KIT-A", 41), Label("R_30.2", 999), Label("BOX 1"), Label("BOX 2")])


def test_what_is_printed_is_read_back(printed: np.ndarray) -> None:
    """Printing and reading share only the dictionary of the vision library, which is not ours."""
    assert [tag["number"] for tag in find_tags(printed)] == [0, 41, 999]


@pytest.mark.parametrize(("turn_deg", "blur_px", "px_per_mm"), [(0, 0.0, 12), (33, 1.2, 20), (141, 2.0, 30), (-80, 0.8, 8)])
def test_tags_are_read_turned_blurred_and_small(printed: np.ndarray, turn_deg: float, blur_px: float, px_per_mm: float) -> None:
    height, width = printed.shape
    turn = cv2.getRotationMatrix2D((width / 5, height / 9), turn_deg, px_per_mm * 25.4 / 200.0)
    size = 1500
    turn[:, 2] += np.array([size / 2 - width / 5, size / 2 - height / 9])
    seen = cv2.warpAffine(printed, turn, (size, size), flags=cv2.INTER_AREA, borderValue=255)
    if blur_px:
        seen = cv2.GaussianBlur(seen, (0, 0), blur_px)

    assert {tag["number"] for tag in find_tags(seen)} >= {0, 41}


def test_a_tag_has_its_size_on_paper(printed: np.ndarray) -> None:
    """8 modules of 1 mm at 200 dpi are 63.0 px a side."""
    corners = np.array(find_tags(printed)[0]["corners_px"])
    sides = np.linalg.norm(corners - np.roll(corners, 1, axis=0), axis=1)

    assert sides == pytest.approx(np.full(4, 8 * 200 / 25.4), abs=1.0)


def test_sheet_and_tags_are_not_taken_for_each_other(printed: np.ndarray) -> None:
    sheet = cv2.imread(str(SAMPLE), cv2.IMREAD_GRAYSCALE)
    assert sheet is not None

    assert find_tags(sheet) == []
    assert find_markers(printed) == []
    assert len(find_markers(cv2.resize(sheet, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA))) > 4


def test_a_tag_beside_the_instrument_is_seen_in_a_photo_of_the_sheet(printed: np.ndarray) -> None:
    sheet = cv2.imread(str(SAMPLE), cv2.IMREAD_GRAYSCALE)
    assert sheet is not None
    corners = np.array(find_tags(printed)[1]["corners_px"])
    x0, y0 = (corners.min(axis=0) - 12).astype(int)
    x1, y1 = (corners.max(axis=0) + 12).astype(int)
    tag = cv2.resize(printed[y0:y1, x0:x1], None, fx=6.0, fy=6.0, interpolation=cv2.INTER_AREA)
    sheet[100 : 100 + tag.shape[0], 200 : 200 + tag.shape[1]] = np.minimum(tag, 220)

    found = find_tags(sheet)

    assert [one["number"] for one in found] == [41]
    laid = (corners - [x0, y0] + 0.5) * 6.0 - 0.5 + [200, 100]
    assert np.array(found[0]["corners_px"]) == pytest.approx(laid, abs=3.0)


FILE, OTHER = {"value": "k-file"}, {"value": "other"}
BOXES = [{"id": 1, "box_px": [100, 100, 800, 50], "family": FILE}, {"id": 2, "box_px": [100, 600, 800, 50], "family": FILE}]
NEAR_1, NEAR_2 = [[950, 90], [990, 90], [990, 130], [950, 130]], [[950, 620], [990, 620], [990, 660], [950, 660]]


def test_each_tag_names_what_lies_nearest() -> None:
    assert instruments_meant(BOXES, {7: NEAR_1, 9: NEAR_2}, None) == {1: 7, 2: 9}


def test_two_tags_at_one_instrument_name_nothing() -> None:
    assert instruments_meant(BOXES, {7: NEAR_1, 9: NEAR_1}, None) == {}


def test_what_was_said_holds_for_one_instrument_only() -> None:
    assert instruments_meant(BOXES[:1], {9: NEAR_2}, 7) == {1: 7}
    assert instruments_meant(BOXES, {}, 7) == {}
    assert instruments_meant([], {7: NEAR_1}, None) == {}


def test_the_label_itself_is_not_what_it_names() -> None:
    label = {"id": 3, "box_px": [940, 80, 60, 60], "family": OTHER}

    assert instruments_meant([label, BOXES[1]], {7: NEAR_1}, None) == {2: 7}
    assert instruments_meant([label], {7: NEAR_1}, None) == {3: 7}


def test_many_labels_take_several_pages() -> None:
    document = pypdfium2.PdfDocument(tags_pdf([Label(f"L-{n}", n) for n in range(150)], SAY, "letter"))
    sizes = [page.get_size() for page in document]
    document.close()

    assert len(sizes) == 2
    assert sizes[0] == pytest.approx((612.0, 792.0))  # US Letter in points
    assert CELL_MM[1] > 8 + 2 * 1.5


def test_the_command_gives_out_tags_and_writes_them(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    data, out = tmp_path / "records", tmp_path / "tags.pdf"

    assert status_of("tags", "K-1", "K-2", "--kit", "BOX-1", "--slots", 3, "--add", "--data", data, "--out", out) == 0

    assert "K-2 is tag 1, BOX-1 is tag 2" in capsys.readouterr().out
    with open_records(data) as records:
        named = named_by(records, [1])
        assert [one.code for one in named.instruments] == ["K-2"]
    document = pypdfium2.PdfDocument(out)
    text = document[0].get_textpage().get_text_range()
    document.close()
    assert "BOX-1 3" in text
    assert "exists already" in usage_error(capsys, "tags", "K-1", "--data", data, "--out", out)
    said = usage_error(capsys, "tags", "K-9", "--data", data, "--out", tmp_path / "b.pdf")
    assert "no instrument K-9" in said
    assert "--add adds it" in said
    assert "nothing was asked for" in usage_error(capsys, "tags", "--data", data, "--out", tmp_path / "c.pdf")
