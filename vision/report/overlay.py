"""A window onto the turned photo with what was measured drawn over it: outline, axis, crests, stations, findings."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from vision.photo import Photo
from vision.reading import Finding, InstrumentReading, Points
from vision.report.style import INK, OUTLINE, as_is, halo
from vision.report.view import View, picture

Box = tuple[float, float, float, float]  # u0, u1, v0, v1
WIDTH_PX = 1500
BENEATH_MM, CLEAR_MM, LETTER_PT = 0.3, 0.08, 11.5  # bar beneath metal, disc from metal, the disc's radius with its line
LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"


def axis_positions_mm(one: InstrumentReading) -> NDArray[np.float64]:
    """Return the position along the axis of each traced axis point, mm from the tip."""
    axis, known = one.trace.axis_px, one.trace.axis_x_mm
    if len(known) == len(axis):
        return known
    steps = np.hypot(*np.diff(axis, axis=0).T) if len(axis) > 1 else np.empty(0)
    return np.concatenate([[0.0], np.cumsum(steps)]) / one.local_px_per_mm


def axis_end_mm(one: InstrumentReading) -> float:
    """Return how far along the axis the trace reaches, mm; 0 without a trace."""
    return float(axis_positions_mm(one).max(initial=0.0))


def window(one: InstrumentReading, view: View, x_mm: tuple[float, float], margin_mm: float) -> Box:
    """Return u0, u1, v0, v1 of the window that shows the axis from x0 to x1 with a margin on each side of the metal."""
    x = axis_positions_mm(one)
    inside = (x >= x_mm[0]) & (x <= x_mm[1])
    if not inside.any():
        width = max(one.box_px[2:]) / one.local_px_per_mm
        return -1.0, width + 1.0, -2.5, 2.5
    uv = view.to_uv(one.trace.axis_px[inside])
    half = _half_width_mm(one, x_mm) + margin_mm
    return (
        float(uv[0, 0] + min(0.0, x_mm[0] - x[inside][0])),
        float(uv[-1, 0] + max(0.0, x_mm[1] - x[inside][-1])),
        float(uv[:, 1].min() - half),
        float(uv[:, 1].max() + half),
    )


def draw_strip(axes: Axes, photo: Photo, one: InstrumentReading, view: View, shown: Box, *, close: bool) -> None:
    """Draw the window into ``axes``; ``close`` adds crests and a mark at every mm."""
    u0, u1, v0, v1 = shown
    axes.imshow(
        picture(photo, view, (u0, u1), (v0, v1), WIDTH_PX), extent=(u0, u1, v1, v0), interpolation="antialiased"
    )
    axes.set(xlim=(u0, u1), ylim=(v1, v0), xticks=[], yticks=[])
    for spine in axes.spines.values():
        spine.set_color(INK)
    if len(one.trace.axis_px) < 2:
        return
    _lines(axes, one, view, close=close)
    _positions(axes, one, view, shown, every=1.0 if close else 5.0)
    _stations(axes, one, view)
    _findings(axes, one, view)
    if close:
        _crests(axes, one, view)


def _lines(axes: Axes, one: InstrumentReading, view: View, *, close: bool) -> None:
    for edge in (one.trace.upper_px, one.trace.lower_px):
        if len(edge):
            axes.plot(*view.to_uv(edge).T, color=OUTLINE, linewidth=1.1 if close else 0.7)
    axes.plot(*view.to_uv(one.trace.axis_px).T, color=INK, linewidth=0.8, linestyle=(0, (8, 3, 1, 3)))


def _crests(axes: Axes, one: InstrumentReading, view: View) -> None:
    """Mark crests by triangles just outside the metal that point at them."""
    if not len(one.trace.crests_px):
        return
    crests, axis = view.to_uv(one.trace.crests_px), view.to_uv(one.trace.axis_px)
    order = np.argsort(axis[:, 0])
    middle = np.interp(crests[:, 0], axis[order, 0], axis[order, 1])
    above = crests[:, 1] < middle
    for side, marker, shift in ((above, "v", -0.13), (~above, "^", 0.13)):
        axes.plot(crests[side, 0], crests[side, 1] + shift, marker, color=INK, markersize=6, path_effects=halo(2.0))


def _positions(axes: Axes, one: InstrumentReading, view: View, shown: Box, every: float) -> None:
    """Write mm along the axis at the window's lower edge; on a bent axis the marks stand where the axis has them."""
    x, uv = axis_positions_mm(one), view.to_uv(one.trace.axis_px)
    marks = np.arange(0.0, x.max() + 1e-6, every)
    places = np.interp(marks, x, uv[:, 0])
    inside = (places >= shown[0]) & (places <= shown[1])
    axes.set_xticks(places[inside], [f"{mark:.0f}" for mark in marks[inside]], fontsize=11)
    axes.tick_params(axis="x", length=5, pad=2)


def _stations(axes: Axes, one: InstrumentReading, view: View) -> None:
    for name, points in one.trace.stations_px.items():
        uv = view.to_uv(np.asarray(points, dtype=float).reshape(-1, 2))
        if len(uv) < 2 or not _inside(axes, uv.mean(axis=0)):
            continue
        end = uv[np.argmax(uv[:, 1])] - uv[np.argmin(uv[:, 1])]
        far = uv[np.argmin(uv[:, 1])] - 0.45 * end / max(float(np.hypot(*end)), 1e-9)
        axes.plot(*np.vstack([far, uv]).T, color=INK, linewidth=1.6, path_effects=halo())
        at, shift, aligned = (far[0], far[1]), (0, 2), ("center", "bottom")
        top = axes.get_ylim()[1]
        if far[1] < top + 0.06 * (axes.get_xlim()[1] - axes.get_xlim()[0]):  # no room above: write beside the line
            left = far[0] < np.mean(axes.get_xlim())
            at, shift, aligned = (far[0], top), (5 if left else -5, -4), ("left" if left else "right", "top")
        label = axes.annotate(name, at, shift, textcoords="offset points", fontsize=12, weight="bold", color=INK)
        label.set(ha=aligned[0], va=aligned[1])
        as_is(label).set_path_effects(halo())


def _findings(axes: Axes, one: InstrumentReading, view: View) -> None:
    """Mark each finding by a bar with end ticks beneath the metal and by its letter, clear of it; bars that overlap are staggered."""
    x, axis = axis_positions_mm(one), one.trace.axis_px
    radius = _letter_mm(axes)
    for letter, finding, level in zip(LETTERS, one.condition.findings, levels(one), strict=False):
        span = _span(finding)
        places = np.linspace(*span, 200)
        line = view.to_uv(np.column_stack([np.interp(places, x, axis[:, i]) for i in (0, 1)]))
        shown = (line[:, 0] >= axes.get_xlim()[0]) & (line[:, 0] <= axes.get_xlim()[1])
        if not shown.any():
            continue
        line[:, 1] += _half_width_mm(one, (places[shown][0], places[shown][-1])) + BENEATH_MM
        line[:, 1] += _lacking_mm(one, view, line[shown][int(shown.sum()) // 2], radius) + max(BENEATH_MM, 2.2 * radius) * level
        axes.plot(
            *line.T, color=INK, linewidth=2.4, marker="|", markevery=[0, -1], markersize=11, path_effects=halo(4.5)
        )
        middle = line[shown][int(shown.sum()) // 2]
        said = axes.text(middle[0], middle[1], letter, fontsize=13, weight="bold", ha="center", va="center", color=INK, clip_on=True)
        said.set_bbox({"boxstyle": "circle,pad=0.18", "facecolor": "white", "edgecolor": INK, "linewidth": 1.4})


def levels(one: InstrumentReading) -> list[int]:
    """How far down each finding's bar stands: 0, or as many as earlier ones that it overlaps."""
    spans = [_span(finding) for finding in one.condition.findings]
    return [sum(low < span[1] and span[0] < high for low, high in spans[:k]) for k, span in enumerate(spans)]


def _span(finding: Finding) -> tuple[float, float]:
    return finding.from_mm - 0.05, finding.to_mm + 0.05


def _letter_mm(axes: Axes) -> float:
    """Radius of a letter's disc, in mm of this window."""
    width_pt = axes.get_window_extent().width * 72.0 / axes.figure.dpi
    return LETTER_PT * float(np.ptp(axes.get_xlim())) / width_pt


def _lacking_mm(one: InstrumentReading, view: View, at: Points, radius_mm: float) -> float:
    """How much lower a disc at ``at`` must stand to be clear of the metal beside it, which may slope; 0 when it is."""
    uv, x = view.to_uv(one.trace.axis_px), axis_positions_mm(one)
    near = np.abs(uv[:, 0] - at[0]) <= radius_mm + CLEAR_MM
    if not near.any():
        return 0.0
    metal = float(uv[near, 1].max()) + _half_width_mm(one, (float(x[near].min()), float(x[near].max())))
    return max(0.0, metal + radius_mm + CLEAR_MM - float(at[1]))


def _inside(axes: Axes, point: Points) -> bool:
    return bool(axes.get_xlim()[0] <= point[0] <= axes.get_xlim()[1])


def _half_width_mm(one: InstrumentReading, x_mm: tuple[float, float]) -> float:
    profile = one.trace.profile_mm_of_x
    near = profile[(profile[:, 0] >= x_mm[0] - 0.5) & (profile[:, 0] <= x_mm[1] + 0.5)] if len(profile) else profile
    widths = np.abs(near[:, 1:][np.isfinite(near[:, 1:])])
    return float(widths.max()) if len(widths) else 0.5
