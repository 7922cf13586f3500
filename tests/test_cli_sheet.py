"""`flutegauge sheet` and `flutegauge sheet check` as a user meets them."""

from __future__ import annotations

from pathlib import Path

import pypdfium2
import pytest
from command_line import status_of, usage_error
from PIL import Image

from calib.prints import load


@pytest.mark.parametrize(("paper", "size_mm"), [("a4", (210.0, 297.0)), ("letter", (215.9, 279.4))])
def test_sheet_pdf_has_the_size_of_the_paper(
    paper: str, size_mm: tuple[float, float], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """ISO 216 for A4; US Letter is 8.5 by 11 inches. The page's size is read back by PDFium."""
    target = tmp_path / "sheet.pdf"
    assert status_of("sheet", "--paper", paper, "--out", target) == 0

    with pypdfium2.PdfDocument(target) as pdf:
        assert [v * 25.4 / 72 for v in pdf[0].get_size()] == pytest.approx(size_mm, abs=0.05)
    assert "100 %" in capsys.readouterr().out
    assert "nothing was overwritten" in usage_error(capsys, "sheet", "--paper", paper, "--out", target)
    assert status_of("sheet", "--paper", paper, "--out", target, "--overwrite") == 0


def test_sheet_png_and_its_own_name(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)

    assert status_of("sheet", "--png", "--dpi", 100) == 0
    with Image.open("flutegauge-A4-1.png") as page:
        assert page.size == (round(210 / 25.4 * 100), round(297 / 25.4 * 100))
    assert status_of("sheet") == 0
    assert Path("flutegauge-A4-1.pdf").is_file()


@pytest.mark.parametrize(
    ("kind", "paper", "card"),
    [("window", "a4", "A4-W1"), ("window", "letter", "LETTER-W1"), ("mat", "a4", "A4-M1"), ("mat", "letter", "LETTER-M1")],
)
def test_the_window_card_and_the_tray_mat(
    kind: str, paper: str, card: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The card comes as PDF under its own name, says how to check its print, and keeps the check like a sheet."""
    target, kept = tmp_path / "card.pdf", tmp_path / "kept.json"
    assert status_of("sheet", "--card", kind, "--paper", paper, "--out", target) == 0
    assert f"flutegauge sheet check --sheet {card}" in capsys.readouterr().out
    with pypdfium2.PdfDocument(target) as pdf:
        assert card in pdf[0].get_textpage().get_text_bounded()

    lengths = ("--along", 139.3, "--across", 140.7)
    assert status_of("sheet", "check", "--sheet", card.lower(), *lengths, "--prints", kept) == 0
    assert load(card, kept).scale_x == pytest.approx(140.7 / 140)


@pytest.mark.parametrize(("tool", "u_mm"), [("callipers", 0.03), ("ruler", 0.15)])
def test_sheet_check_keeps_what_was_measured(
    tool: str, u_mm: float, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    kept = tmp_path / "kept.json"
    lengths = ("--along", 139.3, "--across", 140.7)
    assert status_of("sheet", "check", "--sheet", "a4-1", *lengths, "--tool", tool, "--prints", kept) == 0

    scale = load("A4-1", kept)
    assert (scale.scale_y, scale.scale_x) == (pytest.approx(139.3 / 140), pytest.approx(140.7 / 140))
    assert scale.u_x == pytest.approx(u_mm / 140)
    assert "along: printed at 99.50 %" in capsys.readouterr().out


def test_sheet_check_takes_a_stated_u(tmp_path: Path) -> None:
    kept = tmp_path / "kept.json"
    lengths = ("--along", 140, "--across", 140, "--u", 0.07)
    assert status_of("sheet", "check", "--sheet", "A4-1", *lengths, "--prints", kept) == 0
    assert load("A4-1", kept).u_y == pytest.approx(0.07 / 140)
