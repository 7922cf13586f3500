"""The whole photo with its instruments numbered, and beneath it what each is."""

from __future__ import annotations

import cv2
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Polygon

from vision.photo import Photo
from vision.reading import CheckReading, InstrumentReading, PhotoReading, Points
from vision.report import cautions
from vision.report.check_lines import check_lines
from vision.report.style import (
    CALL_PT,
    DPI,
    INK,
    MARGIN_IN,
    TITLE_PT,
    WIDTH_IN,
    Line,
    caution_lines,
    halo,
    height_of,
    page,
    wrapped,
    write,
)
from vision.report.view import drawable, view_of
from vision.report.words import finding_text, name_text, quantity_texts


def overview(photo: Photo, reading: PhotoReading) -> Figure:
    """Draw the overview figure of one photo."""
    lines = wrapped(_legend(reading))
    width_in = WIDTH_IN - 2 * MARGIN_IN
    height_in = width_in * photo.height_px / photo.width_px
    total = 2 * MARGIN_IN + height_in + 0.2 + height_of(lines)
    figure = page(total)
    box = (MARGIN_IN / WIDTH_IN, 1.0 - (MARGIN_IN + height_in) / total, width_in / WIDTH_IN, height_in / total)
    axes = figure.add_axes(box)
    _photo(axes, photo, round(width_in * DPI))
    for one in reading.instruments:
        _number(axes, one)
    if reading.check_piece is not None:
        _piece(axes, reading.check_piece)
    write(figure, MARGIN_IN + height_in + 0.2, lines)
    return figure


def _photo(axes: Axes, photo: Photo, width_px: int) -> None:
    shrink = min(1.0, width_px / photo.width_px)
    size = (max(1, round(photo.width_px * shrink)), max(1, round(photo.height_px * shrink)))
    small = cv2.resize(photo.rgb, size, interpolation=cv2.INTER_AREA)
    right, bottom = photo.width_px - 0.5, photo.height_px - 0.5  # pixel centres at whole numbers
    axes.imshow(small, extent=(-0.5, right, bottom, -0.5), interpolation="antialiased")
    axes.set(xlim=(-0.5, right), ylim=(bottom, -0.5), xticks=[], yticks=[])


def _number(axes: Axes, one: InstrumentReading) -> None:
    """Frame an instrument along its own direction and put its number beyond its tip, inside the photo."""
    corners, place = _frame_px(one)
    axes.add_patch(Polygon(corners, fill=False, edgecolor=INK, linewidth=1.6, path_effects=halo(4.0)))
    right, bottom = axes.get_xlim()[1], axes.get_ylim()[0]
    disc = 0.3 * right / (WIDTH_IN - 2 * MARGIN_IN)  # the disc's radius, 0.3 inch, in px of the photo
    away = place - corners.mean(axis=0)
    x, y = place + disc * away / max(float(np.hypot(*away)), 1e-9)
    x, y = np.clip([x, y], disc, [right - disc, bottom - disc])
    box = {"boxstyle": "circle,pad=0.22", "facecolor": "white", "edgecolor": INK, "linewidth": 1.6}
    axes.text(x, y, str(one.id), fontsize=15, weight="bold", ha="center", va="center", color=INK, bbox=box)


def _piece(axes: Axes, check: CheckReading) -> None:
    """Frame the check piece in dashes and name it: it is no instrument and has no number."""
    x, y, w, h = check.box_px
    room = 0.02 * axes.get_xlim()[1]
    corners = [(x - room, y - room), (x + w + room, y - room), (x + w + room, y + h + room), (x - room, y + h + room)]
    axes.add_patch(Polygon(corners, fill=False, edgecolor=INK, linewidth=1.6, linestyle="--", path_effects=halo(4.0)))
    words = axes.text(x, y - 1.3 * room, "check piece", fontsize=12, color=INK, va="bottom")
    words.set_path_effects(halo())


def _frame_px(one: InstrumentReading) -> tuple[Points, Points]:
    """Return the frame's four corners and the place for the number: round the traced axis, or else the box."""
    one = drawable(one)
    if len(one.trace.axis_px) < 2:
        x, y, w, h = one.box_px
        return np.array([[x, y], [x + w, y], [x + w, y + h], [x, y + h]], dtype=float), np.array([float(x), float(y)])
    view = view_of(one)
    uv = view.to_uv(one.trace.axis_px)
    room = np.array([0.8, 1.6])
    (u0, v0), (u1, v1) = uv.min(axis=0) - room, uv.max(axis=0) + room
    corners = view.to_px(np.array([[u0, v0], [u1, v0], [u1, v1], [u0, v1]]))
    return corners, view.to_px(np.array([[u0, 0.0]]))[0]


def _key_numbers(one: InstrumentReading) -> str:
    """Return the three numbers that people ask for first."""
    parts = []
    for name, quantity in (("D0", one.d0_mm), ("D16", one.d16_mm), ("length", one.length_mm)):
        value, u = quantity_texts(quantity) if quantity else ("not measured", "")
        parts.append(f"{name} {value} mm (u {u})" if u else f"{name} {value}")
    return ", ".join(parts)


def _legend(reading: PhotoReading) -> list[Line]:
    lines = [Line(reading.file, TITLE_PT * 0.8, bold=True)]
    for one in reading.instruments:
        strong = one.condition.call != "nothing seen"
        said = "; ".join(finding_text(finding) for finding in one.condition.findings) or "; ".join(
            one.condition.reasons
        )
        lines.append(Line(f"{one.id}  {name_text(one)}", CALL_PT, bold=True))
        lines.append(Line(f"    {_key_numbers(one)}", CALL_PT, indent="    "))
        call = f"{one.condition.call}{': ' + said if said else ''}; {cautions.CANNOT_CLEAR}"
        lines.append(Line(f"    {call}", CALL_PT, bold=strong, indent="    "))
    if reading.check_piece is not None:
        lines += [Line(f"Check piece: {line}", indent="    ") for line in check_lines(reading.check_piece)]
    if not reading.instruments:
        lines.append(Line("no instrument found", CALL_PT))
    return [*lines, *caution_lines(cautions.shown_with(reading.instruments))]
