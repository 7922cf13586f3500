"""Stage 4 of 9: Candidate -> Axis. The curved centre line from tip to handle, and which end is the tip."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import BSpline

from vision.find import Candidate
from vision.plane import Plane
from vision.scale import Scale

Array = NDArray[np.floating[Any]]
BIN_MM = 0.2
KNOT_MM = 4.0
STIFF = 0.3  # of the second differences of the spline's coefficients: a bend of 8 mm radius moves by under 0.02 mm
BEYOND_MM = (3.0, 5.5)  # the axis runs this far past the metal as first seen: at the tip, and into the handle


@dataclass(frozen=True)
class Axis:
    """Dense centre line (N, 2) in px, about 1 px apart, from beyond the tip to the handle (or to the cut end).

    ``tip_index`` and ``front_index`` tell the columns nearest the seen tip and the handle's front (None if out of the
    frame); ``half_mm`` is half the greatest width of the thin part as seen, mm on the sheet's plane. ``by_handle``: a handle
    was seen to tell the ends apart by; else the width did.
    """

    px: Array
    tip_index: int | None
    front_index: int | None
    half_mm: float
    by_handle: bool = True


def trace_axis(plane: Plane, scale: Scale, candidate: Candidate) -> Axis | None:
    """Trace the centre line; None when the thin part is too ragged to have one."""
    spots = _points_mm(plane, candidate, candidate.thin)
    centre, direction = _principal(spots)
    along, across = _turned(spots, centre, direction)
    middle, half = _midline(along, across)
    if len(middle) < 8:
        return None
    direction_sign = _toward_handle(plane, candidate, centre, direction, middle, half)
    if direction_sign < 0:
        direction = -direction
        middle = middle[::-1] * [-1.0, -1.0]
        half = half[::-1]
    whole_along, _ = _turned(_points_mm(plane, candidate, candidate.whole & ~candidate.handle), centre, direction)
    ends = float(whole_along.min()), _front(plane, candidate, centre, direction, float(whole_along.max()))
    before = middle[:, 0] < ends[1] - 0.3
    if before.sum() < 8:
        return None
    middle, half = middle[before], half[before]
    curve = _smooth(middle)
    span = np.arange(ends[0] - BEYOND_MM[0], ends[1] + BEYOND_MM[1], 0.02)
    offset = _extended(curve, span, (middle[0, 0], middle[-1, 0]))
    normal = np.array([-direction[1], direction[0]])
    line_mm = centre + span[:, None] * direction + offset[:, None] * normal
    px = _every_px(scale.to_px(line_mm))
    return Axis(
        px,
        _nearest(px, scale, line_mm, span, ends[0]),
        _nearest(px, scale, line_mm, span, ends[1]),
        float(np.percentile(half, 90)),
        bool(candidate.handle.any()),
    )


def _front(plane: Plane, candidate: Candidate, centre: Array, direction: Array, last: float) -> float:
    """Where the handle begins along the axis; the end of the metal when no handle is seen."""
    if not candidate.handle.any():
        return last
    along, _ = _turned(_points_mm(plane, candidate, candidate.handle), centre, direction)
    return float(np.percentile(along, 1))


def _points_mm(plane: Plane, candidate: Candidate, mask: NDArray[np.bool_]) -> Array:
    v, u = np.nonzero(mask)
    return plane.to_mm(np.column_stack([u + candidate.offset_px[0], v + candidate.offset_px[1]]).astype(float))


def _principal(spots: Array) -> tuple[Array, Array]:
    centre = np.median(spots, axis=0)
    _, _, v = np.linalg.svd(spots - spots.mean(axis=0), full_matrices=False)
    return centre, v[0]


def _turned(spots: Array, centre: Array, direction: Array) -> tuple[Array, Array]:
    moved = spots - centre
    return moved @ direction, moved @ np.array([-direction[1], direction[0]])


def _midline(along: Array, across: Array) -> tuple[Array, Array]:
    """Middle of the mask in bins along the axis: rows (along, across), and the half width of each bin."""
    index = np.floor((along - along.min()) / BIN_MM).astype(int)
    counts = np.bincount(index)
    ordered = across[np.lexsort((across, index))]
    bins = np.flatnonzero(counts >= 2)
    first = (np.cumsum(counts) - counts)[bins]
    low, high = (_within_bin(ordered, first, counts[bins], share) for share in (0.04, 0.96))
    mean = np.bincount(index, weights=along)[bins] / counts[bins]
    return np.column_stack([mean, (low + high) / 2.0]), (high - low) / 2.0


def _within_bin(ordered: Array, first: NDArray[np.int_], counts: NDArray[np.int_], share: float) -> Array:
    """Quantile of the values of each bin, which stand in order from ``first`` on."""
    place = (counts - 1) * share
    low = np.floor(place).astype(int)
    below, above = ordered[first + low], ordered[first + np.minimum(low + 1, counts - 1)]
    return np.asarray(below + (above - below) * (place - low))


def _toward_handle(
    plane: Plane, candidate: Candidate, centre: Array, direction: Array, middle: Array, half: Array
) -> float:
    """+1 when the axis direction runs toward the handle: by the handle if seen, else by the growing width."""
    if candidate.handle.any():
        at, _ = _turned(_points_mm(plane, candidate, candidate.handle), centre, direction)
        return float(np.sign(at.mean() - middle[:, 0].mean()))
    slope = np.polyfit(middle[:, 0], half, 1)[0]
    return 1.0 if slope >= 0.0 else -1.0


def _smooth(middle: Array) -> BSpline:
    """Robust cubic spline through the middles, knots every 4 mm, stiff enough to pass by what a shadow or stop adds to one side."""
    x, y = middle[:, 0], middle[:, 1]
    inner = max(int((x[-1] - x[0]) / KNOT_MM), 1)
    knots = np.concatenate([[x[0]] * 3, np.linspace(x[0], x[-1], inner + 1), [x[-1]] * 3])
    design = BSpline.design_matrix(np.clip(x, x[0], x[-1]), knots, 3).toarray()
    bend = STIFF * np.diff(np.eye(design.shape[1]), 2, axis=0)
    weight = _near_gentle_curve(x, y)
    solution = np.zeros(design.shape[1])
    for _ in range(6):
        rows = np.concatenate([design * weight[:, None], bend])
        solution = np.linalg.lstsq(rows, np.concatenate([y * weight, np.zeros(len(bend))]), rcond=None)[0]
        weight = _trusted(np.abs(y - design @ solution), 0.01)
    return BSpline(knots, solution, 3)


def _near_gentle_curve(x: Array, y: Array) -> Array:
    """How far each middle is to be trusted to begin with: by a line, then by a cubic, each of those that fit the one before.

    A pre-curve leaves a line by much everywhere, and so loses no weight; a stretch that lies aside of all others does.
    """
    weight: Array = np.ones(len(x))
    t = (x - x.mean()) / max(float(np.ptp(x)), 1.0)
    for degree in (1, 1, 1, 3, 3, 3, 3):
        design = np.vander(t, degree + 1)
        solution = np.linalg.lstsq(design * weight[:, None], y * weight, rcond=None)[0]
        weight = _trusted(np.abs(y - design @ solution), 0.03)
    return weight


def _trusted(miss: Array, least_mm: float) -> Array:
    """Weights of rows that fall off fast beyond twice the usual miss."""
    return np.asarray(1.0 / (1.0 + (miss / (2.0 * np.median(miss) + least_mm)) ** 2))


def _extended(curve: BSpline, at: Array, span: tuple[float, float]) -> Array:
    """Evaluate the spline, straight beyond its ends."""
    inside = np.clip(at, *span)
    slope = curve.derivative()(inside)
    return np.asarray(curve(inside) + slope * (at - inside))


def _every_px(line_px: Array) -> Array:
    """Resample a polyline to points 1 px apart."""
    length = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(line_px, axis=0), axis=1))])
    at = np.arange(0.0, length[-1], 1.0)
    return np.column_stack([np.interp(at, length, line_px[:, 0]), np.interp(at, length, line_px[:, 1])])


def _nearest(px: Array, scale: Scale, line_mm: Array, span: Array, at: float) -> int:
    place = scale.to_px(line_mm[[int(np.argmin(np.abs(span - at)))]])[0]
    return int(np.argmin(np.linalg.norm(px - place, axis=1)))
