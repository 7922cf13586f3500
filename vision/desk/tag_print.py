"""Labels -> a PDF page to print at 100 % and cut out: tags of 8 mm with their code in letters, and labels of slots."""

from __future__ import annotations

import io
from collections.abc import Sequence

from reportlab.lib.pagesizes import A4, LETTER
from reportlab.lib.units import mm
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.pdfgen.canvas import Canvas

from vision.desk.tag_codes import MODULES, modules_of
from vision.desk.tag_wish import Label
from vision.desk.wording import Say
from vision.report.pdf_fonts import BOLD, PLAIN

MODULE_MM = 1.0
CELL_MM = (28.0, 16.0)
QUIET_MM = 1.5  # white around a tag, so that its border stands out on any ground
MARGIN_MM = 12.0
PAPERS = {"a4": A4, "letter": LETTER}


def tags_pdf(labels: Sequence[Label], say: Say, paper: str = "a4") -> bytes:
    """Return the PDF; as many pages as needed. ``paper``: 'a4' or 'letter'; ``say`` gives the sentences on it."""
    width, height = PAPERS[paper]
    columns = int((width / mm - 2 * MARGIN_MM) // CELL_MM[0])
    rows = int((height / mm - 2 * MARGIN_MM - 8.0) // CELL_MM[1])
    stream = io.BytesIO()
    canvas = Canvas(stream, pagesize=(width, height), invariant=1)
    canvas.setTitle("Flutegauge tags")
    canvas.setViewerPreference("PrintScaling", "None")
    for first in range(0, len(labels), columns * rows):
        _heading(canvas, height, say("tags.heading"))
        for place, label in enumerate(labels[first : first + columns * rows]):
            x = MARGIN_MM + (place % columns) * CELL_MM[0]
            y = height / mm - MARGIN_MM - 8.0 - (place // columns + 1) * CELL_MM[1]
            _cell(canvas, label, x, y, say)
        canvas.showPage()
    canvas.save()
    return stream.getvalue()


def _heading(canvas: Canvas, height: float, words: str) -> None:
    canvas.setFont(PLAIN, 8)
    canvas.drawString(MARGIN_MM * mm, height - MARGIN_MM * mm, words)


def _cell(canvas: Canvas, label: Label, x_mm: float, y_mm: float, say: Say) -> None:
    canvas.setLineWidth(0.2)
    canvas.setStrokeGray(0.6)
    canvas.rect(x_mm * mm, y_mm * mm, CELL_MM[0] * mm, CELL_MM[1] * mm)
    if label.number is None:
        _words(canvas, label.text, x_mm + 2.0, y_mm + CELL_MM[1] / 2 - 1.5, CELL_MM[0] - 4.0, 16.0)
        return
    _pattern(canvas, label.number, x_mm + QUIET_MM + 1.0, y_mm + (CELL_MM[1] - MODULES * MODULE_MM) / 2)
    left = x_mm + 2 * QUIET_MM + MODULES * MODULE_MM + 1.0
    room = x_mm + CELL_MM[0] - left - 1.0
    _words(canvas, label.text, left, y_mm + CELL_MM[1] / 2, room, 12.0)
    canvas.setFont(PLAIN, 6)
    canvas.drawString(left * mm, (y_mm + CELL_MM[1] / 2 - 3.5) * mm, say("tags.on_label", number=label.number))


def _pattern(canvas: Canvas, number: int, x_mm: float, y_mm: float) -> None:
    """Draw the black modules, row by row from the top, each run as one bar so that no hairline splits it."""
    canvas.setFillGray(0.0)
    for row, modules in enumerate(modules_of(number)):
        start = None
        for column, black in enumerate([*modules, False]):
            if black and start is None:
                start = column
            elif not black and start is not None:
                y = y_mm + (MODULES - 1 - row) * MODULE_MM
                canvas.rect(
                    (x_mm + start * MODULE_MM) * mm,
                    y * mm,
                    (column - start) * MODULE_MM * mm,
                    MODULE_MM * mm,
                    stroke=0,
                    fill=1,
                )
                start = None


def _words(canvas: Canvas, text: str, x_mm: float, y_mm: float, room_mm: float, points: float) -> None:
    """Write in bold, as large as fits."""
    wide = stringWidth(text, BOLD, points) or 1.0
    points = max(4.0, min(points, points * room_mm * mm / wide))
    canvas.setFont(BOLD, points)
    canvas.setFillGray(0.0)
    canvas.drawString(x_mm * mm, y_mm * mm, text)
