"""The JSON document: fixed keys in their fixed order, every quantity with its u, null for what was not measured."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from invented_readings import failed, k_file, quiet_reamer, reading

from vision.quantity import Quantity
from vision.reading import Choice, ScaleReading
from vision.report.document import document, text

INSTRUMENT_KEYS = [
    "id",
    "box_px",
    "tip_px",
    "handle_px",
    "family",
    "size",
    "d0_mm",
    "d16_mm",
    "taper_mm_per_mm",
    "tip_width_mm",
    "shank_width_mm",
    "length_mm",
    "working_part_mm",
    "stop_from_tip_mm",
    "pitch_mm",
    "flutes_per_mm",
    "helix_angle_deg",
    "twist_hand",
    "cross_section",
    "height_mm",
    "local_px_per_mm",
    "blur_px",
    "handle",
    "conformity",
    "condition",
    "notes",
]


OUR_KEYS = ["uncertainty_parts", "conformity_limits", "uncertainty_correlations", "clues"]


def made(*readings: Any) -> dict[str, Any]:
    parsed: dict[str, Any] = json.loads(text(document(readings)))
    return parsed


def test_keys_of_the_whole_in_order() -> None:
    whole = made(reading(), failed())

    assert list(whole) == ["format", "made_by", "photos", "combined", "cautions"]
    assert whole["format"] == "flutegauge-reading/1"
    assert list(whole["made_by"]) == ["flutegauge", "models"]
    assert whole["made_by"]["models"] == {}
    assert whole["combined"] == []
    assert len(whole["cautions"]) >= 5


def test_keys_of_a_photo_in_order() -> None:
    photo = made(reading())["photos"][0]

    assert list(photo)[:5] == ["file", "error", "scale", "instruments", "notes"]
    assert set(photo) - set(list(photo)[:5]) == {"check_piece", "site_check"}
    assert list(photo["scale"])[:5] == ["source", "sheet", "px_per_mm", "view_tilt_deg", "camera_height_mm"]
    assert list(photo["scale"])[5:] == ["camera_profile"]
    assert photo["scale"]["sheet"] == {"id": "A4-1", "print_checked": True}
    assert photo["scale"]["px_per_mm"] == {"value": 60.02, "u": 0.05}
    assert photo["scale"]["view_tilt_deg"] == 3.1
    assert photo["error"] is None


def test_keys_of_an_instrument_in_order_ours_last() -> None:
    one = made(reading())["photos"][0]["instruments"][0]

    assert list(one) == [*INSTRUMENT_KEYS, *OUR_KEYS]
    assert list(one["family"]) == ["value", "probability", "others"]
    assert list(one["size"]) == ["value", "probability", "others", "evidence"]
    assert list(one["handle"]) == ["colour", "sizes", "thickness_mm"]
    assert list(one["conformity"]) == ["d0", "d16", "length", "tip_angle"]
    told = ["call", "seen_share", "smallest_visible", "findings", "reasons", "limits"]
    assert list(one["condition"]) == [*told, "before", "material", "single_use"]
    finding = one["condition"]["findings"][0]
    assert list(finding) == ["kind", "from_mm", "to_mm", "strength", "strength_unit", "probability"]


def test_values_are_those_of_the_reading() -> None:
    one = made(reading())["photos"][0]["instruments"][0]

    assert one["d0_mm"] == {"value": 0.2531, "u": 0.003}
    assert one["taper_mm_per_mm"] == {"value": 0.01988, "u": 0.00031}
    assert one["family"] == {"value": "k-file", "probability": 0.98, "others": {"reamer": 0.02}}
    assert one["size"]["value"] == 25
    assert one["size"]["evidence"] == ["diameter", "handle colour"]
    assert one["box_px"] == [280, 400, 1520, 560]
    assert one["tip_px"] == [300.0, 420.0]
    assert one["handle"] == {"colour": "red", "sizes": [25, 55, 110], "thickness_mm": {"value": 3.9, "u": 0.1}}
    assert one["conformity"] == {"d0": "within", "d16": "within", "length": "within", "tip_angle": None}
    assert one["condition"]["smallest_visible"]["unwound"] == {"value": 40, "over_mm": 3}
    assert one["condition"]["findings"][0]["strength"] == {"value": 205, "u": 15}
    assert one["condition"]["limits"].startswith("this photo cannot clear it")
    assert one["uncertainty_parts"]["d0_mm"] == {"edge": 0.002, "scale": 0.001, "height": 0.002}


def test_not_measured_is_null_and_every_key_is_there() -> None:
    one = made(reading())["photos"][0]["instruments"][1]

    assert list(one) == [*INSTRUMENT_KEYS, *OUR_KEYS]
    for key in ("tip_px", "handle_px", "d0_mm", "d16_mm", "tip_width_mm", "twist_hand", "cross_section", "blur_px"):
        assert one[key] is None
    assert one["family"]["value"] is None
    assert one["size"]["value"] is None
    assert one["handle"] == {"colour": None, "sizes": [], "thickness_mm": None}
    assert one["conformity"] == dict.fromkeys(("d0", "d16", "length", "tip_angle"))


def test_quantities_have_value_and_u_and_nothing_else() -> None:
    one = made(reading())["photos"][0]["instruments"][0]
    quantities = [v for k, v in one.items() if isinstance(v, dict) and "u" in v]

    assert len(quantities) == 10
    assert all(list(quantity) == ["value", "u"] for quantity in quantities)


def test_a_photo_not_examined() -> None:
    photo = made(failed())["photos"][0]

    assert photo["error"] == {"kind": "no-file", "message": "found no file gone.jpg: check the name"}
    assert photo["scale"] is None
    assert photo["instruments"] == []


def test_a_stated_scale_has_no_sheet() -> None:
    given = ScaleReading("given", None, None, Quantity(60.0, 0.6), None, Quantity(120.0, 5.0))
    scale = made(replace(reading(), scale=given))["photos"][0]["scale"]

    assert scale == {
        "source": "given",
        "sheet": None,
        "px_per_mm": {"value": 60.0, "u": 0.6},
        "view_tilt_deg": None,
        "camera_height_mm": {"value": 120.0, "u": 5.0},
        "camera_profile": None,
    }


def test_numpy_numbers_become_plain_json() -> None:
    odd = replace(
        k_file(),
        box_px=tuple(np.array([1, 2, 3, 4])),  # type: ignore[arg-type]
        tip_px=(np.float32(1.25), np.float64(2.0)),  # type: ignore[arg-type]
        size=Choice(np.int64(25), np.float64(0.9), {"30": np.float64(0.1)}),  # type: ignore[arg-type]
        local_px_per_mm=np.float64(60.123456),
    )
    one = made(replace(reading(), instruments=(odd,)))["photos"][0]["instruments"][0]

    assert one["size"] == {"value": 25, "probability": 0.9, "others": {"30": 0.1}, "evidence": []}
    assert one["box_px"] == [1, 2, 3, 4]
    assert one["local_px_per_mm"] == 60.12


def test_not_a_number_never_leaves_the_programme() -> None:
    broken = replace(reading(), instruments=(replace(quiet_reamer(), local_px_per_mm=float("nan")),))

    with pytest.raises(ValueError, match="JSON"):
        text(document([broken]))


def test_text_survives_any_encoding_and_any_file_name() -> None:
    odd = replace(reading(), file="Größe\udcff.jpg")
    printed = text(document([odd]))

    assert printed.isascii()
    assert json.loads(printed)["photos"][0]["file"] == "Größe\udcff.jpg"
