"""The fonts of PDFs: DejaVu Sans, which has the letters of most translations; the files come with the plotting library."""

from __future__ import annotations

from pathlib import Path

import matplotlib
from reportlab.pdfbase.pdfmetrics import getRegisteredFontNames, registerFont, registerFontFamily
from reportlab.pdfbase.ttfonts import TTFont

PLAIN, BOLD = "DejaVu Sans", "DejaVu Sans Bold"
_FILES = {PLAIN: "DejaVuSans.ttf", BOLD: "DejaVuSans-Bold.ttf"}


def _register() -> None:
    folder = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
    for name, file in _FILES.items():
        if name not in getRegisteredFontNames():
            registerFont(TTFont(name, str(folder / file)))
    registerFontFamily(PLAIN, normal=PLAIN, bold=BOLD, italic=PLAIN, boldItalic=BOLD)


_register()
