"""The figure of one instrument: what it is and how sure, the measurement drawn over the photo, two plots, cautions."""

from __future__ import annotations

import numpy as np
from matplotlib.figure import Figure

from vision.photo import Photo
from vision.reading import Finding, InstrumentReading
from vision.report import cautions
from vision.report.limits import limit_lines
from vision.report.overlay import LETTERS, Box, axis_end_mm, draw_strip, levels, window
from vision.report.plots import plot_pitch, plot_profile
from vision.report.style import (
    CALL_PT,
    MARGIN_IN,
    TITLE_PT,
    WIDTH_IN,
    Line,
    caution_lines,
    height_of,
    in_columns,
    page,
    wrapped,
    write,
)
from vision.report.view import View, drawable, view_of
from vision.report.words import (
    CONFORMITY_OF,
    MEASURED,
    finding_text,
    name_text,
    percent,
    quantity_texts,
)

ZONE_MM = 8.0
MOST_CROPS, CROP_CLEAR_MM, CROP_LEAST_MM = 3, 0.6, 3.0
CROP_MARGIN_MM = 0.6  # room for the finding's bar and letter beneath the metal
PLOT_IN = (1.6, 1.9)
GAP_IN = 0.34
LEGEND_IN = 0.3
LEFT_IN, RIGHT_IN = 1.05, 0.3


def closeup(photo: Photo, file: str, one: InstrumentReading) -> Figure:
    """Draw one instrument's figure."""
    one = drawable(one)
    view = view_of(one)
    head, foot = wrapped(_head(one)), wrapped(_foot(file, one))
    strips = _strips(one, view)
    heights = [(WIDTH_IN - 2 * MARGIN_IN) * (v1 - v0) / (u1 - u0) for (u0, u1, v0, v1), _ in strips]
    plotted = bool(len(one.trace.profile_mm_of_x) or len(one.trace.pitch_mm_of_x))
    plots_in = sum(PLOT_IN) + GAP_IN + LEGEND_IN + 0.65 if plotted else 0.0
    texts_in = height_of(head) + height_of(foot) + 2 * MARGIN_IN + 0.15
    total = texts_in + sum(heights) + GAP_IN * len(strips) + plots_in
    figure = page(total)
    top = write(figure, MARGIN_IN, head) + 0.15
    for (shown, close), height in zip(strips, heights, strict=True):
        axes = figure.add_axes(_place(figure, top, height, MARGIN_IN, MARGIN_IN))
        draw_strip(axes, photo, one, view, shown, close=close)
        top += height + GAP_IN
    if plotted:
        _plots(figure, top + 0.05, one, view)
    write(figure, top + plots_in, foot)
    return figure


def _plots(figure: Figure, top_in: float, one: InstrumentReading, view: View) -> None:
    x_mm = (-0.5, max(axis_end_mm(one), 1.0) + 0.5)
    profile, pitch = (
        figure.add_axes(_place(figure, top, height, LEFT_IN, RIGHT_IN))
        for top, height in ((top_in, PLOT_IN[0]), (top_in + PLOT_IN[0] + GAP_IN + LEGEND_IN, PLOT_IN[1]))
    )
    plot_profile(profile, one, x_mm, upside_down=_upper_lies_below(one, view))
    plot_pitch(pitch, one, x_mm)


def _upper_lies_below(one: InstrumentReading, view: View) -> bool:
    """Tell whether the turned photo shows the upper edge below the lower one, as it does when the tip lay right."""
    upper, lower = (view.to_uv(edge)[:, 1] for edge in (one.trace.upper_px, one.trace.lower_px))
    seen = [edge[np.isfinite(edge)] for edge in (upper, lower)]
    return all(map(len, seen)) and bool(seen[0].mean() > seen[1].mean())


def _strips(one: InstrumentReading, view: View) -> list[tuple[Box, bool]]:
    """Return the windows to show: the whole instrument, its working part in pieces of 8 mm, then each finding closer."""
    end = axis_end_mm(one)
    deepest = max(levels(one), default=0)
    strips = [(window(one, view, (-1.0, end + 3.0), 1.9 + 1.6 * deepest), False)]
    if len(one.trace.axis_px) < 2:
        return strips
    working = min(end, one.working_part_mm.value if one.working_part_mm else end)
    for piece in range(min(3, max(1, round(working / ZONE_MM)))):
        zone = (piece * ZONE_MM - 0.6, (piece + 1) * ZONE_MM + 0.6)
        strips.append((window(one, view, zone, 0.9 + 0.75 * deepest), True))
    margin = CROP_MARGIN_MM * (1.0 + deepest)
    return strips + [(window(one, view, _around(finding), margin), True) for finding in one.condition.findings[:MOST_CROPS]]


def _around(finding: Finding) -> tuple[float, float]:
    """The few mm that show one finding, x from the tip."""
    middle, half = 0.5 * (finding.from_mm + finding.to_mm), 0.5 * (finding.to_mm - finding.from_mm)
    reach = max(half + CROP_CLEAR_MM, 0.5 * CROP_LEAST_MM)
    return max(middle - reach, -0.4), max(middle - reach, -0.4) + 2.0 * reach


def _place(figure: Figure, top_in: float, height_in: float, left_in: float, right_in: float) -> Box:
    total = figure.get_figheight()
    return (
        left_in / WIDTH_IN,
        1.0 - (top_in + height_in) / total,
        (WIDTH_IN - left_in - right_in) / WIDTH_IN,
        height_in / total,
    )


def _head(one: InstrumentReading) -> list[Line]:
    """Numbers first, then how sure, then why; the call and its limits in one size and weight."""
    sure = f"family {percent(one.family.probability)} sure" if one.family.value else "family not decided"
    sure += f", size {percent(one.size.probability)} sure" if one.size.value is not None else ", size not decided"
    call, strong = one.condition.call, one.condition.call != "nothing seen"
    return [
        Line(f"{one.id}  {name_text(one)}", TITLE_PT, bold=True),
        Line(sure),
        *_numbers(one),
        *(
            Line(f"{letter}  {finding_text(finding)}; {percent(finding.probability)} sure", indent="    ")
            for letter, finding in zip(LETTERS, one.condition.findings, strict=False)
        ),
        *(Line(f"First: {line}", indent="    ") for line in one.condition.before),
        Line(f"Call: {'; '.join((call, *one.condition.reasons))}", CALL_PT, bold=strong),
        Line(f"Limits: {cautions.limits_line(one.condition)}", CALL_PT, bold=strong),
    ]


def _numbers(one: InstrumentReading) -> list[Line]:
    """Return what was measured, in two columns where they fit."""
    shown = []
    for field, name, unit in MEASURED:
        quantity = getattr(one, field)
        if quantity is not None:
            value, u = quantity_texts(quantity)
            verdict = one.conformity.get(CONFORMITY_OF.get(field, ""))
            shown.append(f"{name}: {value} {unit} (u {u}){f', {verdict}' if verdict else ''}")
    if not shown:
        return [Line("nothing could be measured")]
    return in_columns(shown)


def _foot(file: str, one: InstrumentReading) -> list[Line]:
    missing = [name for field, name, _ in MEASURED if getattr(one, field) is None]
    lines = [Line(f"Not measured: {', '.join(missing)}.")] if missing else []
    lines += [Line(f"Size limits, {line}", indent="    ") for line in limit_lines(one)]
    lines += [Line(f"Note: {note}", indent="    ") for note in one.notes]
    lines += caution_lines(cautions.shown_with((one,)))
    return [
        *lines,
        Line(f"Photo {file}. u: standard uncertainty (k = 1). Letters mark findings; triangles mark crests."),
    ]
