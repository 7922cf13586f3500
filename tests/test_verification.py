"""Verification on site: the statistics against published figures, what is decided, files, page, and the guided commands."""

from __future__ import annotations

import datetime as dt
import tomllib
from dataclasses import replace

import numpy as np
import pypdfium2
import pytest
from command_line import status_of, usage_error
from invented_readings import reading
from scipy.stats import f_oneway

from vision.commands import verify as command
from vision.commands.site import circumstances, with_site_check
from vision.quantity import Quantity
from vision.reading import PhotoReading
from vision.report.document import document
from vision.report.table import site_lines
from vision.verification import Piece, PieceResult, Spread, Taken, bias_line, spread_of, verify
from vision.verification_file import (
    STALE_DAYS,
    Circumstances,
    Kept,
    doubts,
    read_pieces,
    read_result,
    read_session,
    result_path,
    result_text,
    site_check,
)
from vision.verification_pdf import write_page

# NIST Statistical Reference Datasets, one-way ANOVA, SiRstv: silicon resistivity by five instruments (ohm cm); data and
# certified values from memory. That F agrees to nine digits shows that they are remembered rightly.
SILICON = (
    (196.3052, 196.1240, 196.1890, 196.2569, 196.3403),
    (196.3042, 196.3825, 196.1669, 196.3257, 196.0422),
    (196.1303, 196.2005, 196.2889, 196.0343, 196.1811),
    (196.2795, 196.1748, 196.1494, 196.1485, 195.9885),
    (196.2119, 196.1051, 196.1850, 196.0052, 196.2090),
)
CERTIFIED_F, CERTIFIED_WITHIN, CERTIFIED_AMONG = 1.18046237440255, 0.104076068334656, 5.11462616000000e-02 / 4.0
HERE = Circumstances("desk", "flutegauge 0.1.0", "outline abc", held=True)
TODAY = dt.date(2026, 5, 4)


def test_spread_is_that_of_a_published_analysis():
    spread = spread_of(SILICON)

    assert spread.within == pytest.approx(CERTIFIED_WITHIN, rel=1e-10)
    assert spread.between**2 == pytest.approx((CERTIFIED_AMONG - CERTIFIED_WITHIN**2) / 5.0, rel=1e-8)
    assert 5.0 * spread.between**2 / spread.within**2 + 1.0 == pytest.approx(CERTIFIED_F, rel=1e-9)
    assert spread.both**2 == pytest.approx(spread.within**2 + spread.between**2)
    assert (spread.freedom, spread.people) == (20, 5)


def test_spread_with_unequal_groups_is_scipys():
    groups = ((1.0, 1.3, 0.9, 1.1), (1.8, 2.1), (1.2, 1.6, 1.5))
    spread = spread_of(groups)
    f = float(f_oneway(*groups).statistic)
    typical = (9.0 - (16.0 + 4.0 + 9.0) / 9.0) / 2.0  # ISO 5725-2, 7.4.5 (from memory)

    assert typical * spread.between**2 / spread.within**2 + 1.0 == pytest.approx(f)


def test_people_who_agree_leave_nothing_between_them():
    """The mean square between people is below that within: the variance between is 0, never negative."""
    assert spread_of(((1.0, 2.0, 3.0), (3.0, 2.0, 1.0))).between == 0.0


def test_spread_comes_back_from_many_drawn_verifications():
    """Variances are unbiased where people differ enough: 400 trials of 4 people by 5 readings, within 5 %."""
    rng = np.random.default_rng(12)
    found = [spread_of(rng.normal(rng.normal(0.0, 3.0, (4, 1)), 1.0, (4, 5))) for _ in range(400)]

    assert np.mean([one.within**2 for one in found]) == pytest.approx(1.0, rel=0.05)
    assert np.mean([one.between**2 for one in found]) == pytest.approx(9.0, rel=0.12)


def pins(*sizes_mm, u=0.0005, kind="pin"):
    return [Piece(f"pin-{round(1000 * size)}", kind, Quantity(size, u)) for size in sizes_mm]


def drawn(rng, pieces, *, level=0.0, slope=0.0, repeat=0.001, people=(0.0, 0.0), times=4):
    return [
        Taken(piece.name, code, piece.known_mm.value * (1.0 + slope) + level + own + rng.normal(0.0, repeat), 0.004)
        for piece in pieces
        for code, own in zip("ABCD", people, strict=False)
        for _ in range(times)
    ]


def test_bias_and_its_u_cover_the_truth():
    """Sixty drawn verifications of a set-up with a known bias: each piece's bias within 2 u in 95 % (180 comparisons)."""
    inside = 0
    for seed in range(60):
        rng = np.random.default_rng(seed)
        pieces = pins(0.2, 0.5, 1.0)
        made = [
            replace(p, known_mm=Quantity(p.known_mm.value + rng.normal(0.0, p.known_mm.u), p.known_mm.u))
            for p in pieces
        ]
        result = verify(pieces, [replace(t, piece=p.name) for p, m in zip(pieces, made, strict=True)
                                 for t in drawn(rng, [m], level=0.002, slope=0.004)])  # fmt: skip
        for one in result.pieces:
            inside += abs(one.bias_mm.value - 0.002 - 0.004 * one.piece.known_mm.value) < 2.0 * one.bias_mm.u

    assert inside >= 158  # 95 % of 180 less what chance takes once in a thousand times, the spread being known from few


def test_bias_line_is_numpys_weighted_fit():
    pieces = pins(0.15, 0.3, 0.6, 1.1)
    u, bias = (0.001, 0.002, 0.001, 0.003), (0.0010, 0.0035, 0.0020, 0.0062)
    flat = Spread(0.001, None, 0.001, 3, 1)
    results = [PieceResult(p, 4, 0.0, Quantity(b, s), flat, None) for p, b, s in zip(pieces, bias, u, strict=True)]
    line = bias_line(results)
    size = np.array([p.known_mm.value for p in pieces])
    slope, level = np.polyfit(size, bias, 1, w=1.0 / np.array(u))

    assert line.slope == pytest.approx(slope)
    assert line.at(0.4).value == pytest.approx(level + slope * 0.4)


def test_a_good_set_up_decides_and_a_poor_one_says_so():
    """By hand: sizes 15 to 60 stand 0.05 mm apart, so an error of 0.025 mm mistakes one; limits are ±0.02 mm."""
    rng = np.random.default_rng(3)
    good = verify(pins(0.15, 0.4, 0.6), drawn(rng, pins(0.15, 0.4, 0.6), repeat=0.001))
    poor = verify(pins(0.15, 0.4, 0.6), drawn(rng, pins(0.15, 0.4, 0.6), repeat=0.015))

    assert [one.size for one in good.abilities] == [15, 20, 25, 30, 35, 40, 45, 50, 55, 60]
    assert all(one.names_nominal and one.judges for one in good.abilities)
    assert not any(one.names_nominal or one.judges for one in poor.abilities)
    assert "15 to 60 at nominal, none anywhere within limits; conformity decided: 15 to 60" in good.statement or (
        "15 to 60 at nominal, 15 to 60 anywhere" in good.statement
    )
    assert "neighbours: none at nominal" in poor.statement
    assert "flutes were not tried" in poor.statement


def test_bias_alone_takes_decisions_away():
    """A bias of 0.03 mm with hardly any spread still mistakes neighbours 0.05 mm apart, and not those 0.10 mm apart."""
    pieces = pins(0.5, 0.7, 0.9, kind="instrument")
    result = verify(pieces, drawn(np.random.default_rng(4), pieces, level=0.03, repeat=0.0002))
    able = {one.size: one.names_nominal for one in result.abilities}

    assert able == {50: False, 55: False, 60: False, 70: True, 80: True, 90: True}
    assert all(one.error_mm == pytest.approx(0.0315, abs=0.0015) for one in result.abilities)
    assert "flutes" not in result.statement


def test_the_stated_error_holds_for_the_next_reading():
    """The bound at a size, stated after 12 readings, holds for a further reading of another piece in 95 % or more."""
    inside = 0
    for seed in range(200):
        rng = np.random.default_rng(1000 + seed)
        pieces = pins(0.2, 0.4, 0.6)
        people = rng.normal(0.0, 0.001, 2)
        result = verify(pieces, drawn(rng, pieces, level=0.001, slope=0.01, repeat=0.003, people=people, times=2))
        bound = next(one.error_mm for one in result.abilities if one.size == 50)
        inside += abs(0.001 + 0.01 * 0.5 + rng.normal(0.0, 0.003) + rng.choice(people)) < bound

    assert inside >= 180  # 190 expected at least; fewer than 180 would come by chance once in a thousand times


def test_an_honest_claim_has_e_n_below_one_and_a_bold_one_above():
    """ISO 13528 (from memory): 0.010 mm off with U = 0.008 and U = 0.006 gives E_n = 0.010 / 0.010 = 1."""
    piece = Piece("pin", "pin", Quantity(0.5, 0.003))
    result = verify([piece], [Taken("pin", "A", 0.510, 0.004), Taken("pin", "A", 0.500, 0.004)])

    assert result.pieces[0].worst_e_n == pytest.approx(1.0)
    assert result.spread.between is None


def test_one_reading_is_too_few():
    with pytest.raises(ValueError, match=r"piece 'pin-500' needs at least 2 readings .*, has at most 1"):
        verify(pins(0.5), [Taken("pin-500", "A", 0.5, None)])


def some_result():
    pieces = pins(0.15, 0.5, 1.0)
    return verify(pieces, drawn(np.random.default_rng(5), pieces, people=(0.001, -0.001)))


def test_the_result_is_kept_and_shown_with_its_doubts(tmp_path):
    result = some_result()
    result_path("desk", tmp_path).write_text(result_text(result, HERE, TODAY), encoding="utf-8")
    kept = read_result(result_path("desk", tmp_path))

    assert (kept.made_on, kept.statement, kept.with_what) == (TODAY, result.statement, HERE)
    fine = site_check(HERE, TODAY + dt.timedelta(STALE_DAYS), tmp_path)
    assert fine.statement == result.statement
    assert fine.warnings == ()
    assert site_lines(fine)[0].startswith("verified on site on 2026-05-04: sizes told from their neighbours:")
    other = Circumstances(None, "flutegauge 0.2.0", "outline def", held=False)
    late = site_check(other, TODAY + dt.timedelta(STALE_DAYS + 1), tmp_path)
    said = " ".join(late.warnings)
    for words in (
        "181 days old, 180 at most",
        "camera profile 'desk', this reading used no camera profile",
        "flutegauge 0.1.0, this is flutegauge 0.2.0",
        "model outline abc, this reading used outline def",
        "shaft held, here it was not held",
    ):
        assert words in said
    assert site_check(HERE, TODAY, tmp_path / "empty") is None


def test_the_result_file_holds_every_figure():
    result = some_result()
    whole = tomllib.loads(result_text(result, HERE, TODAY))

    assert whole["spread_mm"]["repeatability_sd"] == pytest.approx(result.spread.within, abs=1e-6)
    assert whole["bias_line"]["slope"] == pytest.approx(result.line.slope, abs=1e-6)
    assert [row["name"] for row in whole["piece"]] == ["pin-150", "pin-500", "pin-1000"]


def test_the_page_has_the_statement_and_fits_one_side(tmp_path):
    result = some_result()
    write_page(result, HERE, TODAY, tmp_path / "page.pdf")
    page = pypdfium2.PdfDocument(tmp_path / "page.pdf")
    words = " ".join(page[0].get_textpage().get_text_bounded().split())

    assert len(page) == 1
    assert "onformity decided" in words
    assert "a photo cannot clear an instrument" in words
    picture = np.asarray(page[0].render(scale=1.0).to_pil().convert("RGB"), dtype=int)
    assert np.ptp(picture, axis=2).max() == 0  # black, white and grey only


def test_readings_carry_it(tmp_path, monkeypatch):
    monkeypatch.setattr("platformdirs.user_config_path", lambda name, **_: tmp_path / name)
    place = tmp_path / "flutegauge" / "cameras"
    place.mkdir(parents=True)
    one = reading()
    now = circumstances(one, held=True)
    result_path(now.profile, place).write_text(result_text(some_result(), now, dt.date.today()), encoding="utf-8")
    shown = with_site_check(one, held=True)

    assert shown.site_check.warnings == ()
    assert document([shown])["photos"][0]["site_check"]["statement"] == shown.site_check.statement
    result_path(now.profile, place).write_text("broken", encoding="utf-8")
    harmed = with_site_check(one, held=True)
    assert harmed.site_check is None
    assert "cannot be read" in harmed.notes[-1]
    failed = PhotoReading("a.jpg", ("no-sheet", "found none"), None)
    assert with_site_check(failed, held=True) is failed


PIECES = """
[[piece]]
name = "new-25"
kind = "instrument"
size = 25
"""


@pytest.fixture
def guided(tmp_path, monkeypatch):
    """A settings folder, a list of pieces, and a pipeline that answers with D0 of 0.250, 0.251, 0.252 ... mm in turn."""
    monkeypatch.setattr("platformdirs.user_config_path", lambda name, **_: tmp_path / name)
    (tmp_path / "pieces.toml").write_text(PIECES, encoding="utf-8")
    answers = iter(range(99))

    def answer(path, **_):
        whole = reading()
        d0 = Quantity(0.250 + 0.001 * next(answers), 0.003)
        return replace(whole, file=str(path), instruments=(replace(whole.instruments[0], d0_mm=d0),))

    monkeypatch.setattr(command, "read_photo", answer)
    for number in range(5):
        (tmp_path / f"p{number}.jpg").write_bytes(bytes([number]))
    return tmp_path


def test_the_guided_way(guided, capsys):
    """From list to result: every step says the next one, and the figures are those of the three readings."""
    session = guided / "desk.toml"
    assert status_of("verify", "new", session, "--pieces", guided / "pieces.toml") == 0
    assert "next (3 to go): person A, piece 'new-25', photo 1 of 3: lay it down" in capsys.readouterr().out
    for number in range(3):
        assert status_of("verify", "add", session, guided / f"p{number}.jpg", "--piece", "new-25", "--person", "a") == 0
        said = capsys.readouterr().out
    assert "all photos are in: run 'flutegauge verify report" in said
    assert status_of("verify", "report", session, "--pdf", guided / "desk.pdf") == 0
    said = capsys.readouterr().out
    assert "new-25: bias +0.0010 mm" in said
    assert "repeats to 0.0010 mm, 3 readings" in said
    assert "not assessed: one person took part" in said
    assert len(list((guided / "flutegauge" / "cameras").glob("*.verification.toml"))) == 1
    assert (guided / "desk.pdf").is_file()
    assert len(read_session(session).entries) == 3


def test_wrong_steps_are_one_sentence_and_change_nothing(guided, capsys):
    session, pieces = guided / "desk.toml", guided / "pieces.toml"
    assert "needs 2 to 100 photos" in usage_error(capsys, "verify", "new", session, "--pieces", pieces, "--times", "1")
    assert "no names are kept" in usage_error(
        capsys, "verify", "new", session, "--pieces", pieces, "--person", "Some Body"
    )
    assert "found no list of pieces" in usage_error(capsys, "verify", "new", session, "--pieces", guided / "none.toml")
    assert status_of("verify", "new", session, "--pieces", pieces) == 0
    assert "verify next" in usage_error_after(capsys, "verify", "new", session, "--pieces", pieces)
    add = ("verify", "add", session, guided / "p0.jpg", "--person", "A")
    assert "which has new-25" in usage_error(capsys, *add, "--piece", "pin")
    assert "which has A" in usage_error(capsys, *add[:4], "--person", "B", "--piece", "new-25")
    assert "has no reading yet, needs at least 2" in usage_error(capsys, "verify", "report", session)
    assert status_of(*add, "--piece", "new-25") == 0
    before = session.read_text(encoding="utf-8")
    assert "is the same photo as p0.jpg" in usage_error_after(capsys, *add, "--piece", "new-25")
    assert "needs at least 2 readings of a piece by one person, has at most 1" in usage_error(
        capsys, "verify", "report", session
    )
    assert session.read_text(encoding="utf-8") == before


@pytest.mark.parametrize(("d0_mm", "asked"), [(0.285, False), (0.417, True)])
def test_a_reading_far_from_what_is_known_is_asked_about_and_kept(guided, monkeypatch, capsys, d0_mm, asked):
    """u of a new instrument of size 25 is 0.02 / sqrt(3) mm, of the reading 0.003 mm: 0.035 mm are 2.9 u, 0.167 mm are 14."""
    whole = reading()
    one = replace(whole.instruments[0], d0_mm=Quantity(d0_mm, 0.003))
    monkeypatch.setattr(command, "read_photo", lambda path, **_: replace(whole, file=str(path), instruments=(one,)))
    session = guided / "desk.toml"
    assert status_of("verify", "new", session, "--pieces", guided / "pieces.toml") == 0
    capsys.readouterr()
    assert status_of("verify", "add", session, guided / "p0.jpg", "--piece", "new-25", "--person", "A") == 0

    said = capsys.readouterr().out
    assert ("is this 'new-25'? It is off by 14 times the u of both" in said) == asked
    assert ("take the last [[reading]] out of" in said) == asked
    assert len(read_session(session).entries) == 1


def test_two_set_ups_are_not_mixed(guided, capsys):
    session = guided / "desk.toml"
    assert status_of("verify", "new", session, "--pieces", guided / "pieces.toml") == 0
    add = ("verify", "add", session, "--piece", "new-25", "--person", "A")
    assert status_of(*add, guided / "p0.jpg", "--held") == 0
    assert "--person A --held'" in capsys.readouterr().out
    before = session.read_text(encoding="utf-8")
    said = usage_error(capsys, *add, guided / "p1.jpg")

    assert "p0.jpg (no profile" in said
    assert "not held" in said
    assert session.read_text(encoding="utf-8") == before


def test_a_list_of_pieces_that_cannot_be(tmp_path):
    cases = {
        "": "lists no piece",
        '[[piece]]\nname = "a"\nkind = "stone"\n': "kind 'stone'",
        '[[piece]]\nname = "a"\nkind = "pin"\n': "lacks diameter_mm and u_mm",
        '[[piece]]\nname = "a"\nkind = "pin"\ndiameter_mm = 50\nu_mm = 0.1\n': "has 50 mm with u 0.1 mm",
        '[[piece]]\nname = "a"\nkind = "instrument"\nsize = 26\n': "size 26 is none of 6, 8, 10",
        2 * '[[piece]]\nname = "a"\nkind = "instrument"\nsize = 25\n': "names a more than once",
    }
    for text, said in cases.items():
        path = tmp_path / "pieces.toml"
        path.write_text(text, encoding="utf-8")
        with pytest.raises(Exception, match=said):
            read_pieces(path)


def test_doubts_are_none_for_the_same_set_up():
    assert doubts(Kept(TODAY, "sizes", HERE), HERE, TODAY) == []


def usage_error_after(capsys, *argv):
    capsys.readouterr()
    return usage_error(capsys, *argv)
