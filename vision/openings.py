"""Stage 3b'': Plane -> what shows through the holes of a window card: paper (not cut), a lit screen far below, or dark.

A lit hole is background like paper, only of another brightness; the shaft stands dark before it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.plane import Plane
from vision.scale import Scale

Image = NDArray[np.floating[Any]]
Mask = NDArray[np.bool_]
State = Literal["as paper", "lit", "dark", "out of view"]
Place = Literal["window", "slot", "beyond the trim line"]

INSET_MM = 0.4  # a knife's slip and the blurred rim are left out
LEAST_SEEN_MM2 = 3.0
ALIKE = 0.10  # log light within which a hole cannot be told from the paper around it
LIT_FROM = 0.5  # of the paper's light: dimmer is no background but a table in the shade
SPREAD = 0.12  # log light by which a lit screen may vary over a hole
LEAST_EVEN = 0.15  # of a hole's pixels must be within that of its level; a handle may fill the rest
COLUMN_MM = 2.0


@dataclass(frozen=True)
class Opening:
    """One hole of the card: where, what shows in it, and its light over the paper's (green; None when out of view)."""

    place: Place
    lane: int
    state: State
    over_paper: float | None


@dataclass(frozen=True)
class Openings:
    """All holes of a card. ``light`` (H, W, 3): bare background, paper's or screen's; ``lit`` (H, W): where it is a screen."""

    holes: tuple[Opening, ...]
    light: Image
    lit: Mask


def zones(plane: Plane) -> Iterator[tuple[Place, int, Mask]]:
    """Give every place where a window card may have been cut, with its lane's number (0 beyond the trim line)."""
    if not plane.windows_mm:
        return
    for place, boxes in (("window", plane.windows_mm), ("slot", plane.slots_mm)):
        for number, box in enumerate(boxes, start=1):
            yield place, number, _box(plane, box)  # type: ignore[misc]  # the tuple's words are those of Place
    if plane.trim_x_mm is not None:
        height, width = plane.inside.shape
        edge = plane.trim_x_mm, plane.y0_mm, plane.x0_mm + width / plane.px_per_mm, plane.y0_mm + height / plane.px_per_mm
        yield "beyond the trim line", 0, _box(plane, edge)


def see_openings(plane: Plane, light: Image) -> Openings:
    """Tell what shows in each hole, and put the screen's light in place of the paper's where it is lit (``light``: paper's)."""
    holes: list[Opening] = []
    background, lit = light, np.zeros(plane.inside.shape, dtype=bool)
    for place, number, zone in zones(plane):
        inner = _shrunk(zone, INSET_MM * plane.px_per_mm) & plane.inside
        state, ratio = _state(plane, light, inner)
        holes.append(Opening(place, number, state, ratio))
        if state == "lit":
            background = light.copy() if background is light else background
            background[zone] = _screen(plane, inner, zone)[zone]
            lit |= zone
    return Openings(tuple(holes), background, lit & plane.inside)


def before_screen(plane: Plane, scale: Scale, lit: Mask | None, axis_px: Image) -> Mask:
    """Tell which points (N, 2) of an axis in photo px lie before a lit screen, clear of the hole's rim."""
    if lit is None or not lit.any():
        return np.zeros(len(axis_px), dtype=bool)
    inner = _shrunk(lit, INSET_MM * plane.px_per_mm)
    spots = (scale.to_plane_mm(axis_px) - [plane.x0_mm, plane.y0_mm]) * plane.px_per_mm
    index = np.floor(spots).astype(int)
    good = ((index >= 0) & (index < inner.shape[::-1])).all(axis=1)
    index = np.clip(index, 0, np.array(inner.shape[::-1]) - 1)
    return np.asarray(good & inner[index[:, 1], index[:, 0]])


def _state(plane: Plane, light: Image, inner: Mask) -> tuple[State, float | None]:
    if inner.sum() < LEAST_SEEN_MM2 * plane.px_per_mm**2:
        return "out of view", None
    over = np.log(np.maximum(plane.rgb[inner], 1e-4) / np.maximum(light[inner], 1e-4))
    level = np.percentile(over, 85, axis=0)
    ratio = float(np.exp(level[1]))
    even = float((np.abs(over - level).max(axis=1) < SPREAD).mean())
    if np.abs(level).max() < ALIKE:
        return "as paper", ratio
    return ("lit" if ratio > LIT_FROM and even > LEAST_EVEN else "dark"), ratio


def _screen(plane: Plane, inner: Mask, zone: Mask) -> Image:
    """The screen's light, smooth along the page's x, from the brighter part of each 2 mm of the hole."""
    columns = np.flatnonzero(zone.any(axis=0))
    wide = max(round(COLUMN_MM * plane.px_per_mm), 2)
    at, level = [], []
    for left in range(int(columns[0]), int(columns[-1]) + 1, wide):
        part = inner[:, left : left + wide]
        if part.sum() > wide:
            at.append(left + wide / 2.0)
            level.append(np.percentile(plane.rgb[:, left : left + wide][part], 75, axis=0))
    levels = np.array(level)
    usual = np.percentile(levels, 70, axis=0)
    levels = np.where(levels < 0.8 * usual, usual, levels)  # a handle or stop fills this stretch
    result = np.zeros_like(plane.rgb)
    for channel in range(3):
        line = np.interp(np.arange(plane.rgb.shape[1]), at, levels[:, channel])
        result[..., channel] = cv2.GaussianBlur(line[None, :], (0, 0), wide)[0]
    return result


def _box(plane: Plane, box_mm: tuple[float, float, float, float]) -> Mask:
    mask = np.zeros(plane.inside.shape, dtype=bool)
    corner = np.array([plane.x0_mm, plane.y0_mm] * 2)
    left, top, right, bottom = np.clip(np.rint((np.array(box_mm) - corner) * plane.px_per_mm), 0, None).astype(int)
    mask[top:bottom, left:right] = True
    return mask


def _shrunk(mask: Mask, radius_px: float) -> Mask:
    size = 2 * max(round(radius_px), 1) + 1
    return np.asarray(cv2.erode(mask.astype(np.uint8), np.ones((size, size), np.uint8), borderValue=1).astype(bool))
