"""Draws in page millimetres, y down, on a PDF canvas whose own unit is the point, y up."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from reportlab.lib.units import mm
from reportlab.lib.utils import simpleSplit

from calib.elements import Point, Rect

REGULAR = "Helvetica"
BOLD = "Helvetica-Bold"


@dataclass(frozen=True)
class Pen:
    """A canvas of reportlab (untyped) and the height of its page. Greys run from 0 (black) to 1 (paper)."""

    canvas: Any
    page_height_mm: float

    def fill(self, rects: Iterable[Rect], grey: float = 0.0) -> None:
        """Fill rectangles as ONE path.

        One path, because PDF viewers may snap a lone rectangle to whole pixels, and anti-alias every path for itself,
        which would leave a pale seam between neighbours; within one path shared edges cancel exactly.
        """
        path = self.canvas.beginPath()
        for rect in rects:
            path.rect(*self._at((rect.x0_mm, rect.y1_mm)), rect.width_mm * mm, rect.height_mm * mm)
        self.canvas.setFillGray(grey)
        self.canvas.drawPath(path, stroke=0, fill=1)

    def polyline(
        self,
        points: Sequence[Point],
        *,
        width_mm: float = 0.2,
        grey: float = 0.0,
        dash_mm: Sequence[float] = (),
        fill: float | None = None,
    ) -> None:
        """Draw straight lines from point to point; with `fill`, close the outline and fill it with that grey."""
        path = self.canvas.beginPath()
        path.moveTo(*self._at(points[0]))
        for point in points[1:]:
            path.lineTo(*self._at(point))
        if fill is not None:
            path.close()
            self.canvas.setFillGray(fill)
        self._stroke(width_mm, grey, dash_mm)
        self.canvas.drawPath(path, stroke=1, fill=int(fill is not None))

    def rounded(
        self,
        rect: Rect,
        radius_mm: float,
        *,
        width_mm: float = 0.2,
        grey: float = 0.0,
        dash_mm: Sequence[float] = (),
        fill: float | None = None,
    ) -> None:
        """Outline, and with `fill` fill, a rectangle with round corners."""
        if fill is not None:
            self.canvas.setFillGray(fill)
        self._stroke(width_mm, grey, dash_mm)
        self.canvas.roundRect(
            *self._at((rect.x0_mm, rect.y1_mm)),
            rect.width_mm * mm,
            rect.height_mm * mm,
            radius_mm * mm,
            stroke=1,
            fill=int(fill is not None),
        )

    def text(self, at_mm: Point, words: str, *, size_pt: float, font: str = REGULAR, align: str = "left") -> None:
        """Write one line with its baseline through `at_mm`; align is 'left', 'centre' or 'right'."""
        draw = {"left": "drawString", "centre": "drawCentredString", "right": "drawRightString"}[align]
        self.canvas.setFillGray(0.0)
        self.canvas.setFont(font, size_pt)
        getattr(self.canvas, draw)(*self._at(at_mm), words)

    def text_upward(self, at_mm: Point, words: str, *, size_pt: float) -> None:
        """Write one line that reads from bottom to top, centred on `at_mm`."""
        self.canvas.saveState()
        self.canvas.translate(*self._at(at_mm))
        self.canvas.rotate(90)
        self.canvas.setFillGray(0.0)
        self.canvas.setFont(REGULAR, size_pt)
        self.canvas.drawCentredString(0, 0, words)
        self.canvas.restoreState()

    def paragraph(self, at_mm: Point, words: str, *, width_mm: float, size_pt: float, leading: float) -> float:
        """Write wrapped lines, the first baseline through `at_mm`; returns the baseline after the last.

        `leading` is the distance of baselines in units of the letter size.
        """
        x_mm, y_mm = at_mm
        for line in simpleSplit(words, REGULAR, size_pt, width_mm * mm):
            self.text((x_mm, y_mm), line, size_pt=size_pt)
            y_mm += leading * size_pt / mm
        return y_mm

    def _at(self, point: Point) -> tuple[float, float]:
        return point[0] * mm, (self.page_height_mm - point[1]) * mm

    def _stroke(self, width_mm: float, grey: float, dash_mm: Sequence[float]) -> None:
        self.canvas.setLineWidth(width_mm * mm)
        self.canvas.setStrokeGray(grey)
        self.canvas.setDash([d * mm for d in dash_mm])
