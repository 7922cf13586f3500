"""One look for all pictures: dark on light, legible on a phone and in black and white; meaning by words and shapes."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import zip_longest

from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.patheffects import AbstractPathEffect, Normal, Stroke
from matplotlib.text import Text

from vision.report.words import plain

WIDTH_IN, DPI = 7.0, 230  # 1610 px wide: text of 12 points stays readable when a phone shows the full width
MARGIN_IN = 0.25
INK, OUTLINE, QUIET = "#111111", "#c43c00", "#555555"  # they differ in lightness too
BODY_PT, CALL_PT, TITLE_PT = 12.0, 13.0, 19.0
MEAN_OVER_WIDE = 0.56  # of DejaVu Sans, bold too: mean width over that of W
CHARACTER, GAP_IN = 0.56, 0.12  # of DejaVu Sans: its mean width over its size; between two columns


@dataclass(frozen=True)
class Line:
    """A line of running text beneath or above the pictures."""

    text: str
    points: float = BODY_PT
    bold: bool = False
    indent: str = ""
    right: str = ""  # a second column, which is not broken
    right_in: float = WIDTH_IN / 2  # from the left edge


def halo(width: float = 3.0) -> list[AbstractPathEffect]:
    """Return the white rim that keeps dark marks visible on metal."""
    return [Stroke(linewidth=width, foreground="white"), Normal()]


def wrapped(lines: Sequence[Line]) -> list[Line]:
    """Break lines to the figure's width (``CHARACTER``)."""
    return [Line(part, line.points, line.bold, right=line.right, right_in=line.right_in) for line in lines for part in _parts(line)]


def in_columns(shown: Sequence[str]) -> list[Line]:
    """Short texts in two columns, read down the left one first; in one where two would run into one another."""
    half = (len(shown) + 1) // 2
    left_in, right_in = (max((len(text) for text in part), default=0) * CHARACTER * BODY_PT / 72 for part in (shown[:half], shown[half:]))
    at_in = max(WIDTH_IN / 2, MARGIN_IN + left_in + GAP_IN)
    if at_in + right_in > WIDTH_IN:  # a mean width: numbers run a little narrower, which leaves the margin
        return [Line(text) for text in shown]
    return [Line(left, right=right, right_in=at_in) for left, right in zip_longest(shown[:half], shown[half:], fillvalue="")]


def _parts(line: Line) -> list[str]:
    width = 0.62 if line.bold else CHARACTER
    characters = int((WIDTH_IN - 2 * MARGIN_IN) * 72 / (width * line.points))
    if max(map(len, line.text.split()), default=0) > characters:  # broken within a name, whose letters may all be wide ones
        characters = int(characters * MEAN_OVER_WIDE)
    return textwrap.wrap(plain(line.text), characters, subsequent_indent=line.indent) or [""]


def height_of(lines: Sequence[Line]) -> float:
    """Return the height of broken lines, inches."""
    return sum(line.points * 1.38 / 72 for line in lines)


def write(figure: Figure, top_in: float, lines: Sequence[Line]) -> float:
    """Write broken lines from ``top_in`` (inches from the top edge) downward; return where they end."""
    for line in lines:
        y = 1.0 - (top_in + line.points * 1.05 / 72) / figure.get_figheight()
        weight = "bold" if line.bold else "normal"
        for x, words in ((MARGIN_IN / WIDTH_IN, line.text), (line.right_in / WIDTH_IN, line.right)):
            as_is(figure.text(x, y, words, fontsize=line.points, weight=weight, color=INK))
        top_in += line.points * 1.38 / 72
    return top_in


def as_is(text: Text) -> Text:
    """Switch off formula reading: a file named 'a$b$.jpg' is shown as it is."""
    text.set_parse_math(False)
    return text


def caution_lines(lines: Sequence[str]) -> list[Line]:
    """Return the cautions as one paragraph."""
    return [Line("Cautions: " + " ".join(lines))]


def page(height_in: float) -> Figure:
    """Return an empty white figure of the common width."""
    figure = Figure(figsize=(WIDTH_IN, height_in), dpi=DPI, facecolor="white")
    FigureCanvasAgg(figure)
    return figure
