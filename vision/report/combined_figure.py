"""The figure of several photos together: the axis height along the instrument, and D0 of each photo beside the pooled one."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from vision.reading import CombinedReading
from vision.report import cautions
from vision.report.combined import MODES
from vision.report.style import (
    CALL_PT,
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
from vision.report.words import name_text, plain, quantity_texts

POINTS = 12
HEIGHT_IN, ROW_IN, GAP_IN = 2.2, 0.42, 0.7
LEFT_IN, RIGHT_IN = 1.05, 0.3
NAME = "together.png"
LONGEST_NAME = 24


def save_combined(one: CombinedReading, folder: Path, *, overwrite: bool) -> Path:
    """Write the figure as 'together.png'. Raises FileExistsError unless ``overwrite``, OSError when the disk refuses."""
    target = folder / NAME
    if target.exists() and not overwrite:
        raise FileExistsError(17, "exists already; add --overwrite to replace it, or name another place", str(target))
    combined_figure(one).savefig(target, format="png", pil_kwargs={"compress_level": 4})
    return target


def combined_figure(one: CombinedReading) -> Figure:
    """Draw both plots with the numbers above and what the photos cannot show beneath, in the same size."""
    head, foot = wrapped(_head(one)), wrapped(_foot(one))
    each_in = ROW_IN * (len(one.photos) + 1) + 0.2
    total = height_of(head) + height_of(foot) + HEIGHT_IN + each_in + 2 * GAP_IN + 2 * MARGIN_IN + 0.2
    figure = page(total)
    top = write(figure, MARGIN_IN, head) + 0.2
    width = (WIDTH_IN - LEFT_IN - RIGHT_IN) / WIDTH_IN
    plot_height(figure.add_axes((LEFT_IN / WIDTH_IN, 1.0 - (top + HEIGHT_IN) / total, width, HEIGHT_IN / total)), one)
    top += HEIGHT_IN + GAP_IN
    wide = (WIDTH_IN - 2.4 - RIGHT_IN) / WIDTH_IN
    plot_each(figure.add_axes((2.4 / WIDTH_IN, 1.0 - (top + each_in) / total, wide, each_in / total)), one)
    write(figure, top + each_in + GAP_IN, foot)
    return figure


def plot_height(axes: Axes, one: CombinedReading) -> None:
    """Height of the axis above the sheet with its band of two u; words where it was not triangulated."""
    axes.set_xlabel("mm from the tip, along the axis", fontsize=POINTS)
    axes.set_ylabel("axis height, mm", fontsize=POINTS)
    axes.tick_params(labelsize=POINTS)
    axes.spines[["top", "right"]].set_visible(False)
    if not len(one.height_of_x):
        words = "height not triangulated from these photos"
        axes.text(0.5, 0.5, words, transform=axes.transAxes, ha="center", va="center", fontsize=POINTS, color=QUIET)
        axes.set_xticks([])
        axes.set_yticks([])
        return
    x, z, u = one.height_of_x.T
    axes.fill_between(x, z - 2.0 * u, z + 2.0 * u, facecolor="#dddddd", edgecolor=QUIET, hatch="//", label="± 2 u")
    axes.plot(x, z, color=OUTLINE, linewidth=2.0, label="axis")
    axes.axhline(0.0, color=INK, linewidth=1.2)
    axes.set_ylim(min(0.0, float((z - 2.0 * u).min())) - 0.1, max(float((z + 2.0 * u).max()) * 1.15, 0.6))
    axes.legend(fontsize=POINTS, frameon=False, loc="upper left", ncols=2)


def plot_each(axes: Axes, one: CombinedReading) -> None:
    """D0 of each photo and together, a row each: a dot with a bar of two u."""
    rows = [*zip(one.photos, one.d0_each, strict=True), ("together", one.instrument.d0_mm)]
    for row, (name, quantity) in enumerate(rows):
        if quantity is None:
            axes.text(0.02, row, "not measured", transform=axes.get_yaxis_transform(), fontsize=POINTS, va="center")
            continue
        ours = name == "together"
        axes.errorbar(
            quantity.value, row, xerr=2.0 * quantity.u, fmt="s" if ours else "o", color=OUTLINE if ours else INK,
            markersize=8 if ours else 6, capsize=5, linewidth=2.2 if ours else 1.4,
        )  # fmt: skip
    if one.instrument.d0_mm is not None:
        axes.axvline(one.instrument.d0_mm.value, color=QUIET, linewidth=0.8, linestyle=(0, (4, 3)))
    axes.set_ylim(len(rows) - 0.5, -0.5)
    axes.set_yticks(np.arange(len(rows)), [_short(name) for name, _ in rows], fontsize=POINTS)
    for label in axes.get_yticklabels():
        as_is(label)
    axes.set_xlabel("D0, mm; bars are ± 2 u", fontsize=POINTS)
    axes.tick_params(labelsize=POINTS)
    axes.xaxis.set_major_locator(MaxNLocator(5))
    axes.spines[["top", "right"]].set_visible(False)


def _short(name: str) -> str:
    name = plain(name)
    return name if len(name) <= LONGEST_NAME else f"{name[: LONGEST_NAME - 9]}…{name[-8:]}"


def _head(one: CombinedReading) -> list[Line]:
    instrument = one.instrument
    call, strong = instrument.condition.call, instrument.condition.call != "nothing seen"
    lines = [Line(name_text(instrument), TITLE_PT, bold=True), Line(f"{len(one.photos)} photos: {MODES[one.mode]}")]
    if instrument.d0_mm is not None:
        value, u = quantity_texts(instrument.d0_mm)
        lines.append(Line(f"D0 together: {value} mm (u {u})"))
    lines += [Line(sentence, CALL_PT, bold=True) for sentence in one.disagreements]
    lines.append(Line(f"Call: {'; '.join((call, *instrument.condition.reasons))}", CALL_PT, bold=strong))
    return [*lines, Line(f"Limits: {cautions.limits_line(instrument.condition)}", CALL_PT, bold=strong)]


def _foot(one: CombinedReading) -> list[Line]:
    lines = [Line(f"Note: {note}", indent="    ") for note in one.instrument.notes[:4]]
    return [*lines, *caution_lines(cautions.shown_with((one.instrument,))), Line("u: standard uncertainty (k = 1).")]
