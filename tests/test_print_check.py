"""A measured print gives its scale with an honest uncertainty, and nothing typed is lost or believed blindly."""

import dataclasses
import datetime as dt
import json
import math
import os

import numpy as np
import pytest

from calib import prints
from calib.errors import CalibError, ImplausibleCheckError, PrintFileError, UnknownSheetError
from calib.prints import PrintCheck, load, load_history, save

CHECK = PrintCheck(
    sheet_id="A4-1",
    name="front desk",
    along_mm=139.30,
    across_mm=140.70,
    u_mm=0.03,
    checked_on=dt.date(2024, 5, 2),
    tool="callipers",
)


@pytest.fixture
def path(tmp_path):
    return tmp_path / "folder" / "print-checks.json"


def test_factors_are_real_over_nominal_and_do_not_swap_axes(path):
    assert save(CHECK, path) == path

    scale = load("A4-1", path)

    assert scale.checked
    assert scale.scale_x == pytest.approx(1.005)  # across the feed
    assert scale.scale_y == pytest.approx(0.995)  # along the feed
    assert scale.u_x == scale.u_y == pytest.approx(0.03 / 140)


def test_an_unchecked_print_carries_that_a_page_may_have_been_fitted(path):
    scale = load("LETTER-1", path)

    # Five in six within 1 %, a rectangle of standard deviation a / sqrt(3) (JCGM 100:2008, 4.3.7); one in six 3 % off: drawn here.
    draws = np.random.default_rng(5).uniform(-0.01, 0.01, 240_000)
    draws[:40_000] = 0.03 * np.sign(draws[:40_000])
    assert (scale.scale_x, scale.scale_y, scale.checked) == (1.0, 1.0, False)
    assert scale.u_x == scale.u_y == pytest.approx(draws.std(), rel=0.01)
    assert 3.0 * scale.u_x > 0.03


def test_a_steel_ruler_is_worth_less_than_callipers_but_far_more_than_nothing():
    ruler = prints.scale_of(dataclasses.replace(CHECK, u_mm=prints.STEEL_RULER_U_MM))

    assert prints.scale_of(CHECK).u_x < ruler.u_x < prints.UNCHECKED_U / 5
    # Rectangular within half a half-millimetre division (JCGM 100:2008, 4.3.7), rounded up.
    assert 0.25 / math.sqrt(3) <= prints.STEEL_RULER_U_MM < 0.16


def test_a_check_of_one_sheet_says_nothing_about_the_other(path):
    save(CHECK, path)

    assert not load("LETTER-1", path).checked


@pytest.mark.parametrize("length_mm", [132.9, 147.1, 170.0, 14.0, 0.0, -140.0, math.nan, math.inf])
@pytest.mark.parametrize(("field", "line"), [("along_mm", "along"), ("across_mm", "across")])
def test_implausible_lengths_are_refused_by_name(path, field, line, length_mm):
    with pytest.raises(ImplausibleCheckError, match=rf"^{line}: measured .* mm, line is 140 mm: .* measure again"):
        save(dataclasses.replace(CHECK, **{field: length_mm}), path)

    assert not path.exists()


@pytest.mark.parametrize("length_mm", [133.0, 137.2, 147.0])
def test_lengths_within_five_percent_are_taken(path, length_mm):
    save(dataclasses.replace(CHECK, along_mm=length_mm), path)

    assert load("A4-1", path).scale_y == pytest.approx(length_mm / 140)


def test_both_wrong_lengths_are_named_at_once():
    with pytest.raises(ImplausibleCheckError, match=r"along: measured 170 mm.*across: measured 13 mm"):
        prints.scale_of(dataclasses.replace(CHECK, along_mm=170.0, across_mm=13.0))


@pytest.mark.parametrize("u_mm", [0.0, -0.03, 1.0, math.nan])
def test_an_uncertainty_that_is_none_is_refused(u_mm):
    with pytest.raises(ImplausibleCheckError, match=r"u_mm: .* 0\.03 for callipers, 0\.15 for a steel"):
        prints.scale_of(dataclasses.replace(CHECK, u_mm=u_mm))


def test_unknown_sheets_are_refused_with_those_that_exist(path):
    for ask in (lambda: load("A5-1", path), lambda: save(dataclasses.replace(CHECK, sheet_id="A5-1"), path)):
        with pytest.raises(UnknownSheetError, match=r"'A5-1'.*A4-1, LETTER-1"):
            ask()


def test_saving_again_keeps_the_earlier_checks(path):
    checks = [dataclasses.replace(CHECK, along_mm=139.0 + n / 10, name=f"print {n}") for n in range(3)]
    for check in checks:
        save(check, path)
    save(dataclasses.replace(CHECK, sheet_id="LETTER-1"), path)

    assert load_history("A4-1", path) == tuple(checks)
    assert load("A4-1", path) == prints.scale_of(checks[-1])
    entry = json.loads(path.read_text())["sheets"]["A4-1"]
    assert entry["current"]["name"] == "print 2"
    assert [earlier["name"] for earlier in entry["history"]] == ["print 0", "print 1"]


def test_a_sheet_of_a_later_version_survives_in_the_file(path):
    save(CHECK, path)
    document = json.loads(path.read_text())
    document["sheets"]["A4-9"] = document["sheets"]["A4-1"]
    path.write_text(json.dumps(document))

    save(CHECK, path)

    assert "A4-9" in json.loads(path.read_text())["sheets"]


def _without_field(document):
    del document["sheets"]["A4-1"]["current"]["u_mm"]


def _text_for_number(document):
    document["sheets"]["A4-1"]["current"]["along_mm"] = "139"


def _no_date(document):
    document["sheets"]["A4-1"]["history"] = [document["sheets"]["A4-1"]["current"] | {"checked_on": "May"}]


def _other_format(document):
    document["format"] = "flutegauge-prints/2"


def _no_history_list(document):
    document["sheets"]["A4-1"]["history"] = None


@pytest.mark.parametrize("spoil", [_without_field, _text_for_number, _no_date, _other_format, _no_history_list])
def test_damaged_entries_are_refused_and_left_alone(path, spoil):
    save(CHECK, path)
    document = json.loads(path.read_text())
    spoil(document)
    path.write_text(json.dumps(document))
    before = path.read_bytes()

    with pytest.raises(PrintFileError, match=r"print-checks.json are damaged .*measure the print again"):
        load("A4-1", path)
    with pytest.raises(PrintFileError):
        save(CHECK, path)
    assert path.read_bytes() == before


@pytest.mark.parametrize("content", [b"", b"{", b"[]", b"null", b'{"format": "flutegauge-prints/1"}', b"\xff\xfe\x00"])
def test_files_that_are_no_print_checks_are_refused(path, content):
    path.parent.mkdir()
    path.write_bytes(content)

    with pytest.raises(PrintFileError, match=r"print-checks\.json"):
        load("A4-1", path)


def test_lengths_edited_into_the_file_are_checked_too(path):
    save(CHECK, path)
    path.write_text(path.read_text().replace("139.3", "13.93"))

    with pytest.raises(PrintFileError, match=r"along: measured 13\.93 mm"):
        load("A4-1", path)


def test_an_interrupted_write_leaves_the_old_file_and_no_litter(path, monkeypatch):
    save(CHECK, path)
    before = path.read_bytes()

    def fail(*_):
        raise OSError("disk full")

    monkeypatch.setattr(os, "replace", fail)
    with pytest.raises(PrintFileError, match="disk full"):
        save(dataclasses.replace(CHECK, along_mm=141.0), path)

    assert path.read_bytes() == before
    assert os.listdir(path.parent) == [path.name]


def test_the_default_file_lies_in_the_users_configuration_folder(tmp_path, monkeypatch):
    monkeypatch.setattr("platformdirs.user_config_path", lambda name, **_: tmp_path / name)

    assert save(CHECK) == tmp_path / "flutegauge" / "print-checks.json"
    assert load("A4-1").checked


def test_every_refusal_is_a_calib_error():
    assert all(issubclass(kind, CalibError) for kind in (ImplausibleCheckError, PrintFileError, UnknownSheetError))
