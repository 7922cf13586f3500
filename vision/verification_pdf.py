"""Stage 9: a verification -> one printed page. Black on white; nothing is said by colour."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from reportlab.graphics.shapes import Circle, Drawing, Line, PolyLine, String
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.platypus import Flowable, Paragraph, SimpleDocTemplate, Spacer, Table, TableStyle

from vision.verification import Verified
from vision.verification_file import STALE_DAYS, Circumstances

TEXT = ParagraphStyle("text", fontName="Helvetica", fontSize=10, leading=13.5)
BOLD = ParagraphStyle("bold", TEXT, fontName="Helvetica-Bold")
TITLE = ParagraphStyle("title", TEXT, fontName="Helvetica-Bold", fontSize=15, leading=20)
HEAD = ParagraphStyle("head", TEXT, fontName="Helvetica-Bold", fontSize=11, leading=16, spaceBefore=8)
WIDTH, HEIGHT = 165 * mm, 62 * mm
LEFT, BOTTOM, TOP, RIGHT = 16 * mm, 10 * mm, 8 * mm, 4 * mm


def write_page(result: Verified, with_what: Circumstances, made_on: dt.date, target: Path) -> None:
    """Write the page. Raises OSError."""
    page = SimpleDocTemplate(
        str(target), pagesize=A4, leftMargin=22 * mm, rightMargin=22 * mm, topMargin=16 * mm, bottomMargin=14 * mm,
        title="Verification on site", author="flutegauge",
    )  # fmt: skip
    spread, line = result.spread, result.line
    between = "not assessed (one person)" if spread.between is None else f"{1000 * spread.between:.1f} µm"
    both = "not assessed" if spread.between is None else f"{1000 * spread.both:.1f} µm"
    held = "held down level" if with_what.held else "laid down freely"
    story: list[Flowable] = [
        Paragraph("Verification on site", TITLE),
        Paragraph(
            f"{made_on.isoformat()}; {_safe(with_what.software)}, model {_safe(with_what.models)}; camera profile "
            f"{_safe(with_what.profile or 'none')}; pieces {held}. Holds for this set-up, at most {STALE_DAYS} days (our own choice).",
            TEXT,
        ),
        Paragraph("What this set-up can decide", HEAD),
        Paragraph(_safe(result.statement[:1].upper() + result.statement[1:]) + ".", BOLD),
        Spacer(1, 2 * mm),
        *([_abilities(result)] if result.abilities else []),
        Paragraph("Bias against size", HEAD),
        _bias_chart(result),
        Paragraph(
            f"Line: {1000 * line.level_mm:+.1f} µm (u {1000 * line.covariance[0][0] ** 0.5:.1f}) at {line.at_mm:.3f} mm, "
            f"{_slope(result)}. Bars and broken lines: "
            "± 2 u. Readings are not corrected for it.",
            TEXT,
        ),
        Paragraph("Pieces", HEAD),
        _pieces(result),
        Spacer(1, 2 * mm),
        Paragraph(
            f"All pieces: repeatability {1000 * spread.within:.1f} µm ({spread.freedom} degrees of freedom), between people {between}, "
            f"reproducibility {both}; {spread.people} "
            f"{'person' if spread.people == 1 else 'people'}. Standard deviations by one-way analysis of variance (ISO 5725-2). "
            "E_n above 1: the u that readings claim is too small for that piece.",
            TEXT,
        ),
        Paragraph("What it does not say", HEAD),
        Paragraph(
            "It speaks of diameters of pieces like these. It says nothing about cracks, fatigue, or whether an instrument may be "
            "used: the tool finds reasons to discard; a photo cannot clear an instrument.",
            TEXT,
        ),
    ]
    page.build(story)


def _slope(result: Verified) -> str:
    line = result.line
    if not line.sloped:
        return "one size only, so its change with size is not known"
    return f"{1000 * line.slope:+.1f} µm (u {1000 * line.covariance[1][1] ** 0.5:.1f}) for each mm of diameter"


def _abilities(result: Verified) -> Table:
    rows = [["size", "one reading off by at most", "told from neighbours", "limits decided"]]
    for one in result.abilities:
        told = "yes" if one.names_any else "at nominal" if one.names_nominal else "no"
        rows.append([f"{one.size:02d}", f"{1000 * one.error_mm:.1f} µm", told, "yes" if one.judges else "no"])
    half = (len(rows)) // 2 + 1
    left, right = rows[:half], [rows[0], *rows[half:]]
    right += [[""] * 4] * (len(left) - len(right))
    both = [[*a, "", *b] for a, b in zip(left, right, strict=True)] if len(rows) > 8 else rows
    widths = [11, 27, 24, 17, 4, 11, 27, 24, 17] if len(rows) > 8 else [15, 50, 40, 30]
    return _table(
        [[Paragraph(cell, _cell(bold=not number)) for cell in row] for number, row in enumerate(both)], widths
    )


def _pieces(result: Verified) -> Table:
    rows = [["piece", "known, mm", "n", "mean, mm", "bias, µm", "u, µm", "repeats to, µm", "worst E_n"]]
    for one in result.pieces:
        mark = "-" if one.worst_e_n is None else f"{one.worst_e_n:.2f}"
        known = one.piece.known_mm
        rows.append(
            [
                _safe(one.piece.name), f"{known.value:.4f} (u {known.u:.4f})", str(one.count), f"{one.mean_mm:.4f}",
                f"{1000 * one.bias_mm.value:+.1f}", f"{1000 * one.bias_mm.u:.1f}", f"{1000 * one.spread.within:.1f}", mark,
            ]
        )  # fmt: skip
    cells = [[Paragraph(cell, _cell(bold=not number)) for cell in row] for number, row in enumerate(rows)]
    return _table(cells, [28, 39, 9, 20, 17, 14, 21, 17])


def _table(cells: list[list[Any]], widths_mm: Sequence[float]) -> Table:
    table = Table(cells, colWidths=[width * mm for width in widths_mm], repeatRows=1, hAlign="LEFT")
    table.setStyle(
        TableStyle(
            [
                ("LINEBELOW", (0, 0), (-1, 0), 0.8, "black"),
                ("LINEBELOW", (0, 1), (-1, -1), 0.3, "black"),
                ("VALIGN", (0, 0), (-1, -1), "BOTTOM"),
                ("TOPPADDING", (0, 0), (-1, -1), 1.5),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 1.5),
                ("LEFTPADDING", (0, 0), (-1, -1), 0),
            ]
        )
    )
    return table


def _cell(*, bold: bool) -> ParagraphStyle:
    return ParagraphStyle("cell", BOLD if bold else TEXT, fontSize=9, leading=11)


def _bias_chart(result: Verified) -> Drawing:
    """Biases with ± 2 u, the line, and its ± 2 u; µm against mm."""
    known = [one.piece.known_mm.value for one in result.pieces]
    low, high = min(known) - 0.08 * (max(known) - min(known) + 0.2), max(known) + 0.08 * (max(known) - min(known) + 0.2)
    at = [low + (high - low) * i / 40 for i in range(41)]
    band = [result.line.at(size) for size in at]
    marks = [(one.bias_mm.value, one.bias_mm.u) for one in result.pieces] + [(q.value, q.u) for q in band]
    reach = 1.1 * max(*(abs(value) + 2.0 * u for value, u in marks), 0.002)
    drawing = Drawing(WIDTH, HEIGHT)

    def x(size: float) -> float:
        return float(LEFT + (size - low) / (high - low) * (WIDTH - LEFT - RIGHT))

    def y(bias: float) -> float:
        return float(BOTTOM + (bias + reach) / (2.0 * reach) * (HEIGHT - BOTTOM - TOP))

    step = next(s for s in (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000) if 1000 * reach / s <= 4.5)
    for tick in range(-4 * step, 5 * step, step):
        if abs(tick) <= 1000 * reach:
            drawing.add(
                Line(LEFT, y(tick / 1000), WIDTH - RIGHT, y(tick / 1000), strokeWidth=1.0 if tick == 0 else 0.25)
            )
            drawing.add(
                String(LEFT - 4, y(tick / 1000) - 3, f"{tick:+d}" if tick else "0", fontSize=9, textAnchor="end")
            )
    drawing.add(String(2, HEIGHT - 9, "bias, µm", fontSize=9))
    drawing.add(String(WIDTH - RIGHT, 1, "known size, mm", fontSize=9, textAnchor="end"))
    for sign, dash in ((0.0, None), (2.0, (4, 3)), (-2.0, (4, 3))):
        points = [v for size, q in zip(at, band, strict=True) for v in (x(size), y(q.value + sign * q.u))]
        drawing.add(PolyLine(points, strokeWidth=1.2 if dash is None else 0.7, strokeDashArray=dash))
    for one in result.pieces:
        here, bias = x(one.piece.known_mm.value), one.bias_mm
        drawing.add(Line(here, y(bias.value - 2.0 * bias.u), here, y(bias.value + 2.0 * bias.u), strokeWidth=1.4))
        drawing.add(Circle(here, y(bias.value), 3, fillColor="black"))
    for size in _apart(sorted(set(known)), x):
        drawing.add(String(x(size), BOTTOM - 11, f"{size:.2f}", fontSize=9, textAnchor="middle"))
    return drawing


def _apart(sizes: list[float], x: Any) -> list[float]:
    """Those sizes whose labels do not run into one another."""
    kept: list[float] = []
    for size in sizes:
        if not kept or x(size) - x(kept[-1]) > 24.0:
            kept.append(size)
    return kept


def _safe(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
