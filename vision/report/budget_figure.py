"""Budgets -> a figure: bars of the contributions to each u, longest first; the numbers stand in words beside the bars."""

from __future__ import annotations

from itertools import chain

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from vision.budget import Budget, Contribution, cause_of
from vision.reading import InstrumentReading, ScaleReading
from vision.report import cautions
from vision.report.budget_table import (
    RULE,
    UNITS,
    advice_lines,
    budgets_of,
    contribution_text,
    correlation_lines,
    headline,
)
from vision.report.style import (
    BODY_PT,
    INK,
    MARGIN_IN,
    OUTLINE,
    QUIET,
    TITLE_PT,
    WIDTH_IN,
    Line,
    as_is,
    caution_lines,
    height_of,
    page,
    wrapped,
    write,
)
from vision.report.words import name_text, percent

ROW_IN, HEAD_IN, GAP_IN = 0.44, 0.3, 0.22
BARS_LEFT_IN, BARS_WIDE_IN = 0.25, 6.5
LEAST_SHARE = 1e-3  # of the variance; what is smaller is listed in the terminal alone


def budget_figure(file: str, one: InstrumentReading, scale: ScaleReading | None) -> Figure:
    """Draw one instrument's budgets; a short page that says so when there are none."""
    budgets = budgets_of(one, scale)
    head = wrapped([Line(f"{one.id}  {name_text(one)}: uncertainty budget", TITLE_PT, bold=True), Line(_reading_hint(budgets))])
    notes = [Line(line, indent="    ") for line in chain(advice_lines(budgets), correlation_lines(one))]
    foot = wrapped([*notes, Line(RULE + "."), *caution_lines(cautions.shown_with((one,))), Line(f"Photo {file}.")])
    heights = [HEAD_IN + ROW_IN * len(_shown(budget)) + GAP_IN for budget in budgets]
    figure = page(height_of(head) + height_of(foot) + sum(heights) + 2 * MARGIN_IN + 0.2)
    top = write(figure, MARGIN_IN, head) + 0.1
    for budget, height in zip(budgets, heights, strict=True):
        write(figure, top, [Line(headline(budget), BODY_PT, bold=True)])
        _bars(_axes(figure, top + HEAD_IN, ROW_IN * len(_shown(budget))), budget)
        top += height
    write(figure, top + 0.1, foot)
    return figure


def _reading_hint(budgets: tuple[Budget, ...]) -> str:
    if not budgets:
        return "No quantity here has recorded contributions."
    return "Bars: contribution to u; the grey line is u itself. Per cent: share of u². Hatched: one error moves every quantity alike."


def _shown(budget: Budget) -> tuple[Contribution, ...]:
    return tuple(line for line in budget.lines if line.share >= LEAST_SHARE)


def _axes(figure: Figure, top_in: float, height_in: float) -> Axes:
    total = figure.get_figheight()
    place = (BARS_LEFT_IN / WIDTH_IN, 1.0 - (top_in + height_in) / total, BARS_WIDE_IN / WIDTH_IN, height_in / total)
    axes = figure.add_axes(place)
    axes.set_axis_off()
    return axes


def _bars(axes: Axes, budget: Budget) -> None:
    """A bar a contribution, its words above it; hatched where one error moves every quantity alike."""
    unit, whole = UNITS[budget.field], budget.quantity.u
    lines = _shown(budget)
    axes.set_xlim(0.0, 1.0)
    axes.set_ylim(len(lines), 0.0)
    for row, line in enumerate(lines):
        share = min(line.u / whole, 1.0) if whole > 0.0 else 0.0
        common = cause_of(line.label).common
        axes.barh(
            row + 0.72, share, 0.3, color="white" if common else OUTLINE, edgecolor=INK, hatch="////" if common else None
        )
        words = f"{line.label} {contribution_text(line)} {unit}, {percent(line.share)}: {cause_of(line.label).words}"
        as_is(axes.text(0.0, row + 0.48, words, fontsize=10.5, va="bottom", color=INK))
    axes.axvline(1.0, color=QUIET, linewidth=1.5)
