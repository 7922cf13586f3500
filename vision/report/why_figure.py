"""Why this name: the straightened working part beside ideal strips of every blank, and the clues in words."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from vision.photo import Photo
from vision.reading import InstrumentReading
from vision.report import cautions
from vision.report.evidence import NONE_APART, RULE, evidence_lines
from vision.report.ideal import KINDS, LABELS, Stretch, ideal_edges, ideal_face
from vision.report.overlay import axis_positions_mm
from vision.report.style import (
    BODY_PT,
    INK,
    MARGIN_IN,
    OUTLINE,
    TITLE_PT,
    WIDTH_IN,
    Line,
    caution_lines,
    height_of,
    page,
    wrapped,
    write,
)
from vision.report.view import drawable
from vision.report.words import name_text

Array = NDArray[np.floating[Any]]
SHOWN_MM = (1.5, 9.5)  # clear of the tip's cone
COLUMNS = 1400
LABEL_IN, GAP_IN = 0.26, 0.12
ASSUMED_PITCH_MM = 0.7  # where no pitch was measured; said so


def why_figure(photo: Photo, file: str, one: InstrumentReading) -> Figure:
    """Draw one instrument's figure; only words where no outline was traced."""
    one = drawable(one)
    head = wrapped([Line(f"{one.id}  {name_text(one)}: why", TITLE_PT, bold=True), Line(_hint(one))])
    foot = wrapped([*_clues(one), Line(RULE + "."), *caution_lines(cautions.shown_with((one,))), Line(f"Photo {file}.")])
    x_mm = _stations(one)
    half = 0.0 if x_mm is None else 1.45 * float(_radius_mm(one, x_mm).max()) + 0.05
    strip_in = 0.0 if x_mm is None else (WIDTH_IN - 2 * MARGIN_IN) * 2.0 * half / float(np.ptp(x_mm))
    each = LABEL_IN + strip_in + GAP_IN
    figure = page(height_of(head) + height_of(foot) + 2 * MARGIN_IN + 0.3 + (0.0 if x_mm is None else each * (len(KINDS) + 1)))
    top = write(figure, MARGIN_IN, head) + 0.1
    if x_mm is not None:
        for label, picture, edges in _strips(photo, one, x_mm, half, strip_in):
            write(figure, top, [Line(label)])
            _show(figure, top + LABEL_IN, strip_in, picture, (float(x_mm[0]), float(x_mm[-1]), half), edges)
            top += each
    write(figure, top + 0.1, foot)
    return figure


def _hint(one: InstrumentReading) -> str:
    drawn = "The photo straightened, 1.5 to 9.5 mm from the tip; beneath it ideal blanks of the measured diameter, taper and"
    pitch = "pitch" if len(one.trace.pitch_mm_of_x) else f"a pitch of {ASSUMED_PITCH_MM} mm, since none was measured"
    return f"{drawn} {pitch}. Lines: the outline as measured (on the photo), as this blank would have it (on the ideal ones)."


def _clues(one: InstrumentReading) -> list[Line]:
    every = ((name, what, seen.partition(" [")[0], speaks) for name, what, seen, speaks in evidence_lines(one))
    lines = [f"{name}, {what}: {seen}. {_spoken(speaks)}." for name, what, seen, speaks in every]
    return [Line(line, indent="    ") for line in lines or ["No clues were kept with this reading."]]


def _spoken(speaks: str) -> str:
    if speaks == NONE_APART:
        return "It tells none apart"
    return f"Speaks for: {speaks}".replace("for: against", "against:")


def _stations(one: InstrumentReading) -> Array | None:
    profile = one.trace.profile_mm_of_x
    if len(one.trace.axis_px) < 20 or not len(profile) or not np.isfinite(profile[:, 1:]).any():
        return None
    end = min(SHOWN_MM[1], float(axis_positions_mm(one).max()))
    return np.linspace(SHOWN_MM[0], end, COLUMNS) if end > SHOWN_MM[0] + 1.0 else None


def _radius_mm(one: InstrumentReading, x_mm: Array) -> Array:
    """Enclosing radius: of the measured cone, else the usual half width."""
    if one.d0_mm is not None and one.taper_mm_per_mm is not None:
        return np.asarray(np.maximum(one.d0_mm.value + one.taper_mm_per_mm.value * x_mm, 0.02) / 2.0)
    profile = one.trace.profile_mm_of_x
    return np.full(len(x_mm), float(np.nanpercentile(profile[:, 1] - profile[:, 2], 80)) / 2.0)


def _strips(
    photo: Photo, one: InstrumentReading, x_mm: Array, half_mm: float, strip_in: float
) -> list[tuple[str, Array, tuple[Array, Array]]]:
    rows = max(int(COLUMNS * strip_in / (WIDTH_IN - 2 * MARGIN_IN)), 8)
    profile = one.trace.profile_mm_of_x
    order = np.argsort(profile[:, 0])
    upper, lower = (np.interp(x_mm, profile[order, 0], profile[order, k]) for k in (1, 2))
    middle = (upper + lower) / 2.0
    stretch = Stretch(x_mm, _radius_mm(one, x_mm), _crests(one, x_mm, upper - middle), -1.0 if one.twist_hand == "left" else 1.0)
    made = [("this photo", _straightened(photo, one, x_mm, half_mm, rows), (upper, lower))]
    for kind in KINDS:
        named = " (named)" if one.cross_section == kind else ""
        made.append((LABELS[kind] + named, ideal_face(kind, stretch, half_mm, rows), ideal_edges(kind, stretch)))
    return made


def _crests(one: InstrumentReading, x_mm: Array, upper_mm: Array) -> Array:
    """Crests passed on the upper edge up to each station: from the local pitch, put in phase with the edge as measured."""
    rows = one.trace.pitch_mm_of_x
    rows = rows[np.isfinite(rows).all(axis=1) & (rows[:, 1] > 0.02)] if len(rows) else rows
    if len(rows):
        order = np.argsort(rows[:, 0])
        pitch = np.interp(x_mm, rows[order, 0], rows[order, 1])
    else:
        pitch = np.full(len(x_mm), one.pitch_mm.value if one.pitch_mm else ASSUMED_PITCH_MM)
    count = np.concatenate([[0.0], np.cumsum(np.diff(x_mm) * 2.0 / (pitch[1:] + pitch[:-1]))])
    swing = np.nan_to_num(upper_mm - np.polyval(np.polyfit(x_mm, np.nan_to_num(upper_mm), 1), x_mm))
    return np.asarray(count - np.angle((swing * np.exp(2j * np.pi * count)).sum()) / (2.0 * np.pi))


def _straightened(photo: Photo, one: InstrumentReading, x_mm: Array, half_mm: float, rows: int) -> Array:
    """The photo along the traced axis, (rows, columns, 3); rows run from the lower edge's side to the upper edge's."""
    at, axis = axis_positions_mm(one), one.trace.axis_px
    order = np.argsort(at)
    line = np.column_stack([np.interp(x_mm, at[order], axis[order, k]) for k in (0, 1)])
    tangent = np.gradient(line, axis=0)
    tangent /= np.maximum(np.linalg.norm(tangent, axis=1, keepdims=True), 1e-9)
    normal = np.column_stack([-tangent[:, 1], tangent[:, 0]])
    offset = np.linspace(-half_mm, half_mm, rows) * one.local_px_per_mm
    place = (line[None] + offset[:, None, None] * normal[None]).astype(np.float32)
    return np.asarray(cv2.remap(photo.rgb, place[..., 0], place[..., 1], cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE))


def _show(
    figure: Figure, top_in: float, high_in: float, picture: Array, box: tuple[float, float, float], edges: tuple[Array, Array]
) -> None:
    total = figure.get_figheight()
    wide = (WIDTH_IN - 2 * MARGIN_IN) / WIDTH_IN
    axes: Axes = figure.add_axes((MARGIN_IN / WIDTH_IN, 1.0 - (top_in + high_in) / total, wide, high_in / total))
    low, high, half = box
    axes.imshow(picture, cmap="gray", vmin=0.0, vmax=1.0, extent=(low, high, half, -half), aspect="auto", interpolation="antialiased")
    x = np.linspace(low, high, picture.shape[1] if len(edges[0]) == picture.shape[1] else len(edges[0]))
    for edge in edges:
        axes.plot(x, edge, color=OUTLINE, linewidth=0.9)
    axes.set(xlim=(low, high), ylim=(half, -half), yticks=[], xticks=np.arange(np.ceil(low), high + 1e-6))
    axes.tick_params(labelsize=BODY_PT - 4, length=2, pad=1, direction="in")
    axes.set_xticklabels([])
    for spine in axes.spines.values():
        spine.set_color(INK)
