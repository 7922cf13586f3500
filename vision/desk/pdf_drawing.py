"""The picture with its lines, and plots, as parts of a PDF page: black, white and grey only."""

from __future__ import annotations

import io
import re
from typing import Any

from reportlab.lib.utils import ImageReader
from reportlab.platypus import Flowable

from vision.desk.drawing import Drawing
from vision.desk.plots import Plot
from vision.report.pdf_fonts import BOLD, PLAIN

_POINT = re.compile(r"(-?[\d.]+) (-?[\d.]+)")


class PhotoDrawing(Flowable):  # type: ignore[misc]  # reportlab has no types
    """An instrument's photo (None: without), turned level, its outline, axis, crests, stations and findings on it."""

    def __init__(self, drawing: Drawing, photo: bytes | None, width: float) -> None:
        super().__init__()
        self.drawing, self.photo = drawing, photo
        self.width, self.height = width, width * drawing.box[3] / drawing.box[2]

    def draw(self) -> None:
        """Draw onto the page; a clip keeps the turned photo inside the frame."""
        canvas, drawing = self.canv, self.drawing
        x, y, width, _ = drawing.box
        scale = self.width / width
        canvas.saveState()
        frame = canvas.beginPath()
        frame.rect(0, 0, self.width, self.height)
        canvas.clipPath(frame, stroke=1)
        canvas.translate(0, self.height)
        canvas.scale(scale, -scale)  # photo px: y down
        canvas.translate(-x, -y)
        canvas.translate(*drawing.centre)
        canvas.rotate(drawing.turn)
        canvas.translate(-drawing.centre[0], -drawing.centre[1])
        if self.photo is not None:
            self._photo(canvas)
        unit = 1.0 / scale  # one point, in px
        for line in drawing.outline:
            _line(canvas, line, 1.6 * unit, 0.9 * unit)
        _line(canvas, drawing.axis, 1.4 * unit, 0.6 * unit, (1.5 * unit, 3 * unit))
        for _, line, _ in drawing.stations:
            _line(canvas, line, 2.4 * unit, 1.2 * unit)
        for mark in drawing.findings:
            _line(canvas, mark.path, 2.4 * unit, 1.2 * unit, (5 * unit, 2.5 * unit))
        for px, py in drawing.crests:
            canvas.setFillGray(0.0)
            canvas.circle(px, py, 1.1 * unit, stroke=0, fill=1)
        for text, (px, py) in [(n, at) for n, _, at in drawing.stations] + [(m.letter, m.at) for m in drawing.findings]:
            _words(canvas, text, px, py, 9 * unit, -drawing.turn)
        canvas.restoreState()

    def _photo(self, canvas: Any) -> None:
        x, y, width, height = self.drawing.crop
        canvas.saveState()
        canvas.translate(x - 0.5, y - 0.5 + height)
        canvas.scale(1, -1)  # the canvas counts down here, pictures are drawn up
        canvas.drawImage(ImageReader(io.BytesIO(self.photo or b"")), 0, 0, width, height)
        canvas.restoreState()


class PlotDrawing(Flowable):  # type: ignore[misc]  # reportlab has no types
    """A plot with its heading."""

    HEAD = 14.0

    def __init__(self, plot: Plot, width: float) -> None:
        super().__init__()
        self.plot, self.scale = plot, width / plot.width
        self.width, self.height = width, plot.height * self.scale + self.HEAD

    def draw(self) -> None:
        """Draw onto the page."""
        canvas, plot = self.canv, self.plot
        canvas.saveState()
        canvas.setFont(BOLD, 8)
        canvas.drawString(0, self.height - 10, plot.words)
        canvas.scale(self.scale, self.scale)
        canvas.translate(0, plot.height)
        for band in plot.bands:
            canvas.setFillGray(0.85)
            canvas.rect(band.x0, -plot.bottom, max(band.x1 - band.x0, 2.0), plot.bottom - plot.top, stroke=0, fill=1)
            canvas.setFillGray(0.0)
            canvas.setFont(BOLD, 10)
            canvas.drawCentredString((band.x0 + band.x1) / 2, -plot.top + 2, band.letter)
        self._axes(canvas)
        for series in plot.series:
            canvas.setDash([] if series.kind != "dashed" else [5, 3])
            if series.kind in ("solid", "dashed"):
                canvas.setLineWidth(1.1)
                canvas.drawPath(_path(canvas, series.points))
            elif series.kind == "points":
                for point in series.points:
                    canvas.circle(point[0], -point[1], 1.9, stroke=0, fill=1)
            else:
                for x, low, high in series.points:
                    canvas.line(x, -low, x, -high)
        canvas.restoreState()

    def _axes(self, canvas: Any) -> None:
        plot = self.plot
        canvas.setLineWidth(0.8)
        canvas.setFont(PLAIN, 9)
        canvas.setFillGray(0.0)
        canvas.lines(
            [(plot.left, -plot.top, plot.left, -plot.bottom), (plot.left, -plot.bottom, plot.right, -plot.bottom)]
        )
        for tick in plot.x_ticks:
            canvas.line(tick.at, -plot.bottom, tick.at, -plot.bottom - 3)
            canvas.drawCentredString(tick.at, -plot.bottom - 13, tick.label)
        for tick in plot.y_ticks:
            canvas.drawRightString(plot.left - 5, -tick.at - 3, tick.label)


def _path(canvas: Any, points: tuple[tuple[float, ...], ...]) -> Any:
    path = canvas.beginPath()
    for number, (x, y) in enumerate(points):
        (path.lineTo if number else path.moveTo)(x, -y)
    return path


def _line(canvas: Any, line: str, under: float, over: float, dash: tuple[float, float] | None = None) -> None:
    """Draw a line in black on a white rim."""
    points = [(float(x), float(y)) for x, y in _POINT.findall(line)]
    for width, grey in ((under, 1.0), (over, 0.0)):
        canvas.setStrokeGray(grey)
        canvas.setLineWidth(width)
        canvas.setDash(list(dash) if dash and grey == 0.0 else [])
        path = canvas.beginPath()
        for number, (x, y) in enumerate(points):
            (path.lineTo if number else path.moveTo)(x, y)
        canvas.drawPath(path)
    canvas.setDash([])


def _words(canvas: Any, text: str, x: float, y: float, size: float, turn: float) -> None:
    """Write upright on a white box, whatever way the photo was turned."""
    canvas.saveState()
    canvas.translate(x, y)
    canvas.rotate(turn)
    canvas.scale(1, -1)
    canvas.setFont(BOLD, size)
    canvas.setFillGray(1.0)
    canvas.rect(-0.35 * size * len(text), -0.2 * size, 0.7 * size * len(text), 1.1 * size, stroke=0, fill=1)
    canvas.setFillGray(0.0)
    canvas.drawCentredString(0, 0, text)
    canvas.restoreState()
