"""Printed pages of the tray: black on white, nothing said by colour, the cautions at the foot of each."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from reportlab.lib import colors
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable, Paragraph, SimpleDocTemplate, Spacer, Table, TableStyle

from vision.report.cautions import SHORT
from vision.report.pdf_fonts import PLAIN
from vision.report.words import plain

TEXT = ParagraphStyle("text", fontName="Helvetica", fontSize=10, leading=13.5)
BOLD = ParagraphStyle("bold", TEXT, fontName="Helvetica-Bold")
TITLE = ParagraphStyle("title", TEXT, fontName="Helvetica-Bold", fontSize=16, leading=21)
HEAD = ParagraphStyle("head", TEXT, fontName="Helvetica-Bold", fontSize=12, leading=17, spaceBefore=8, spaceAfter=2)
SMALL = ParagraphStyle("small", TEXT, fontSize=8, leading=10.5)
GRID = TableStyle(
    [
        ("GRID", (0, 0), (-1, -1), 0.5, colors.black),
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("BACKGROUND", (0, 0), (-1, 0), colors.Color(0.9, 0.9, 0.9)),
        ("TOPPADDING", (0, 0), (-1, -1), 2.5),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 2.5),
    ]
)


def write_pages(target: Path, title: str, story: Sequence[Flowable], cautions: Sequence[str] = SHORT) -> None:
    """Write an A4 document with the cautions and the page's number at each foot. Raises OSError."""

    def foot(canvas: Canvas, document: SimpleDocTemplate) -> None:
        _foot(canvas, document, cautions)

    document = SimpleDocTemplate(
        str(target), pagesize=A4, leftMargin=20 * mm, rightMargin=20 * mm, topMargin=16 * mm, bottomMargin=34 * mm,
        title=title, author="flutegauge",
    )  # fmt: skip
    document.build(list(story), onFirstPage=foot, onLaterPages=foot)


def table(rows: Sequence[Sequence[str]], widths_mm: Sequence[float], *, bold_first: bool = False) -> Table:
    """A ruled table whose first row heads it; cells break over lines."""
    styled = [
        [Paragraph(safe(cell), BOLD if r == 0 or (bold_first and c == 0) else TEXT) for c, cell in enumerate(row)]
        for r, row in enumerate(rows)
    ]
    return Table(styled, colWidths=[w * mm for w in widths_mm], style=GRID, repeatRows=1, hAlign="LEFT")


def heading(text: str) -> Paragraph:
    """A heading within the page."""
    return Paragraph(safe(text), HEAD)


def words(text: str, *, bold: bool = False) -> Paragraph:
    """A paragraph."""
    return Paragraph(safe(text), BOLD if bold else TEXT)


def title(text: str) -> Paragraph:
    """The page's title."""
    return Paragraph(safe(text), TITLE)


def gap(height_mm: float = 2.0) -> Spacer:
    """Room between two things."""
    return Spacer(1, height_mm * mm)


def safe(text: str) -> str:
    """Escape what the page's mark-up would take for its own; control characters are shown, not obeyed."""
    shown = plain(text).replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
    try:
        shown.encode("cp1252")
    except UnicodeEncodeError:  # the pages' own font has no more letters than that: a name in another script would come out as boxes
        return f'<font name="{PLAIN}">{shown}</font>'
    return shown


def _foot(canvas: Canvas, document: SimpleDocTemplate, cautions: Sequence[str]) -> None:
    canvas.saveState()
    paragraph = Paragraph(" ".join(cautions), SMALL)
    _, height = paragraph.wrap(A4[0] - 40 * mm, 24 * mm)
    paragraph.drawOn(canvas, 20 * mm + 6.0, 30 * mm - height)  # the frame above has as much padding
    canvas.setFont("Helvetica", 8)
    canvas.drawRightString(A4[0] - 20 * mm, 7 * mm, f"page {document.page}")
    canvas.restoreState()
