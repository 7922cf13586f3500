"""The check piece: which wire it is, E_n, and what a correction does to values and budgets."""

from __future__ import annotations

import io
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from invented_readings import k_file, reading
from rich.console import Console
from test_place import FOCAL_PX, View, outline
from test_report_table import CLEARANCE

from calib.sheet import sheets
from vision import check_piece, correction
from vision.axis import Axis
from vision.budget import budget_of
from vision.check_piece import GAP_MM, KnownWire, Wire, compare, pick
from vision.correction import COMMON_SHARE, corrected, own_u
from vision.errors import PhotoError
from vision.find import Candidate
from vision.quantity import Quantity, combined
from vision.report.document import document
from vision.report.table import print_reading
from vision.width_budget import SHANK_THIN_PX

KNOWN = KnownWire(0.500, 0.001)
BOX = (10, 20, 300, 40)
EMPTY = np.zeros((2, 2), dtype=bool)


def wire(diameter_mm: float, *, taper: float = 0.0, rough_mm: float = 0.002, bow: float = 0.001) -> Wire:
    candidate = Candidate(EMPTY, EMPTY, EMPTY, EMPTY, (0, 0), cut=False)
    return Wire(candidate, Quantity(diameter_mm, 0.005), taper, rough_mm, bow, BOX)


def measured(value_mm: float = 0.506) -> Quantity:
    return combined(value_mm, [("print scale", value_mm * 0.006), ("height", 0.0005), ("edge model", 0.005), ("fit", 0.001)])


def test_the_wire_near_the_stated_diameter_is_taken() -> None:
    thin, near, thick = wire(0.31), wire(0.52), wire(0.90)

    assert pick([thin, near, thick], KNOWN) is near


@pytest.mark.parametrize(
    "other", [wire(0.51, taper=0.02), wire(0.49, rough_mm=0.05), wire(0.50, bow=0.05)], ids=["tapered", "fluted", "bent"]
)
def test_what_is_no_smooth_straight_cylinder_is_none(other: Wire) -> None:
    near = wire(0.47)

    assert pick([other, near], KNOWN) is near
    with pytest.raises(PhotoError, match=r"found no straight smooth wire .* 0\.500 mm .*not smooth or not straight"):
        pick([other], KNOWN)


def test_refusals_say_what_was_seen_and_what_to_do() -> None:
    with pytest.raises(PhotoError, match=r"seen: 0\.800 mm\): lay the whole wire on a white lane") as none:
        pick([wire(0.80)], KNOWN)
    with pytest.raises(PhotoError, match=r"2 bare smooth wires .* \(0\.490 mm, 0\.520 mm\), needs exactly one: take") as two:
        pick([wire(0.49), wire(0.52)], KNOWN)
    with pytest.raises(PhotoError, match="seen: none"):
        pick([], KNOWN)

    assert none.value.kind == two.value.kind == "check-piece"


@pytest.mark.parametrize(
    ("lab", "u_lab", "reference", "u_reference", "e_n"),
    [(0.506, 0.003, 0.500, 0.0, 1.0), (0.508, 0.003, 0.500, 0.004, 0.8), (0.494, 0.0015, 0.500, 0.002, -1.2)],
)
def test_e_n_by_its_formula(lab: float, u_lab: float, reference: float, u_reference: float, e_n: float) -> None:
    """E_n = (x - X) / sqrt(U_lab² + U_ref²) with U = 2 u: ISO/IEC 17043 and ISO 13528 (from memory)."""
    check = compare(Quantity(lab, u_lab), KnownWire(reference, u_reference), BOX)

    assert check.e_n == pytest.approx(e_n, abs=1e-9)
    assert check.bias_mm.value == pytest.approx(lab - reference)
    assert check.bias_mm.u == pytest.approx(math.hypot(u_lab, u_reference))


def widths() -> dict[str, Quantity]:
    parts = (("height", 0.008), ("scale", 0.006))
    return {
        name: combined(v, [*((label, v * r) for label, r in parts), ("edge model", 0.005), ("fit", 0.0015)])
        for name, v in (("d0_mm", 0.256), ("d16_mm", 0.577))
    }


def test_correction_takes_the_bias_off_widths_and_judges_anew() -> None:
    one = replace(k_file(), **widths())
    check = compare(measured(0.524), KNOWN, BOX)
    better = corrected(one, check)

    assert better.d0_mm.value == pytest.approx(0.256 - 0.024)
    assert better.d16_mm.value == pytest.approx(0.577 - 0.024)
    assert better.taper_mm_per_mm == one.taper_mm_per_mm, "a bias drops out of a difference"
    assert better.length_mm == one.length_mm
    assert any("corrected by the check piece: +0.0240 mm taken off" in note for note in better.notes)
    assert any(f"u of d0 was {one.d0_mm.u:.2g} mm and is {better.d0_mm.u:.2g} mm" in note for note in better.notes)
    assert better.judged["d0"].margin_u == pytest.approx((0.02 - abs(0.232 - 0.25)) / better.d0_mm.u)


def test_corrected_uncertainty_is_that_of_a_simulation() -> None:
    """Errors drawn cause by cause (JCGM 101:2008): one print, two heights, outlines that share part of their error."""
    q, n, rng = widths()["d16_mm"], 400_000, np.random.default_rng(4)
    piece = measured()
    parts = dict(piece.parts)
    sheet = rng.normal(0, 0.006, n)
    common = rng.normal(0, 1, n)

    def outline(u: float) -> np.ndarray:
        return u * (math.sqrt(COMMON_SHARE) * common + math.sqrt(1 - COMMON_SHARE) * rng.normal(0, 1, n))

    width = q.value * (1 + sheet + rng.normal(0, 0.008, n)) + outline(0.005) + rng.normal(0, 0.0015, n)
    seen = piece.value * (1 + sheet) + rng.normal(0, parts["height"], n) + outline(0.005) + rng.normal(0, parts["fit"], n)
    bias = seen - (0.500 + rng.normal(0, KNOWN.u_mm, n))

    stated = corrected(replace(k_file(), **widths()), compare(piece, KNOWN, BOX)).d16_mm

    assert stated.u == pytest.approx(float((width - bias).std()), rel=0.01)
    assert dict(stated.parts)["check piece"] == pytest.approx(own_u(compare(piece, KNOWN, BOX)))


def test_a_wire_like_the_instrument_takes_the_print_out() -> None:
    """Where D is the piece's own diameter the sheet's scale drops out altogether, as with any comparator."""
    q = combined(0.506, [("scale", 0.506 * 0.01), ("fit", 0.001)])
    stated = corrected(replace(k_file(), d0_mm=q), compare(measured(0.506), KNOWN, BOX)).d0_mm

    assert dict(stated.parts)["scale"] == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize(("value_mm", "correct", "done"), [(0.504, True, True), (0.504, False, False), (0.540, True, False)])
def test_corrected_only_on_request_and_never_by_a_piece_that_cannot_be_explained(
    monkeypatch: pytest.MonkeyPatch, value_mm: float, correct: bool, done: bool
) -> None:
    first, piece = wire(0.3).candidate, wire(0.5).candidate
    check = compare(measured(value_mm), KNOWN, BOX)
    monkeypatch.setattr(correction, "check_against", lambda *_: (check, piece))
    both = replace(reading(), instruments=(replace(k_file(), **widths()), k_file(2)))

    result = correction.with_check_piece(both, None, None, None, [first, piece], KNOWN, correct=correct)

    assert [one.id for one in result.instruments] == [1], "the piece is no instrument"
    assert result.check_piece.corrected is done
    assert (result.instruments[0].d0_mm != both.instruments[0].d0_mm) is done
    assert any("nothing was corrected" in note for note in result.notes) is (correct and not done)


def test_shown_as_a_check_standard() -> None:
    checked = replace(reading(), check_piece=compare(measured(), KNOWN, BOX))
    out = io.StringIO()
    print_reading(checked, Console(file=out, width=80, markup=False))
    text = " ".join(out.getvalue().split())
    made = document([checked])["photos"][0]["check_piece"]

    assert "check known 0.5000 mm (u 0.0010), measured 0.5060 mm (u 0.0060)" in text
    assert "bias +0.0060 mm (u 0.0060), E_n +0.50: no further off than U of both explains" in text
    assert "nothing was corrected by it" in text
    assert CLEARANCE.findall(text) == []
    assert made == {
        "known_mm": {"value": 0.5, "u": 0.001},
        "measured_mm": {"value": 0.506, "u": 0.006},
        "bias_mm": {"value": 0.006, "u": 0.006},
        "e_n": 0.5,
        "corrected": False,
        "box_px": list(BOX),
    }


def test_budget_after_a_correction_leans_on_the_difference_to_the_piece() -> None:
    """The print's own u stays what it is; its sensitivity becomes D - D_piece."""
    scale = Quantity(60.0, 0.36, (("print scale", 0.36), ("marker fit", 0.0)))
    q = corrected(replace(k_file(), **widths()), compare(measured(), KNOWN, BOX)).d16_mm
    line = next(line for line in budget_of("d16_mm", q, scale).lines if line.label == "print scale")

    assert line.input_u == pytest.approx(0.006)
    assert line.sensitivity == pytest.approx(0.577 - 0.506, rel=1e-6)


def test_every_key_of_the_check_piece_is_in_developers() -> None:
    checked = replace(reading(), check_piece=compare(measured(), KNOWN, BOX))
    page = (Path(__file__).resolve().parent.parent / "DEVELOPERS.md").read_text(encoding="utf-8")

    for key in document([checked])["photos"][0]["check_piece"]:
        assert f"`{key}`" in page


@pytest.mark.parametrize("camera_mm", [45.0, 120.0])
@pytest.mark.parametrize("thick_mm", [0.3, 0.9])
def test_a_lying_wire_is_measured_at_its_own_height(
    monkeypatch: pytest.MonkeyPatch, camera_mm: float, thick_mm: float
) -> None:
    """Against OpenCV's pinhole camera: the axis of a wire on the sheet is half its thickness up, and the gap is carried."""
    view = View(camera_mm, (72.0, 80.0))
    rise = thick_mm / 2 + GAP_MM / 2
    px_per_mm = FOCAL_PX / (camera_mm - rise)
    drawn = thick_mm - 2 * SHANK_THIN_PX / px_per_mm  # the outline reads thin by a known amount, which is put right
    edges, (first, _, last) = outline(view, rise, rise, drawn, 0.0)
    axis = Axis(edges.strip.axis_px, round(first), round(last), thick_mm / 2)
    monkeypatch.setattr(check_piece, "trace_axis", lambda *_: axis)
    monkeypatch.setattr(check_piece, "locate_edges", lambda *_: edges)
    bare = wire(0.5).candidate
    handled = replace(bare, handle=~EMPTY)
    scale = replace(view.scale(), sheet=next(iter(sheets().values())))

    check, piece = check_piece.check_against(None, scale, None, [handled, bare], KnownWire(thick_mm, 0.0005))

    assert piece is bare, "what has a handle is no check piece"
    assert check.bias_mm.value == pytest.approx(0.0, abs=3e-4)
    parts = dict(check.measured_mm.parts)
    assert parts["height"] >= thick_mm * GAP_MM / np.sqrt(12) / camera_mm * 0.99
    assert abs(check.e_n) < 0.1
    assert thick_mm * rise / camera_mm > 3e-4, "without its height it would read that much too thick"
