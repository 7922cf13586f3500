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
from vision.reading import InstrumentReading, PhotoReading
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

Array = NDArray[np.floating[Any]]
HANDLE_MM = 12.0
NUMERAL_PT = 17.0
DASHES = ("solid", (0, (6, 2)), (0, (2, 2)), (0, (8, 2, 2, 2)))
AWAY_MM = (6.0, 8.0, 10.0, 13.0, 17.0)


def tray_figure(photo: Photo, reading: PhotoReading, marks: Mapping[int, str], said: Sequence[str]) -> Figure:
    """Draw one photo of the tray; ``marks`` gives each number its letter, ``said`` the lines beneath."""
    lines = wrapped([Line(reading.file, TITLE_PT * 0.8, bold=True), *(Line(one, indent="    ") for one in said), *caution_lines(SHORT)])
    width_in = WIDTH_IN - 2 * MARGIN_IN
    height_in = width_in * photo.height_px / photo.width_px
    total = 2 * MARGIN_IN + height_in + 0.2 + height_of(lines)
    figure = page(total)
    axes = figure.add_axes((MARGIN_IN / WIDTH_IN, 1.0 - (MARGIN_IN + height_in) / total, width_in / WIDTH_IN, height_in / total))
    _photo(axes, photo, round(width_in * DPI))
    radius_px = 0.19 * photo.width_px / width_in
    bodies = [_body(one) for one in reading.instruments]
    places = label_places(bodies, radius_px, (photo.width_px, photo.height_px))
    for one, body, place in zip(reading.instruments, bodies, places, strict=True):
        _mark(axes, body, place, f"{one.id}{marks.get(one.id, '')}", one.id)
    write(figure, MARGIN_IN + height_in + 0.2, lines)
    return figure


def label_places(bodies: Sequence[Array], radius_px: float, size: tuple[int, int]) -> list[Array]:
    """Middle of a disc for each instrument, in px: near its handle, clear of all metal and of the other discs.

    ``bodies``: points (N, 2) along each instrument, tip first. Where nothing near is clear, the freest place is taken.
    """
    everything = np.concatenate(bodies) if bodies else np.empty((0, 2))
    taken: list[Array] = []
    for body in bodies:
        options = _options(body, radius_px, size)
        metal = np.linalg.norm(options[:, None] - everything[None], axis=2).min(axis=1)
        discs = np.linalg.norm(options[:, None] - np.array(taken)[None], axis=2).min(axis=1) if taken else np.full(len(options), np.inf)
        room = np.minimum(metal - 1.5 * radius_px, discs - 2.4 * radius_px)
        near = np.linalg.norm(options[:, None] - body[None], axis=2).min(axis=1)
        clear = room > 0.0
        best = int(np.argmin(np.where(clear, near, np.inf))) if clear.any() else int(np.argmax(room))
        taken.append(options[best])
    return taken


def _options(body: Array, radius_px: float, size: tuple[int, int]) -> Array:
    """Places round the handle's end and along both sides, inside the picture."""
    ring = np.radians(np.arange(0.0, 360.0, 15.0))
    circle = np.column_stack([np.cos(ring), np.sin(ring)])
    spots = [body[k] + f * radius_px * circle for k in (-1, -(len(body) // 3), len(body) // 3) for f in (1.7, 2.1, 2.6, 3.4, 4.4)]
    return np.asarray(np.clip(np.concatenate(spots), radius_px, np.array(size) - radius_px))


def _body(one: InstrumentReading) -> Array:
    """Points along axis and handle, px."""
    axis = np.asarray(one.trace.axis_px)
    if len(axis) < 3:
        x, y, w, h = one.box_px
        return np.array([[x, y], [x + w / 2.0, y + h / 2.0], [x + w, y + h]], dtype=float)
    axis = axis[:: max(len(axis) // 60, 1)]
    end = axis[-1] if one.handle_px is None else np.asarray(one.handle_px)
    run = end - axis[len(axis) // 2]
    run = run / max(float(np.linalg.norm(run)), 1e-9)
    behind = end + np.linspace(0.0, HANDLE_MM, 14)[:, None] * one.local_px_per_mm * run
    return np.concatenate([axis, behind])


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
