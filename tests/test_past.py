"""A reading against its own past: small changes are called too small, a drawn-out working part is found."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from invented_readings import condition, k_file, reading

from vision.call import Stated, own_rules, restated
from vision.errors import UsageError
from vision.past import against, change_lines, changes, earlier_instrument, stretched
from vision.quantity import Quantity
from vision.reading import Choice
from vision.report.document import document, text


@pytest.fixture
def before(tmp_path):
    """The document of an invented K-file, as --json writes it."""
    path = tmp_path / "before.json"
    path.write_text(text(document([reading(instruments=1)])), encoding="utf-8")
    return earlier_instrument(path)


def now(growth: float, longer_mm: float):
    """The same instrument, its pitch grown by a share; nothing else seen."""
    quiet = replace(k_file(), condition=condition("nothing seen"))
    return replace(quiet, pitch_mm=Quantity(0.58 * (1.0 + growth), 0.004), length_mm=Quantity(25.02 + longer_mm, 0.08))


def test_a_change_within_both_doubts_is_too_small_to_be_real(before):
    lines = change_lines(changes(now(0.005, 0.05), before))

    assert len(lines) == 4
    assert all("too small to be real" in line for line in lines)
    assert stretched(now(0.005, 0.05), before) is None


def test_a_change_has_the_digits_of_its_u(before):
    tiny = replace(now(0.0, 0.0), taper_mm_per_mm=Quantity(0.01988 - 8e-6, 0.00031))
    lines = change_lines(changes(tiny, before))

    assert any("taper changed by -0.00001 mm/mm (u 0.00044)" in line for line in lines)
    assert any("length changed by 0.00 mm (u 0.11)" in line for line in lines)


@pytest.mark.parametrize(("size", "asked"), [(25, False), (20, True), (None, False)])
def test_another_size_is_asked_about_and_compared_all_the_same(before, size, asked):
    """A size that was read otherwise must not cost a finding."""
    made = against(replace(now(0.20, 3.2), size=Choice(size, 0.97, {})), before)

    assert any("is it the same instrument?" in note for note in made.notes) == asked
    assert [finding.kind for finding in made.condition.findings] == ["stretched"]


@pytest.mark.parametrize("growth", [0.05, 0.20])
def test_a_drawn_out_working_part_is_found_and_called(before, growth):
    """Pitch and length grown together, as a stretched part of 16.2 mm must: the strength is the growth within 2 u."""
    made = restated(against(now(growth, growth * 16.2), before), own_rules(), Stated("steel", "no"))
    (found,) = made.condition.findings

    assert found.kind == "stretched"
    assert found.strength.value == pytest.approx(100.0 * growth, abs=2.0 * found.strength.u)
    assert made.condition.call == "discard"
    assert any("length changed" in note and "more than the doubt" in note for note in made.notes)


def test_a_pitch_that_grew_without_length_is_doubted(before):
    """3 u of pitch: with the length unchanged less likely than with it grown."""
    alone, both = stretched(now(0.03, 0.0), before), stretched(now(0.03, 0.5), before)

    assert both is not None
    assert both.probability > (0.0 if alone is None else alone.probability)


def test_another_family_is_not_compared(before):
    other = against(now(0.2, 3.0), {**before, "family": {"value": "reamer"}})

    assert other.condition.findings == ()
    assert "not compared" in other.notes[-1]


@pytest.mark.parametrize(("written", "said"), [("{}", "is no earlier reading"), ("[", "is no earlier reading")])
def test_what_is_no_reading_is_refused_in_words(tmp_path, written, said):
    path = tmp_path / "odd.json"
    path.write_text(written, encoding="utf-8")
    with pytest.raises(UsageError, match=said):
        earlier_instrument(path)


def test_a_document_of_two_instruments_is_refused(tmp_path):
    path = tmp_path / "two.json"
    path.write_text(json.dumps(document([reading()])), encoding="utf-8")
    with pytest.raises(UsageError, match="holds 2 instruments, needs one"):
        earlier_instrument(path)


@pytest.mark.parametrize("odd", [{"family": None}, {"family": "k-file"}, {"working_part_mm": 16}, {"working_part_mm": {"value": "long"}}])
def test_an_edited_reading_is_refused_before_anything_is_compared(tmp_path, odd):
    written = document([reading(instruments=1)])
    written["photos"][0]["instruments"][0].update(odd)
    path = tmp_path / "edited.json"
    path.write_text(json.dumps(written), encoding="utf-8")

    with pytest.raises(UsageError, match="is no earlier reading"):
        earlier_instrument(path)
