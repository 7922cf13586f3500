"""Set-ups recognised, and '--held' checked, on a few small rendered scenes (invented, development seeds)."""

import json
from dataclasses import replace
from pathlib import Path

import pytest

from samples import write
from samples.over_card import draw_pair
from samples.population import draw_macro
from vision.held_signs import HeightSigns
from vision.pipeline import read_photo
from vision.pose import doubted, held, resting
from vision.scale import GivenScale
from vision.setup import GIVEN, Setup, held_evidence, setup_notes

NO_PRINTS = Path("no-print-checks.json")
SIZE = {"image_px": (1100, 640), "px_per_mm": 32.0}


@pytest.fixture(scope="module")
def photos(tmp_path_factory):
    """One instrument held at the edge of the plain sheet and over a lit window, and one resting freely."""
    folder = tmp_path_factory.mktemp("setups")
    plain, card = draw_pair(4102, "reamer", 40, **SIZE)
    free = draw_macro(4201, "k-file", "free", SIZE["px_per_mm"], size=25, image_px=SIZE["image_px"], sheet_id="A4-1", turn_deg=0.0)
    for name, scene in (("plain", plain), ("card", card), ("free", free)):
        write(replace(scene, supersample=2), folder / f"{name}.jpg")
    return folder


def read(photos, name, *, said_held):
    reading = read_photo(photos / f"{name}.jpg", given=None, prints=NO_PRINTS, held=said_held)
    assert reading.error is None, reading.error
    (instrument,) = reading.instruments
    return reading, instrument, " ".join(instrument.notes)


def test_a_handle_beyond_the_cut_edge_bears_out_held(photos):
    _, _, notes = read(photos, "plain", said_held=True)

    assert "set-up seen: handle beyond the cut edge" in notes
    assert "--held agrees with the photo" in notes


def test_a_handle_on_the_sheet_refuses_held(photos):
    """Said or not said: the same numbers, and a sentence that tells why."""
    _, said, notes = read(photos, "free", said_held=True)
    _, unsaid, _ = read(photos, "free", said_held=False)

    assert "set-up seen: plain sheet, handle on it" in notes
    assert "--held is not taken: the handle lies on the sheet" in notes
    assert said.d0_mm == unsaid.d0_mm


def test_a_lit_window_is_background_and_recognised(photos):
    """The card is named, one instrument is seen, D0 lies within 3 u of the truth and u is smaller than on the sheet."""
    reading, instrument, notes = read(photos, "card", said_held=True)
    _, on_sheet, _ = read(photos, "plain", said_held=True)
    truth = json.loads((photos / "card.json").read_text(encoding="utf-8"))["instruments"][0]

    assert reading.scale.sheet_id == "A4-W1"
    assert "set-up seen: window with screen, handle beyond the cut edge" in notes
    assert abs(instrument.d0_mm.value - truth["d0_mm"]) < 3.0 * instrument.d0_mm.u
    assert instrument.d0_mm.u < on_sheet.d0_mm.u


def test_a_stated_scale_is_a_set_up_of_its_own(photos):
    """Without a sheet nothing is said of slots, edges or '--held'."""
    given = GivenScale(32.0, 0.1)
    reading = read_photo(photos / "plain.jpg", given=given, prints=NO_PRINTS, held=True)
    notes = [note for one in reading.instruments for note in one.notes]

    assert setup_notes(GIVEN, None)[0].startswith("set-up seen: scale stated, no sheet read")
    assert not any("--held" in note or "cut edge" in note for note in notes)


ON_EDGE = Setup("handle beyond the cut edge", "edge", False, True, ("the handle begins 1.0 mm beyond the cut edge",), "a", "b")
UNSEEN = Setup("plain sheet", "unseen", False, False, ("the handle is not in the picture",), "a", "b")


@pytest.mark.parametrize(
    ("setup", "signs", "verdict"),
    [
        (ON_EDGE, HeightSigns(1.0, 1.1, 0.0), "agrees"),
        (ON_EDGE, HeightSigns(1.0, 1.1, 0.5), "undecided"),
        (ON_EDGE, HeightSigns(1.0, 1.1, 1.6), "contradicted"),
        (ON_EDGE, HeightSigns(4.0, 1.0, 0.0), "contradicted"),
        (ON_EDGE, HeightSigns(1.0, 4.0, 0.0), "contradicted"),
        (UNSEEN, HeightSigns(None, None, None), "contradicted"),
    ],
)
def test_verdicts(setup, signs, verdict):
    """At 60 px/mm from 80 mm a lens of 5 mm opening blurs 0.7 mm of height over 5 x 0.7 / 80 x 60 / 4 = 0.66 px."""
    found = held_evidence(setup, signs, 60.0, 80.0)

    assert found.verdict == verdict
    assert not found.refused
    assert found.reasons


def test_a_doubted_pose_covers_both():
    down, free = held(0.8, 0.3), resting(0.3, 4.0)
    both = doubted(down, free)

    for share in (0.0, 0.5, 1.0):
        value, u = both.at(share)
        for other in (down, free):
            assert abs(value - other.at(share)[0]) < 1.2 * u
