"""Sight -> Subject: the one instrument on the sheet, how much of its working part the frame shows, and the light around it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.axis import Axis, trace_axis
from vision.channels import LUMINANCE, weighted
from vision.find import find_instruments
from vision.live.run_on import run_on
from vision.live.sight import Sight
from vision.plane import Plane, look_down

Array = NDArray[np.floating[Any]]
Image = NDArray[np.float32]
Mask = NDArray[np.bool_]
LEAST_PX_PER_MM = 4.0  # of the reduced picture: coarser ones show no shaft
PLANE_PX = 330_000  # a sheet that lies askew in the picture fills half of its own plane; time goes by the whole of it
NEAR_MM = 3.0  # around the instrument, where glare costs most
SHORT_MM = 18.0  # of metal: less may have lost a pale tip in the reduced picture
THICKEST_MM = 0.9  # half a size 140 (1.72 mm): whatever seems thicker has a mirrored lamp or a shadow in it
METAL_MM = 0.4  # left out around the instrument itself, whose own glints are no glare
CLIPPED = 0.96  # linear light of sRGB code 250
BRIGHT_PAPER, BRIGHT_INK = 1.5, 0.5  # of the paper's usual light: paper or ink that mirrors a lamp


@dataclass(frozen=True)
class Subject:
    """``axis_px`` (N, 2): frame px from the tip on, some 3 px apart; ``half_mm``: half the greatest width of the thin part.

    ``seen_mm``: length of metal in the frame from its tip on; ``margin_mm``: from the tip to the frame's nearest border;
    ``whole``: the handle's front or the metal's other end is in the frame.
    """

    axis_px: Array
    half_mm: float
    seen_mm: float
    margin_mm: float
    whole: bool


@dataclass(frozen=True)
class Light:
    """``paper``: linear light of bare paper, 1 is as bright as a picture can be; ``clipped``: share of it that is;
    ``glare``: share of the paper and ink near the instrument that mirrors a lamp.
    """

    paper: float
    clipped: float
    glare: float


def see_subjects(sight: Sight) -> tuple[list[Subject], Light | None]:
    """Find what lies on the sheet, longest first, and measure the light. Too coarse a frame gives nothing."""
    if sight.px_per_mm / sight.shrink < LEAST_PX_PER_MM:
        return [], None
    plane = look_down(sight.small, sight.scale, PLANE_PX)
    found = find_instruments(replace(plane, rgb=plane.rgb.copy()), sight.corners_mm)  # which uses the picture up
    axes = [axis for one in found.candidates if (axis := trace_axis(plane, sight.scale, one)) is not None]
    light = _light(plane, _away_mm(sight, plane, axes))
    seen = (_subject(sight, axis, light.paper) for axis in axes)
    return sorted(seen, key=lambda one: -one.seen_mm), light


def _subject(sight: Sight, axis: Axis, paper: float) -> Subject:
    inside = _within(axis.px, sight.small.rgb.shape)
    tip = axis.tip_index if axis.tip_index is not None else int(np.argmax(inside))
    front = axis.front_index
    end = front if front is not None and front > tip else len(axis.px)
    shown = np.flatnonzero(inside[tip:end])
    last = tip + (int(shown[-1]) if len(shown) else 0)
    px = sight.to_frame(axis.px[tip : last + 1])
    if _length(px) < SHORT_MM * sight.px_per_mm:
        px = run_on(sight, px, paper)
    size = np.array([sight.frame.width_px, sight.frame.height_px])
    margin = float(min(px[0].min(), (size - 1 - px[0]).min())) if axis.tip_index is not None else 0.0
    whole = front is not None and bool(inside[min(front, len(inside) - 1)])
    return Subject(px, min(axis.half_mm, THICKEST_MM), _length(px) / sight.px_per_mm, margin / sight.px_per_mm, whole)


def _length(px: Array) -> float:
    return float(np.linalg.norm(np.diff(px, axis=0), axis=1).sum())


def _within(px: Array, shape: tuple[int, ...]) -> Mask:
    return np.asarray(((px >= 1.0) & (px <= [shape[1] - 2.0, shape[0] - 2.0])).all(axis=1))


def _light(plane: Plane, away_mm: Image) -> Light:
    grey = np.asarray(weighted(plane.rgb, LUMINANCE))
    bare = plane.inside & (away_mm > METAL_MM)
    white, ink = bare & (plane.printed > 0.9), bare & (plane.printed < 0.1)
    if not white.any():
        return Light(0.0, 0.0, 0.0)
    paper = float(np.median(grey[white]))
    mirrored = (white & (grey > min(CLIPPED, BRIGHT_PAPER * paper))) | (ink & (grey > BRIGHT_INK * paper))
    around = (white | ink) & (away_mm < NEAR_MM)
    return Light(paper, float((grey[white] > CLIPPED).mean()), float(mirrored[around].mean()) if around.any() else 0.0)


def _away_mm(sight: Sight, plane: Plane, axes: list[Axis]) -> Image:
    """Distance of every plane pixel from the nearest instrument (0 within), mm; all count as near where there is none."""
    if not axes:
        return np.full(plane.inside.shape, NEAR_MM / 2.0, dtype=np.float32)
    least = np.full(plane.inside.shape, np.inf, dtype=np.float32)
    for axis in axes:
        end = len(axis.px) if axis.front_index is None else axis.front_index - round((NEAR_MM + 0.5) * plane.px_per_mm)
        shaft = axis.px[: max(end, 2)]  # a white handle beside it is as bright as a mirrored lamp
        mm = sight.scale.to_plane_mm(shaft[:: max(len(shaft) // 200, 1)])
        spots = np.round((mm - [plane.x0_mm, plane.y0_mm]) * plane.px_per_mm - 0.5).astype(np.int32)
        free = np.ones(plane.inside.shape, dtype=np.uint8)
        cv2.polylines(free, [spots], False, 0)
        distance = cv2.distanceTransform(free, cv2.DIST_L2, 3) / plane.px_per_mm
        least = np.minimum(least, np.maximum(np.asarray(distance) - min(axis.half_mm, THICKEST_MM), 0.0), dtype=np.float32)
    return least
