"""Turns a sheet into the bytes of a one-page vector PDF."""

import io
from functools import lru_cache

from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from calib.card_words import draw_card_words
from calib.elements import Sheet
from calib.mat_words import draw_mat_words
from calib.pen import Pen
from calib.scale_art import draw_scale
from calib.words_art import draw_words


@lru_cache(maxsize=8)
def pdf_bytes(sheet: Sheet) -> bytes:
    """The page as PDF. The same sheet gives the same bytes: no date, no random identifier."""
    stream = io.BytesIO()
    size_pt = (sheet.width_mm * mm, sheet.height_mm * mm)
    canvas = Canvas(stream, pagesize=size_pt, invariant=1)
    kind = "window card" if sheet.windows else "tray mat" if sheet.mat else "scale sheet"
    canvas.setTitle(f"Flutegauge {kind} {sheet.id}, revision {sheet.revision}")
    # Asks the print dialogue for no scaling; viewers may ignore it, so the page says it in words as well.
    canvas.setViewerPreference("PrintScaling", "None")
    pen = Pen(canvas, sheet.height_mm)
    draw_scale(pen, sheet)
    if sheet.windows:
        draw_card_words(pen, sheet)
    elif sheet.mat:
        draw_mat_words(pen, sheet)
    else:
        draw_words(pen, sheet)
    canvas.showPage()
    canvas.save()
    return stream.getvalue()
