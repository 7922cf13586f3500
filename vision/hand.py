"""Stage 6i: Strip, Outline -> hand of twist, from the slant of the edges on the face.

An outline is the same for both hands, but it tells where on the face every edge of the blank must run: down across it
toward the handle for a right-hand twist, up across it for a left-hand one. Of these two sets of lines one follows real
steps of brightness. A mirrored photo changes the two sets over, so its answer is the other hand, exactly.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter, map_coordinates

from vision.blank import BlankEvidence, chosen_twist
from vision.lead import groove_angles
from vision.outline import Outline
from vision.place import Profile
from vision.reading import Hand
from vision.strip import Strip
from vision.twist_path import TwistPath

Array = NDArray[np.floating[Any]]
FACE = 0.75  # of the radius on either side of the axis: beyond, the outline's own edge blurs in
LEAST_RADIUS_PX = 4.0
PIECES = 3  # each passage of an edge across the face is judged in so many pieces
SHIFTS = np.linspace(-0.35, 0.35, 9)  # rad by which the face's edges may stand off the outline's phase
STEP_MM = 0.02
LEAST_PASSAGES = 6
LEAST_U = 0.01
NOISE = 0.02  # log light that a step must clear to mean anything
LEAST_ZONE_STEPS, LEAST_ZONE_PASSAGES, MOST_ODDS = 20, 2, 6.0  # our own choice
DECIDED_U = 3.0  # standard errors by which one hand must lead


@dataclass(frozen=True)
class HandSeen:
    """``lead``: by how much more the steps of brightness follow right-hand edges than left-hand ones (coherence, 0 to 1 each),
    its standard error over the passages of an edge across the face, and how many of those there were.
    """

    lead: float
    u: float
    passages: int

    @property
    def hand(self) -> Hand | None:
        """The hand, None unless one leads by ``DECIDED_U`` standard errors."""
        if abs(self.lead) < DECIDED_U * self.u:
            return None
        return "right" if self.lead > 0.0 else "left"


def see_hand(strip: Strip, profile: Profile, outline: Outline, evidence: BlankEvidence) -> HandSeen | None:
    """Compare both hands on the face of the best twisted blank; None where there is no twist or too little of a face."""
    turned = _turning(outline, evidence)
    if turned is None:
        return None
    theta, span, corners = turned
    x = np.arange(span[0], span[1], STEP_MM)
    lines = _face_of(strip, profile, x, theta(x), corners)
    if lines is None:
        return None
    right, left = _coherence(lines, -1.0), _coherence(lines, 1.0)
    return None if len(right) < LEAST_PASSAGES or len(left) < LEAST_PASSAGES else _compared(right, left)


def odds_of_same_hand(strip: Strip, profile: Profile, path: TwistPath, zone_mm: tuple[float, float], whole: HandSeen) -> float | None:
    """Log odds that the faces of a zone run as those of the ``whole`` blank do, along the twist that its outline shows; None where too
    few edges cross them, or the whole blank's hand is not seen.

    A zone that turns back while its outline was taken for one that turns onward shows the other hand. The coherence of a passage is
    taken for normal, of the whole blank's lead and spread.
    """
    if whole.hand is None:
        return None
    x = np.arange(max(path.x_mm[0], 0.0), path.x_mm[-1], STEP_MM)
    lines = _face_of(strip, profile, x, np.interp(x, path.x_mm, path.theta_rad), path.corners)
    inside = (x >= zone_mm[0]) & (x <= zone_mm[1])
    if lines is None or inside.sum() < LEAST_ZONE_STEPS:
        return None
    right, left = (_coherence(lines.within(inside), side) for side in (-1.0, 1.0))
    count = min(len(right), len(left))
    if count < LEAST_ZONE_PASSAGES:
        return None
    lead, variance = float(right.mean() - left.mean()), whole.u**2 * whole.passages
    return float(np.clip(2.0 * whole.lead * lead * count / variance, -MOST_ODDS, MOST_ODDS))


def _face_of(strip: Strip, profile: Profile, x: Array, theta: Array, corners: int) -> _Face | None:
    """What the lines of edges are laid on, at x; None where too little of the outline is seen, or it is too thin."""
    column = np.interp(x, profile.x_mm, profile.column)
    upper, lower = (np.interp(x, profile.x_mm, edge) for edge in (profile.upper_mm, profile.lower_mm))
    good = np.isfinite(upper) & np.isfinite(lower)
    if good.mean() < 0.6:
        return None
    px_per_mm = np.gradient(column, x)
    middle, radius = _smooth((upper + lower) / 2.0, x), _enclosing((upper - lower) / 2.0, x)
    if float(np.median(radius * px_per_mm)) < LEAST_RADIUS_PX:
        return None
    face = np.log(np.maximum(strip.values, 0.02))
    sigma = max(0.8, 0.06 * float(np.median(radius * px_per_mm)))
    slopes = gaussian_filter(face, sigma, order=(1, 0)), gaussian_filter(face, sigma, order=(0, 1))
    return _Face(column, middle * px_per_mm + strip.half_px, radius * px_per_mm, theta, corners, slopes, NOISE / sigma)


def hand_notes(seen: HandSeen | None, *, fluted: bool) -> tuple[str, ...]:
    """Say why no hand is named; nothing where one is, or where there is no twist."""
    if not fluted or (seen is not None and seen.hand is not None):
        return ()
    if seen is None:
        return ("hand of twist is not measured: an outline does not show it, and too little of the face is seen",)
    told = f"{abs(seen.lead) / seen.u:.1f} of {DECIDED_U:.0f} u"
    return (f"hand of twist is not measured: the edges' slant on the face is not clear ({told}): another light may show it",)


@dataclass(frozen=True)
class _Face:
    """Along the axis: column, row of the axis, radius (px) and twist; corners a turn; slopes of brightness down and along."""

    column: Array
    axis_row: Array
    radius_px: Array
    theta: Array
    corners: int
    slopes: tuple[Array, Array]
    noise: float

    def within(self, inside: NDArray[np.bool_]) -> _Face:
        """A stretch of it."""
        rows = self.column[inside], self.axis_row[inside], self.radius_px[inside], self.theta[inside]
        return _Face(*rows, self.corners, self.slopes, self.noise)


def _turning(outline: Outline, evidence: BlankEvidence) -> tuple[Callable[[Array], Array], tuple[float, float], int] | None:
    """Twist as a function of x, where it is known, and edges a turn."""
    fit = chosen_twist(outline, evidence)
    if fit is not None:
        return fit.theta_rad, fit.span_mm, fit.blank.corners
    if evidence.best != "groove":
        return None
    x, turn = groove_angles(outline.upper, outline.lower)
    if len(x) < 4:
        return None
    return (lambda at: np.interp(at, x, turn)), (float(x[0]), float(x[-1])), 1


def _smooth(values: Array, x: Array) -> Array:
    good = np.isfinite(values)
    return np.asarray(np.polyval(np.polyfit(x[good], values[good], 3), x))


def _enclosing(half: Array, x: Array) -> Array:
    """Line through the upper part of the half widths: the enclosing radius, near enough for where the face's edges run."""
    good = np.isfinite(half)
    line = np.polyfit(x[good], half[good], 1)
    above = good & (np.nan_to_num(half) > np.polyval(line, x))
    return np.asarray(np.maximum(np.polyval(np.polyfit(x[above], half[above], 1), x), 1e-3))


def _coherence(face: _Face, side: float) -> Array:
    """How well brightness steps across the edges of one hand and nowhere else, 0 to 1 for each passage, at the best common
    shift of phase.

    ``side``: -1 for a right hand, whose edges are toward the camera where the sine of their angle is negative.
    """
    corners = 2.0 * np.pi * np.arange(face.corners) / face.corners
    every = (corners[None, :] - side * SHIFTS[:, None]).reshape(-1, 1)  # all shifts, and in each all corners' lines
    found, line = _passages(face, face.theta + every, side)
    of_shift = [found[line // face.corners == k] for k in range(len(SHIFTS))]
    return max(of_shift, key=lambda one: one.mean() if len(one) else -np.inf)


def _passages(face: _Face, angle: Array, side: float) -> tuple[Array, NDArray[np.int_]]:
    """Coherence of every time that one of the lines (L, N), each a corner's, crosses the face; and which line it is."""
    height = np.cos(angle)
    seen = (np.sin(angle) * side > 0.0) & (np.abs(height) < FACE)
    rows = face.axis_row + face.radius_px * height
    down = np.gradient(rows, face.column, axis=1)[seen]
    spots = [rows[seen], np.broadcast_to(face.column, rows.shape)[seen]]
    across, along = (map_coordinates(slope, spots, order=1, mode="nearest") for slope in face.slopes)
    step, power = np.zeros((2, *seen.shape))
    step[seen], power[seen] = (across - along * down) / np.hypot(1.0, down), across**2 + along**2
    apart = np.pad(seen, ((0, 0), (0, 1)))  # no run goes on from one line to the next
    runs = np.flatnonzero(np.diff(np.concatenate([[0], apart.ravel().astype(int), [0]])))
    first, length = runs[::2], runs[1::2] - runs[::2]
    long = length >= 2 * PIECES
    line, at = np.divmod(first[long], apart.shape[1])
    return _coherences(step.ravel(), power.ravel(), line * seen.shape[1] + at, length[long], face.noise**2), line


def _coherences(step: Array, power: Array, first: NDArray[np.int_], length: NDArray[np.int_], noise: float) -> Array:
    """Squared mean step over mean squared slope, piece by piece: the light may turn on the way across."""
    if not len(first):
        return np.empty(0)
    sizes = length[:, None] // PIECES + (np.arange(PIECES) < length[:, None] % PIECES)
    edges = first[:, None] + np.concatenate([np.zeros((len(first), 1), dtype=int), np.cumsum(sizes, axis=1)], axis=1)
    means = [
        np.add.reduceat(np.append(values, 0.0), edges.ravel()).reshape(edges.shape)[:, :-1] / sizes for values in (step, power)
    ]
    return np.asarray((means[0] ** 2 / (means[1] + noise)).mean(axis=1))


def _compared(right: Array, left: Array) -> HandSeen:
    lead = float(right.mean() - left.mean())
    u = float(np.sqrt(right.var(ddof=1) / len(right) + left.var(ddof=1) / len(left)))
    return HandSeen(lead, max(u, LEAST_U), min(len(right), len(left)))
