"""From photo to reading on the sample photos, against the truth that the renderer wrote beside them."""

import json
from functools import cache
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

import vision.conformity
import vision.handle
import vision.nominal
import vision.sizing
import vision.tip_loss
from calib.draw import raster
from calib.sheet import sheets
from vision.pipeline import read_photo

PHOTOS = Path(__file__).parents[1] / "samples" / "photos"
NO_PRINTS = Path("no-print-checks.json")
MEASURED = ("d0_mm", "d16_mm", "taper_mm_per_mm", "shank_width_mm", "length_mm", "pitch_mm", "helix_angle_deg", "working_part_mm")
FLAT = ("k-file-25-flat", "reamer-35-flat", "barbed-broach-40-flat")


@cache
def read(name):
    """Reading and truth of a sample photo."""
    truth = json.loads((PHOTOS / f"{name}.json").read_text(encoding="utf-8"))["instruments"][0]
    return read_photo(PHOTOS / f"{name}.jpg", given=None, prints=NO_PRINTS, held="flat" in name), truth


@pytest.mark.parametrize("name", FLAT)
def test_a_sample_is_named_and_sized(name):
    """Family and ISO size of a held instrument are the true ones, and only one instrument is seen."""
    reading, truth = read(name)

    assert reading.error is None
    (instrument,) = reading.instruments
    assert instrument.family.value == truth["family"]
    assert instrument.size.value == truth["size"]


@pytest.mark.parametrize("name", FLAT)
def test_the_truth_lies_within_three_u(name):
    """D0, pitch and length of a held instrument lie within 3 u of the truth (one in 370 would not, by chance)."""
    reading, truth = read(name)

    for quantity in ("d0_mm", "length_mm", "pitch_mm"):
        measured = getattr(reading.instruments[0], quantity)
        if measured is not None and truth[quantity] is not None:
            assert abs(measured.value - truth[quantity]) < 3.0 * measured.u, (quantity, measured, truth[quantity])


def test_nominal_tables_and_colours_move_no_measured_quantity(monkeypatch):
    """With every published table and the colour code shifted, names change and no measured digit does."""
    before = read("k-file-25-flat")[0].instruments[0]
    wrong = dict.fromkeys(vision.nominal.SIZES, "green")
    monkeypatch.setattr(vision.sizing, "SIZES", (7, 77, 117))
    monkeypatch.setattr(vision.sizing, "HALF_SIZES", {})
    monkeypatch.setattr(vision.sizing, "COLOURS_OF_SIZES", {7: "red", 77: "blue", 117: "white"})
    monkeypatch.setattr(vision.nominal, "COLOUR_OF_SIZE", wrong)
    monkeypatch.setattr(vision.nominal, "LENGTHS_MM", (11.0,))
    monkeypatch.setattr(vision.conformity, "LENGTHS_MM", (11.0,))
    monkeypatch.setattr(vision.conformity, "TAPER", 0.5)
    monkeypatch.setattr(vision.tip_loss, "LENGTHS_MM", (11.0,))

    photo = PHOTOS / "k-file-25-flat.jpg"
    after = read_photo(photo, given=None, prints=NO_PRINTS, held=True).instruments[0]

    assert after.size.value != before.size.value
    for quantity in MEASURED:
        assert getattr(after, quantity) == getattr(before, quantity), quantity


def test_unwinding_is_a_reason_to_discard():
    """The unwound sample is called 'discard', with the finding where the twist was lost (invented damage, known exactly)."""
    reading, truth = read("k-file-30-flat-unwound")
    damage = truth["damage"][0]

    condition = reading.instruments[0].condition
    assert condition.call == "discard"
    (finding,) = [one for one in condition.findings if one.kind in ("unwound", "reverse-wound")]
    assert finding.from_mm < damage["to_mm"]
    assert finding.to_mm > damage["from_mm"]


@pytest.fixture
def empty_sheet(tmp_path):
    """Write a photo of a part of the sheet with nothing on it, at a given scale."""

    def at(px_per_mm, box_mm):
        grey = raster(sheets()["A4-1"], *box_mm, px_per_mm)
        soft = cv2.GaussianBlur(grey, (0, 0), 0.7).astype(float) * 0.8 + 15.0
        noisy = np.clip(soft + np.random.default_rng(1).normal(0.0, 1.5, soft.shape), 0, 255).astype(np.uint8)
        path = tmp_path / "empty.png"
        Image.fromarray(np.repeat(noisy[..., None], 3, axis=2)).save(path)
        return path

    return at


def test_an_empty_sheet_says_that_nothing_lies_on_it(empty_sheet):
    """A sheet without an instrument is no reading: one sentence with the next step."""
    reading = read_photo(empty_sheet(24.0, (30.0, 60.0, 100.0, 110.0)), given=None, prints=NO_PRINTS, held=False)

    assert reading.error is not None
    assert reading.error[0] == "no-instrument"
    assert "lay one" in reading.error[1]


def test_too_few_pixels_names_both_sides(empty_sheet):
    """A photo under 8 px/mm is refused with what it has and what is needed."""
    reading = read_photo(empty_sheet(7.0, (3.0, 25.0, 200.0, 200.0)), given=None, prints=NO_PRINTS, held=False)

    assert reading.error is not None
    assert reading.error[0] == "too-coarse"
    assert "needs 8 px/mm" in reading.error[1]
    assert "has 7" in reading.error[1]
