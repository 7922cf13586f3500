"""Closed-form geometry -> what a stretch of each kind of blank would look like, lit evenly, seen from straight above.

A twisted prism: at every station a polygon turned by the twist; whichever of its sides lies on top is what one sees. The
groove of a Hedstroem file: a round taper whose radius is a saw-tooth of the helix' phase.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.floating[Any]]
KINDS = ("square", "triangle", "rhombus", "groove", "barbs", "plain")
LABELS = {
    "square": "twisted square",
    "triangle": "twisted triangle",
    "rhombus": "twisted rhombus",
    "groove": "one winding groove",
    "barbs": "wire with barbs",
    "plain": "plain wire",
}
LOW_CORNER, CORE, STEEP = 0.7, 0.5, 0.26  # usual rhombus and Hedstroem file: invented, within what renders draw
LIGHT_RAD = np.radians(25.0)  # the light stands a little off the camera, so that sides differ
PAPER, DARK, BRIGHT = 1.0, 0.22, 0.9


@dataclass(frozen=True)
class Stretch:
    """What the ideal strips are drawn to: stations and enclosing radius (mm), crests passed on one edge, hand (+1 right)."""

    x_mm: Array
    radius_mm: Array
    crests: Array
    hand: float = 1.0


def ideal_face(kind: str, stretch: Stretch, half_mm: float, rows: int) -> Array:
    """Return a grey picture (rows, N), 1 for paper; row 0 is ``half_mm`` on the lower-edge side of the axis."""
    y = np.linspace(-half_mm, half_mm, rows)[:, None]
    if kind in ("plain", "barbs"):
        return _wire(y, stretch, barbed=kind == "barbs")
    if kind == "groove":
        return _groove(y, stretch)
    return _prism(kind, y, stretch)


def ideal_edges(kind: str, stretch: Stretch) -> tuple[Array, Array]:
    """Return both edges (mm, signed; +y is the upper edge) of an ideal strip."""
    if kind in ("plain", "barbs"):
        return stretch.radius_mm, -stretch.radius_mm
    if kind == "groove":
        return stretch.radius_mm * _tooth(stretch.crests), -stretch.radius_mm * _tooth(stretch.crests - 0.5)
    corners = _corners(kind, stretch)
    heights = np.array([length * np.cos(angle) for length, angle in corners])
    return heights.max(axis=0), heights.min(axis=0)


def _corners(kind: str, stretch: Stretch) -> list[tuple[Array, Array]]:
    """Distance from the axis (mm) and angle from the upper edge (rad) of every corner."""
    count = 3 if kind == "triangle" else 4
    turn = 2.0 * np.pi * stretch.crests / count
    low = LOW_CORNER if kind == "rhombus" else 1.0
    return [(stretch.radius_mm * (low if k % 2 else 1.0), turn + 2.0 * np.pi * k / count) for k in range(count)]


def _prism(kind: str, y: Array, stretch: Stretch) -> Array:
    corners = _corners(kind, stretch)
    top = np.full((len(y), len(stretch.x_mm)), -np.inf)
    grey = np.full(top.shape, PAPER)
    for k, (r0, a0) in enumerate(corners):
        r1, a1 = corners[(k + 1) % len(corners)]
        y0, y1 = r0 * np.cos(a0), r1 * np.cos(a1)
        z0, z1 = -stretch.hand * r0 * np.sin(a0), -stretch.hand * r1 * np.sin(a1)
        share = (y - y0) / np.where(np.abs(y1 - y0) < 1e-9, 1e-9, y1 - y0)
        z = z0 + share * (z1 - z0)
        over = (share >= 0.0) & (share <= 1.0) & (z > top)
        normal = np.arctan2((z0 + z1) / 2.0, (y0 + y1) / 2.0)
        top, grey = np.where(over, z, top), np.where(over, _shade(normal)[None, :], grey)
    return grey


def _shade(angle_rad: Array) -> Array:
    """Brightness of a side whose outward normal stands at this angle from +y, 90 deg facing the camera."""
    return np.asarray(DARK + (BRIGHT - DARK) * np.clip(np.cos(angle_rad - np.pi / 2.0 - LIGHT_RAD), 0.0, 1.0) ** 2)


def _wire(y: Array, stretch: Stretch, *, barbed: bool) -> Array:
    radius = np.broadcast_to(stretch.radius_mm, (len(y), len(stretch.x_mm)))
    grey = np.where(np.abs(y) < radius, _shade(np.arccos(np.clip(y / radius, -1.0, 1.0))), PAPER)
    if not barbed:
        return grey
    for k, at in enumerate(np.arange(stretch.x_mm[0] + 0.25, stretch.x_mm[-1], 0.55)):
        side, along = (1.0, 0.4, -1.0, -0.3)[k % 4], stretch.x_mm - at - 0.11 * (k * 7 % 5) / 5.0
        lifted = (along > 0.0) & (along < 0.45)
        reach = radius * (1.0 + 0.8 * np.clip(along, 0.0, 0.45) / 0.45)
        sliver = lifted & (y * side > 0.75 * radius * abs(side)) & (y * side < reach * abs(side))
        grey = np.where(sliver, DARK if k % 2 else BRIGHT, grey)
    return grey


def _tooth(turns: Array) -> Array:
    """Radius over the enclosing one: a crest at whole turns, steep toward the handle, gentle toward the tip."""
    u = np.mod(turns, 1.0)
    fall = u / STEEP
    rise = (u - STEEP) / (1.0 - STEEP)
    return np.where(u < STEEP, 1.0 - (1.0 - CORE) * fall, CORE + (1.0 - CORE) * rise)


def _groove(y: Array, stretch: Stretch) -> Array:
    """Rays from above meet the saw-toothed cone: the radius at the place met is found by a few steps of iteration."""
    big = np.broadcast_to(stretch.radius_mm, (len(y), len(stretch.x_mm)))
    tooth = np.ones(big.shape)
    for _ in range(6):
        angle = -stretch.hand * np.arccos(np.clip(y / (big * tooth), -1.0, 1.0))
        tooth = 0.5 * (tooth + _tooth(stretch.crests - angle / (2.0 * np.pi)))
    upper, lower = ideal_edges("groove", stretch)
    slope = np.gradient(big * tooth, axis=1) / np.gradient(stretch.x_mm)
    grey = _shade(np.arccos(np.clip(y / (big * tooth), -1.0, 1.0))) * np.clip(0.75 + 0.6 * slope, 0.25, 1.1)
    return np.asarray(np.where((y < upper) & (y > lower), grey, PAPER))
