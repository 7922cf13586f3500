"""Two plots over the same positions: both edges of the outline, and pitch against the healthy trend."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from vision.reading import InstrumentReading
from vision.report.overlay import LETTERS
from vision.report.style import INK, OUTLINE, QUIET

POINTS = 12


def plot_profile(axes: Axes, one: InstrumentReading, x_mm: tuple[float, float], *, upside_down: bool) -> None:
    """Plot both edges in mm from the axis; ``upside_down`` where the turned photo shows the upper edge below."""
    profile = one.trace.profile_mm_of_x
    _frame(axes, one, x_mm, "edge, mm from axis")
    if not len(profile):
        _say(axes, "no outline measured")
        return
    axes.plot(profile[:, 0], profile[:, 1], color=OUTLINE, linewidth=1.3)
    axes.plot(profile[:, 0], profile[:, 2], color=INK, linewidth=1.3)
    axes.axhline(0.0, color=QUIET, linewidth=0.8, linestyle=(0, (8, 3, 1, 3)))
    if upside_down:
        axes.invert_yaxis()


def plot_pitch(axes: Axes, one: InstrumentReading, x_mm: tuple[float, float]) -> None:
    """Plot the local pitch (rings) against the healthy trend (dashes)."""
    pitch, trend = one.trace.pitch_mm_of_x, one.trace.trend_mm_of_x
    _frame(axes, one, x_mm, "pitch, mm")
    axes.set_xlabel("mm from the tip, along the axis", fontsize=POINTS)
    if not len(pitch):
        _say(axes, "no pitch measured")
        return
    axes.plot(pitch[:, 0], pitch[:, 1], "o-", color=OUTLINE, markerfacecolor="white", linewidth=1.2, label="measured")
    if len(trend):
        axes.plot(trend[:, 0], trend[:, 1], "--", color=INK, linewidth=1.8, label="healthy trend")
    values = np.concatenate([pitch[:, 1], trend[:, 1] if len(trend) else []])
    if np.isfinite(values).any():
        axes.set_ylim(*_span(values[np.isfinite(values)]))
    axes.legend(fontsize=POINTS, loc="upper right", framealpha=0.9, edgecolor=QUIET)


def _span(values: np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> tuple[float, float]:
    """Return limits that leave room for the legend and never blow noise up to the full height."""
    low, high = float(values.min()), float(values.max())
    room = max(high - low, 0.3 * abs(high), 1e-3)
    return low - 0.15 * room, high + 0.75 * room


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
        place = (float(np.clip((low + high) / 2, *x_mm)), 0.97)
        box = {"boxstyle": "circle,pad=0.18", "facecolor": "white", "edgecolor": INK}
        transform = axes.get_xaxis_transform()
        axes.text(*place, letter, transform=transform, fontsize=POINTS, weight="bold", ha="center", va="top", bbox=box)


def _say(axes: Axes, words: str) -> None:
    axes.text(0.5, 0.5, words, transform=axes.transAxes, ha="center", va="center", fontsize=POINTS, color=QUIET)
    axes.set_yticks([])
