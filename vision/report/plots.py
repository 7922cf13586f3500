"""Two plots over the same positions: both edges of the outline, and pitch against the healthy trend."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from vision.reading import InstrumentReading, Points
from vision.report.overlay import LETTERS
from vision.report.style import INK, OUTLINE, QUIET

POINTS = 12
DENSE = 60  # more points than this are a curve, not single crests
TALLEST = 3.0  # pitch is shown up to this many times its usual value; what lies beyond is marked at the rim


def plot_profile(axes: Axes, one: InstrumentReading, x_mm: tuple[float, float], *, upside_down: bool) -> None:
    """Plot both edges in mm from the axis; ``upside_down`` where the turned photo shows the upper edge below."""
    profile = one.trace.profile_mm_of_x
    _frame(axes, one, x_mm, "edge, mm from axis")
    if not np.isfinite(profile[:, 1:]).any():
        _say(axes, "no outline measured")
        return
    axes.plot(profile[:, 0], profile[:, 1], color=OUTLINE, linewidth=1.3)
    axes.plot(profile[:, 0], profile[:, 2], color=INK, linewidth=1.3)
    axes.axhline(0.0, color=QUIET, linewidth=0.8, linestyle=(0, (8, 3, 1, 3)))
    half = 1.25 * float(np.nanpercentile(np.abs(profile[:, 1:]), 99))  # a stray point or two must not set the scale
    axes.set_ylim((half, -half) if upside_down else (-half, half))


def plot_pitch(axes: Axes, one: InstrumentReading, x_mm: tuple[float, float]) -> None:
    """Plot the local pitch (rings; a line where it is dense) against the healthy trend (dashes); crosses at the rim lie off the scale."""
    _frame(axes, one, x_mm, "pitch, mm")
    axes.set_xlabel("mm from the tip, along the axis", fontsize=POINTS)
    pitch, trend = (rows[np.isfinite(rows).all(axis=1)] for rows in (one.trace.pitch_mm_of_x, one.trace.trend_mm_of_x))
    if not len(pitch):
        _say(axes, "no pitch measured")
        return
    top = _top(pitch, trend)
    inside = (pitch[:, 1] >= 0.0) & (pitch[:, 1] <= top)
    rings = "o-" if len(pitch) <= DENSE else "-"
    axes.plot(*pitch[inside].T, rings, color=OUTLINE, markerfacecolor="white", linewidth=1.2, label="measured")
    if len(trend):
        axes.plot(*trend.T, "--", color=INK, linewidth=1.8, label="healthy trend")
    if not inside.all():
        beyond = np.clip(pitch[~inside, 1], 0.0, top)
        axes.plot(pitch[~inside, 0], beyond, "x", color=INK, markersize=9, clip_on=False, label="off the scale")
    axes.set_ylim(0.0, top)
    legend = axes.legend(
        fontsize=POINTS, frameon=False, borderaxespad=0.1, columnspacing=1.2, ncols=3, loc="lower right"
    )
    legend.set_bbox_to_anchor((1.0, 1.0))  # above the plot, where it hides nothing


def _top(pitch: Points, trend: Points) -> float:
    """Return the upper limit of the pitch axis: room for what is plausible, whatever single slips there are."""
    usual = float(np.median((trend if len(trend) else pitch)[:, 1]))
    highest = max(float(pitch[:, 1].max()), float(trend[:, 1].max(initial=0.0)))
    return 1.3 * min(highest, TALLEST * usual) if usual > 0.0 else max(highest, 1e-3)


def _frame(axes: Axes, one: InstrumentReading, x_mm: tuple[float, float], y_label: str) -> None:
    axes.set_xlim(*x_mm)
    axes.set_ylabel(y_label, fontsize=POINTS)
    axes.tick_params(labelsize=POINTS)
    axes.yaxis.set_label_coords(-0.125, 0.5)
    axes.xaxis.set_major_locator(MaxNLocator(integer=True, steps=[1, 2, 5, 10]))
    axes.yaxis.set_major_locator(MaxNLocator(5))
    axes.grid(visible=True, color="#cccccc", linewidth=0.6)
    axes.spines[["top", "right"]].set_visible(False)
    for letter, finding in zip(LETTERS, one.condition.findings, strict=False):
        low, high = finding.from_mm - 0.05, finding.to_mm + 0.05
        axes.axvspan(low, high, facecolor="#eeeeee", edgecolor=QUIET, hatch="//", linewidth=0.8, zorder=0)
        place = (float(np.clip((low + high) / 2, *x_mm)), 0.91)  # beneath the crosses of what lies off the scale
        box = {"boxstyle": "circle,pad=0.18", "facecolor": "white", "edgecolor": INK}
        transform = axes.get_xaxis_transform()
        axes.text(*place, letter, transform=transform, fontsize=POINTS, weight="bold", ha="center", va="top", bbox=box)


def _say(axes: Axes, words: str) -> None:
    axes.text(0.5, 0.5, words, transform=axes.transAxes, ha="center", va="center", fontsize=POINTS, color=QUIET)
    axes.set_yticks([])
