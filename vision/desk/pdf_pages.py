"""What all PDF reports share: page, text styles, tables, and the limits line at the foot of every page."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any
from xml.sax.saxutils import escape

from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.platypus import Flowable, Paragraph, SimpleDocTemplate, Table

from vision.desk.answers import when
from vision.desk.settings import Desk
from vision.records.clock import now
from vision.report.document import version
from vision.report.pdf_fonts import BOLD, PLAIN

MARGIN_MM = 16.0
WIDTH = A4[0] - 2 * MARGIN_MM * mm - 12.0  # a frame keeps 6 points free on either side
BODY = ParagraphStyle("body", fontName=PLAIN, fontSize=9.5, leading=12.5)
STRONG = ParagraphStyle("strong", BODY, fontName=BOLD, fontSize=11.5, leading=14.5, spaceAfter=2)
HEAD = ParagraphStyle("head", BODY, fontName=BOLD, fontSize=12, leading=15, spaceBefore=8, spaceAfter=3)
TITLE = ParagraphStyle("title", BODY, fontName=BOLD, fontSize=18, leading=22, spaceAfter=4)
RULES = [
    ("LINEBELOW", (0, 0), (-1, -1), 0.3, "#777777"),
    ("LINEBELOW", (0, 0), (-1, 0), 1.0, "#000000"),
    ("VALIGN", (0, 0), (-1, -1), "TOP"),
    ("LEFTPADDING", (0, 0), (-1, -1), 0),
    ("TOPPADDING", (0, 0), (-1, -1), 1.5),
    ("BOTTOMPADDING", (0, 0), (-1, -1), 1.5),
]


def text(words: str, style: ParagraphStyle = BODY) -> Paragraph:
    """Return a paragraph of plain words."""
    return Paragraph(escape(words), style)


def table(rows: Sequence[Sequence[str]], shares: Sequence[float]) -> Table:
    """Return a table; the first row is its head, unless all of its cells are empty."""
    cells = [[text(cell) for cell in row] for row in rows]
    if not any(rows[0]):
        cells = cells[1:]
    return Table(cells, colWidths=[share * WIDTH for share in shares], style=RULES, repeatRows=1 if any(rows[0]) else 0)


def built(story: list[Flowable], desk: Desk, title: str) -> bytes:
    """Return the PDF of a story."""
    say, stream = desk.say, io.BytesIO()
    made_at = say("report.made", version=version(), when=when(now()))

    def foot(canvas: Any, document: Any) -> None:
        canvas.setFont(BOLD, 9)
        canvas.drawString(MARGIN_MM * mm, 11 * mm, say("site.limits"))
        canvas.setFont(PLAIN, 8)
        canvas.drawString(MARGIN_MM * mm, 7 * mm, f"{made_at}; {say('report.page', number=document.page)}")

    template = SimpleDocTemplate(
        stream, pagesize=A4, leftMargin=MARGIN_MM * mm, rightMargin=MARGIN_MM * mm, topMargin=14 * mm, bottomMargin=18 * mm,
        title=title, author="Flutegauge", invariant=1,
    )  # fmt: skip
    template.build(story, onFirstPage=foot, onLaterPages=foot)
    return stream.getvalue()
