"""A sorted tray -> its picture: every instrument with a large numeral and its group's letter, clear of the metal."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import cv2
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from vision.photo import Photo
from vision.reading import PhotoReading
from vision.report.cautions import SHORT
from vision.report.style import (
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
from vision.tray.places import body_of, label_places

Array = NDArray[np.floating[Any]]
NUMERAL_PT = 17.0
DASHES = ("solid", (0, (6, 2)), (0, (2, 2)), (0, (8, 2, 2, 2)))


def tray_figure(
    photo: Photo, reading: PhotoReading, marks: Mapping[int, str], said: Sequence[str], cautions: Sequence[str] = SHORT
) -> Figure:
    """Draw one photo of the tray; ``marks`` gives each number its letter, ``said`` the lines beneath."""
    lines = wrapped([Line(reading.file, TITLE_PT * 0.8, bold=True), *(Line(one, indent="    ") for one in said), *caution_lines(cautions)])
    width_in = WIDTH_IN - 2 * MARGIN_IN
    height_in = width_in * photo.height_px / photo.width_px
    total = 2 * MARGIN_IN + height_in + 0.2 + height_of(lines)
    figure = page(total)
    axes = figure.add_axes((MARGIN_IN / WIDTH_IN, 1.0 - (MARGIN_IN + height_in) / total, width_in / WIDTH_IN, height_in / total))
    _photo(axes, photo, round(width_in * DPI))
    radius_px = 0.19 * photo.width_px / width_in
    bodies = [body_of(one.trace.axis_px, one.handle_px, one.box_px, one.local_px_per_mm) for one in reading.instruments]
    places = label_places(bodies, radius_px, (photo.width_px, photo.height_px))
    for one, body, place in zip(reading.instruments, bodies, places, strict=True):
        _mark(axes, body, place, f"{one.id}{marks.get(one.id, '')}", one.id)
    write(figure, MARGIN_IN + height_in + 0.2, lines)
    return figure


def _mark(axes: Axes, body: Array, place: Array, text: str, number: int) -> None:
    """A leader from the handle to the disc; its dashes differ between neighbours in number."""
    start = body[int(np.linalg.norm(body - place, axis=1).argmin())]
    axes.plot([start[0], place[0]], [start[1], place[1]], color=INK, linewidth=1.3, linestyle=DASHES[number % 4], path_effects=halo(3.2))
    box = {"boxstyle": "round,pad=0.16", "facecolor": "white", "edgecolor": INK, "linewidth": 1.3}
    points = NUMERAL_PT - 4 * (len(text) > 3)
    axes.text(place[0], place[1], text, fontsize=points, weight="bold", ha="center", va="center", color=INK, bbox=box)


def _photo(axes: Axes, photo: Photo, width_px: int) -> None:
    shrink = min(1.0, width_px / photo.width_px)
    size = (max(1, round(photo.width_px * shrink)), max(1, round(photo.height_px * shrink)))
    small = cv2.resize(photo.rgb, size, interpolation=cv2.INTER_AREA)
    right, bottom = photo.width_px - 0.5, photo.height_px - 0.5
    axes.imshow(small, extent=(-0.5, right, bottom, -0.5), interpolation="antialiased")
    axes.set(xlim=(-0.5, right), ylim=(bottom, -0.5), xticks=[], yticks=[])
