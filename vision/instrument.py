"""Stages 4 to 6 for one candidate: Photo, Scale, Plane, Candidate -> what was measured of it. ``judged`` names and judges it."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import partial
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.axis import Axis, trace_axis
from vision.blank import BlankEvidence, weigh_blanks
from vision.clues import Extra
from vision.edge_lines import Edges
from vision.edges import locate_edges
from vision.end_doubts import doubted as doubted_ends
from vision.ends import at_border, cut_short, front_mm, part_end_mm, stop_span
from vision.find import Candidate
from vision.fitness import in_doubt
from vision.flutes import seen_period
from vision.glare import hides_tip, marks_in_light, without_glare
from vision.grips import PLAIN_CHROMA, WHOLE_MM2
from vision.hand import HandSeen, see_hand
from vision.handle import NO_SPOTS, Spots, grip_on_plane
from vision.held_signs import height_signs
from vision.marks import Marks, read_marks
from vision.named import named
from vision.near_handle import width_near_handle
from vision.openings import before_screen
from vision.outline import Outline, read_outline
from vision.past_kink import past_kink
from vision.photo import LINEAR, Photo
from vision.place import Profile, to_profile
from vision.plane import Plane
from vision.pose import ON_PLANE, Height, doubted, free_against_held, held, resting
from vision.quantity import Quantity
from vision.run_on import follow
from vision.scale import Scale
from vision.seen_height import SeenHeight, see_height
from vision.setup import GIVEN, HeldEvidence, Setup, held_evidence, recognise, weighed_by_height
from vision.shade import in_deep_shade
from vision.tip import Tip, find_tip

Array = NDArray[np.floating[Any]]
LEAST_SHAFT_MM, LEAST_SEEN, THICKEST_MM = 5.0, 0.5, 2.2  # a size 140 reaches 1.72 mm
GRIPPED_MM = 40.0  # from handle to tip: 31 mm, and what is made longer for the jaw's far teeth; beyond, it is led on by something else
LEAST_STEPPED = (0.25, 0.25, 0.05, -1.0)  # share of columns, by the rank of the handle: a coloured one is no shadow
CUT_NEAR_MM = 0.5
COLOURED = 2  # rank of a handle from which on it is surely one
BLACK_LIGHT, AROUND_MM, SOME = 0.3, 3.0, 7  # of a black handle over the paper's about it; of its px every so many are looked at
OWN_LINE_MM = 1.0  # a shaft lies no farther aside of the line that finding followed through a crossing
COARSE_PX_PER_MM = 40.0  # below, an outline is astray more often: crossings, shadows, print


@dataclass(frozen=True)
class Measured:
    """What stages 4 to 6 made of one candidate; the stages after it and the pictures read from here."""

    axis: Axis
    edges: Edges
    tip: Tip
    height: Height
    profile: Profile
    outline: Outline
    evidence: BlankEvidence
    stop_mm: tuple[float, float] | None
    front_mm: Quantity | None
    last_mm: float
    scale_at: Quantity
    marks: Marks
    whole: bool
    setup: Setup = GIVEN
    held: HeldEvidence | None = None
    handle_mm: float | None = None
    grip: Spots = field(default_factory=lambda: NO_SPOTS)
    hand: HandSeen | None = None

    @property
    def extra(self) -> Extra:
        """What speaks for a family beside outline and dimensions."""
        coarse = self.scale_at.value < COARSE_PX_PER_MM
        bare = self.front_mm is None and self.handle_mm is None and self.whole
        wire = None if self.front_mm is None else width_near_handle(self.profile, self.front_mm.value, self.stop_mm)
        return Extra(
            None if self.hand is None else self.hand.hand, self.tip.blunt, bare=bare,
            wire_mm=wire, coarse=coarse, shaded_mm=seen_period(self.edges, self.profile, self.scale_at.value) if coarse else None,
        )  # fmt: skip


def measure_candidate(
    photo: Photo, scale: Scale, plane: Plane, candidate: Candidate, *, down: bool, on_line: bool = False
) -> Measured | None:
    """Axis, edges, ends, pose, mm, outline and section evidence; None when the thing has no outline to read.

    ``on_line``: what lies beside the line as found is another's (``vision.stray``).
    """
    axis = trace_axis(plane, scale, candidate)
    if axis is None:
        return None
    middle = axis.px[len(axis.px) // 2]
    scale_at = scale.px_per_mm_at((float(middle[0]), float(middle[1])))
    lit_at = partial(before_screen, plane, scale, candidate.lit)
    most_aside = OWN_LINE_MM * scale_at.value if on_line else np.inf
    led, gripped = candidate.rank >= COLOURED, _surely_gripped(photo, scale, plane, candidate)
    axis, edges = follow(photo, axis, scale_at.value, lit_at, led=led, gripped=gripped, most_aside_px=most_aside)
    turned = axis if on_line else past_kink(photo, plane, scale, candidate, axis, edges, scale_at.value)
    if turned is not axis:
        axis, edges = turned, locate_edges(photo, turned, scale_at.value, before_screen(plane, scale, candidate.lit, turned.px))
    edges = replace(edges.within(photo.width_px, photo.height_px), smoothed_px=scale.smoothed_px)
    edges, burnt = without_glare(photo, edges, scale_at.value)
    marks = marks_in_light(read_marks(edges.kinds, scale_at.value), burnt)
    marks = doubted_ends(marks, edges, axis, scale_at.value, wavers=in_doubt(edges), gripped=gripped)
    marks = replace(marks, part_end_hidden=marks.part_end_hidden or cut_short(axis, photo, marks, scale_at.value))
    tip = find_tip(edges, axis, scale_at.value, marks.tip, cut_tip=_is_tip_cut(photo, axis, marks, scale_at.value))
    hidden = None if tip.column is None else hides_tip(photo, edges, burnt, tip.column, scale_at.value)
    tip = tip if hidden is None else Tip(None, 0.0, None, None, hidden)
    tip_column = tip.column if tip.column is not None else float(axis.tip_index or 0)
    front_at = _front_column(axis, marks)
    if not np.isfinite(edges.upper_px - edges.lower_px)[max(int(tip_column), 0) : int(front_at)].any():
        return None
    width = (edges.upper_px - edges.lower_px) / scale_at.value
    lit = before_screen(plane, scale, candidate.lit, axis.px)
    setup = recognise(scale, plane, candidate, axis, lit)
    signs = height_signs(photo, scale, edges, scale_at.value, (int(tip_column), int(front_at))) if down and scale.sheet else None
    checked = None if signs is None else held_evidence(setup, signs, scale_at.value, scale.camera.height_mm.value)
    looks = see_height(edges, scale_at.value, tip_column, front_at)
    height, checked = _height(scale, width, tip_column, front_at, candidate, plane, down, checked, looks)
    seen = _in_mm(photo, scale, plane, candidate, axis, edges, tip, marks, scale_at, height)
    return None if seen is None else replace(seen, setup=setup, held=checked)


def at_height(photo: Photo, scale: Scale, plane: Plane, candidate: Candidate, seen: Measured, height: Height) -> Measured | None:
    """Take the outlines already found to mm at another height, as several photos together give it."""
    again = _in_mm(photo, scale, plane, candidate, seen.axis, seen.edges, seen.tip, seen.marks, seen.scale_at, height)
    return None if again is None else replace(again, setup=seen.setup, held=seen.held)


def _in_mm(
    photo: Photo,
    scale: Scale,
    plane: Plane,
    candidate: Candidate,
    axis: Axis,
    edges: Edges,
    tip: Tip,
    marks: Marks,
    scale_at: Quantity,
    height: Height,
) -> Measured | None:
    tip_column = tip.column if tip.column is not None else float(axis.tip_index or 0)
    front_at = _front_column(axis, marks)
    profile = to_profile(edges, scale, height, tip_column, front_at)
    stop = stop_span(plane, scale, candidate, profile, edges, marks)
    front = front_mm(photo, scale, plane, candidate, axis, profile, height, marks)
    if front is not None and in_deep_shade(photo, scale, plane, candidate.off, edges, front[1]):
        front = None
    last = float(np.interp(front[1] if front else front_at, profile.column, profile.x_mm)) - 0.25
    if not _is_shaft(profile, last, candidate.rank) or not _has_edges(edges, profile, last, candidate.rank):
        return None
    end, hidden = part_end_mm(profile, marks), marks.part_end_hidden
    outline = read_outline(profile, from_mm=0.0, to_mm=last, clear_of_mm=stop, part_end=end, end_hidden=hidden)
    evidence = weigh_blanks(outline, named(edges.names))
    return Measured(
        axis,
        edges,
        tip,
        height,
        profile,
        outline,
        evidence,
        stop,
        front and front[0],
        last,
        scale_at,
        marks,
        whole=not candidate.cut,
        handle_mm=_handle_thickness(candidate, plane),
        grip=grip_on_plane(scale, plane, edges.strip.axis_px, edges.kinds, None if marks.front is None else marks.front.column),
        hand=see_hand(edges.strip, profile, outline, evidence),
    )


def _surely_gripped(photo: Photo, scale: Scale, plane: Plane, candidate: Candidate) -> bool:
    """Whether its handle was told by colour, or by being black, and is as large as one is: a stop is smaller. Of a white one its shadow may
    have been found with it, or alone."""
    if candidate.rank < COLOURED or candidate.handle.sum() <= WHOLE_MM2 * plane.px_per_mm**2:
        return False
    spots = np.argwhere(candidate.handle)[::SOME, ::-1] + np.array(candidate.offset_px, dtype=float)
    at = np.rint(scale.to_px(plane.to_mm(spots))).astype(int)
    room = round(AROUND_MM * scale.px_per_mm_at((float(at[0, 0]), float(at[0, 1]))).value)
    low, high = np.maximum(at.min(axis=0) - room, 0), at.max(axis=0) + room
    around = LINEAR[photo.rgb[low[1] : high[1] : 4, low[0] : high[0] : 4]]
    paper = float(np.percentile(around.mean(axis=2), 90))
    light = LINEAR[photo.rgb[tuple(np.clip(at, 0, [photo.width_px - 1, photo.height_px - 1]).T[::-1])]]
    return bool(np.median(np.ptp(light, axis=1)) > PLAIN_CHROMA * paper or np.median(light) < BLACK_LIGHT * paper)


def _is_tip_cut(photo: Photo, axis: Axis, marks: Marks, px_per_mm: float) -> bool:
    """Whether the border cuts the metal before its tip. Where finding and network disagree, a mark near the border is not believed."""
    if marks.tip is None or axis.tip_index is None or not at_border(photo, axis, axis.tip_index):
        return at_border(photo, axis, _tip_guess(axis, marks))
    return at_border(photo, axis, _tip_guess(axis, marks), max(2.0 * marks.tip.u, CUT_NEAR_MM * px_per_mm))


def _tip_guess(axis: Axis, marks: Marks) -> int | None:
    """Column of the tip as the network marks it, else as found: a fibre or a shadow beyond the metal may have been found with it."""
    return axis.tip_index if marks.tip is None else round(marks.tip.column)


def _front_column(axis: Axis, marks: Marks) -> float:
    """Column of the handle's front, that of the cut end where no front is in the frame."""
    if marks.front is not None:
        return marks.front.column
    return float(axis.front_index if axis.front_index is not None else len(axis.px) - 1)


def _typical(width: Array, tip_column: float, span: float, low: float, high: float) -> float:
    """Median width over a stretch of the shaft, over all of it where nothing is seen there."""
    part = width[max(int(tip_column + low * span), 0) : int(tip_column + high * span)]
    whole = width[max(int(tip_column), 0) : int(tip_column + span)]
    return float(np.nanmedian(part if np.isfinite(part).any() else whole))


def _height(
    scale: Scale,
    width_mm: Array,
    tip_column: float,
    front_column: float,
    candidate: Candidate,
    plane: Plane,
    down: bool,
    checked: HeldEvidence | None,
    looks: SeenHeight | None,
) -> tuple[Height, HeldEvidence | None]:
    """Choose the pose model from what is seen: widths near both ends, the handle's thickness, readings of height."""
    if scale.sheet is None:
        return ON_PLANE, checked
    span = front_column - tip_column
    shank, tip = _typical(width_mm, tip_column, span, 0.75, 0.97), _typical(width_mm, tip_column, span, 0.02, 0.08)
    thick = _handle_thickness(candidate, plane)
    free = resting(tip, thick, looks)
    if not down:
        return free, checked
    if looks is not None and checked is not None:
        checked = weighed_by_height(checked, free_against_held(shank, tip, thick, looks), looks)
    if checked is not None and checked.refused:
        return free, checked
    contradicted = checked is not None and checked.verdict == "contradicted"
    pose = held(shank, tip, looks)
    return (doubted(pose, free) if contradicted else pose), checked


def _handle_thickness(candidate: Candidate, plane: Plane) -> float | None:
    if candidate.handle.sum() < 4.0 * plane.px_per_mm**2:
        return None
    inner = cv2.distanceTransform(np.pad(candidate.handle, 1).astype(np.uint8), cv2.DIST_L2, 5)
    return 2.0 * float(inner.max()) / plane.px_per_mm


def _is_shaft(profile: Profile, last_mm: float, rank: int) -> bool:
    """Whether the outline can be an instrument's: long enough, mostly seen on both edges, never thicker than any shaft."""
    inside = (profile.x_mm > 0.0) & (profile.x_mm < last_mm)
    width = (profile.upper_mm - profile.lower_mm)[inside]
    if last_mm < LEAST_SHAFT_MM or (rank and last_mm > GRIPPED_MM) or np.isfinite(width).mean() < LEAST_SEEN:
        return False
    return bool(np.nanmedian(width) < THICKEST_MM and np.nanmedian(width) > 0.02)


def _has_edges(edges: Edges, profile: Profile, last_mm: float, rank: int) -> bool:
    """Whether brightness really steps along both outlines; the dim border of a soft shadow has no such steps."""
    inside = (profile.x_mm > 0.0) & (profile.x_mm < last_mm)
    stepped = np.isfinite(edges.outer_px[:, inside]).all(axis=0)
    return bool(stepped.mean() > LEAST_STEPPED[rank])
