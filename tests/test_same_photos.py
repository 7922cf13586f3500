"""Two rendered photos of one instrument left untouched, read together from file to combined reading.

One pair of a development seed: invented instrument, print not checked, resting with its tip on the sheet.
"""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from samples import write
from samples.views import draw_views
from vision.camera import stand
from vision.focal import Focal
from vision.named import Named
from vision.one_lens import one_lens
from vision.pipeline import read_photo
from vision.reading import CombinedReading, PhotoReading
from vision.together import Looked, _seen, combine

SEED, PX_PER_MM = 3405, 63.6  # a K-file of size 30


@pytest.fixture(scope="module")
def pair(tmp_path_factory: pytest.TempPathFactory) -> tuple[list[Looked], list[PhotoReading], dict[str, Any]]:
    folder = tmp_path_factory.mktemp("pair")
    kept: list[Looked] = []
    readings = []
    for k, scene in enumerate(draw_views(SEED, "untouched", 2, "k-file", "free", PX_PER_MM, image_px=(2400, 1600))):
        path = folder / f"view-{k}.jpg"
        write(replace(scene, supersample=2), path)
        readings.append(read_photo(path, given=None, prints=folder / "none.json", held=False, keep=kept))
    truth = json.loads((folder / "view-0.json").read_text(encoding="utf-8"))["instruments"][0]
    return kept, readings, truth


@pytest.fixture(scope="module")
def together(pair: tuple[list[Looked], list[PhotoReading], dict[str, Any]]) -> CombinedReading:
    made, problems = combine(pair[0], down=False)
    assert problems == ()
    assert made is not None
    return made


def test_it_is_told_that_it_lay_untouched(together: CombinedReading) -> None:
    assert together.mode == "untouched"
    assert together.photos == ("view-0.jpg", "view-1.jpg")
    assert any("chi-square" in note and "limit" in note for note in together.instrument.notes)


def test_the_axis_height_is_the_true_one(together: CombinedReading, pair: Any) -> None:
    """The truth's axis is the bent wire's own centre line in the sheet's frame; x along it, height last."""
    axis = np.array(pair[2]["axis_mm"])
    inside = (axis[:, 0] > 1.0) & (axis[:, 0] < together.height_of_x[-1, 0] - 1.0)
    x, z, u = together.height_of_x.T
    miss = np.interp(axis[inside, 0], x, z) - axis[inside, 3]

    assert np.all(np.abs(miss) < 3.0 * np.interp(axis[inside, 0], x, u))
    assert np.abs(miss).max() < 0.15  # assumed rest poses leave some 0.5 mm
    assert together.instrument.height_mm.u < 0.1


def test_widths_are_the_true_ones_and_surer_than_from_one_photo(together: CombinedReading, pair: Any) -> None:
    _, readings, truth = pair
    for name in ("d0_mm", "d16_mm", "taper_mm_per_mm"):
        ours = getattr(together.instrument, name)
        singles = [getattr(one.instruments[0], name) for one in readings]
        assert abs(ours.value - truth[name]) < 2.5 * ours.u, name
        assert ours.u < min(one.u for one in singles if one is not None), name
        assert dict(ours.parts)["height"] < 0.5 * min(dict(one.parts)["height"] for one in singles if one is not None), name


def test_the_hand_of_twist_is_told(together: CombinedReading, pair: Any) -> None:
    assert together.instrument.twist_hand == pair[2]["twist_hand"]


def test_the_same_photo_twice_tells_no_height(pair: Any) -> None:
    made, _ = combine([pair[0][0], pair[0][0]], down=False)

    assert made is not None
    assert made.mode == "untouched"
    assert any("move the camera across" in note for note in made.instrument.notes)
    assert made.instrument.height_mm.u > 0.2  # the usual rest poses, no more
    assert len(made.height_of_x) == 0


def test_a_photo_of_it_turned_since_is_measured_at_the_height_that_two_others_tell(pair: Any) -> None:
    first, second = pair[0]
    laid = [replace(first, lay=0), replace(second, name="aside.jpg", lay=0), replace(first, name="turned.jpg", lay=1)]
    made, _ = combine(laid, down=False)
    alone, _ = combine([replace(one, name=f"{k}.jpg", lay=k) for k, one in enumerate(laid)], down=False)

    assert made is not None
    assert alone is not None
    assert (made.mode, alone.mode) == ("re-laid", "re-laid")
    d0, turned = made.d0_each[0], made.d0_each[2]
    assert turned.value == pytest.approx(d0.value, rel=0.001)  # it is the first photo once more, and so rests as there
    assert d0.u <= turned.u < alone.d0_each[2].u
    assert dict(turned.parts)["height"] < 0.6 * dict(alone.d0_each[2].parts)["height"]
    assert made.instrument.height_mm.u < 0.1 < alone.instrument.height_mm.u
    assert any("turned.jpg it was turned" in note for note in made.instrument.notes)
    assert any("turned before every photo" in note for note in alone.instrument.notes)


def unnamed(one: Looked) -> Looked:
    """The photo as if no record named its lens."""
    camera = stand(one.scale.homography, one.scale.centre_px, one.photo.width_px, None)
    return replace(one, scale=replace(one.scale, camera=camera))


def test_a_turned_piece_is_measured_by_the_lens_that_its_photos_tell(pair: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """Two lays, so nobody takes it for untouched. A width at height z is seen at Z / (Z - z) of its own (similar triangles).

    From a camera some degrees aside of it a round shaft looks wider by a few parts in a thousand more or less.
    """
    monkeypatch.setattr("vision.one_lens._told", lambda _: Focal(35.0, 0.05))  # these two look down too steeply to tell it
    kept = pair[0]
    first, second = (replace(unnamed(one), lay=lay) for lay, one in enumerate(kept))
    made, problems = combine([first, second], down=False)
    cameras = [one.camera.height_mm for one in one_lens([first.scale, second.scale])]
    z = [one.found[0][1].height.tip_mm for one in (first, second)]

    assert problems == ()
    assert made is not None
    assert made.mode == "re-laid"
    for k, camera in enumerate(cameras):
        before, seen_from = kept[k].readings[0].d0_mm.value, kept[k].scale.camera.height_mm.value
        assert abs(camera.value / seen_from - 1.0) > 0.15
        assert made.d0_each[k].value / before == pytest.approx((1.0 - z[k] / camera.value) / (1.0 - z[k] / seen_from), rel=0.003)
        assert made.d0_each[k].value != before


def test_the_network_is_heard_in_the_combined_name(together: CombinedReading) -> None:
    """One of the clues is the learned look, as in each photo's own name."""
    assert any(clue.learned for clue in together.instrument.family_clues)


def test_what_the_network_says_is_the_mean_over_the_photos_that_asked_it() -> None:
    one = Named({"k-file": 0.9, "reamer": 0.1}, {"square": 1.0, "triangle": 0.0})
    two = Named({"k-file": 0.5, "reamer": 0.5}, {"square": 0.4, "triangle": 0.6})

    both = _seen([one, None, two])

    assert both is not None
    assert both.family == pytest.approx({"k-file": 0.7, "reamer": 0.3})
    assert both.section == pytest.approx({"square": 0.7, "triangle": 0.3})
    assert _seen([None]) is None
