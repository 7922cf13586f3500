"""Stages 4 to 8 for one candidate: Photo, Scale, Plane, Candidate -> InstrumentReading."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.axis import Axis, trace_axis
from vision.blank import BlankEvidence, chosen_twist, weigh_blanks
from vision.clues import Extra
from vision.condition import Seen, examine
from vision.damage_seen import Part, damage_seen
from vision.dimensions import Dimensions, measure, most_spread_px
from vision.edge_lines import Edges
from vision.edges import locate_edges
from vision.end_doubts import doubted as doubted_ends
from vision.ends import at_border, cut_short, front_mm, part_end_mm, stop_span
from vision.faces import see_faces
from vision.find import Candidate
from vision.fitness import in_doubt, judging_doubts
from vision.glare import hides_tip, marks_in_light, without_glare
from vision.hand import HandSeen, hand_notes, see_hand
from vision.handle import NO_SPOTS, HandleColour, Spots, grip_on_plane, handle_colour, handle_reading
from vision.held_signs import height_signs
from vision.identity import identify
from vision.marks import Marks, read_marks
from vision.named import Named, named
from vision.near_handle import width_near_handle
from vision.openings import before_screen
from vision.outline import Outline, read_outline
from vision.past_kink import past_kink
from vision.photo import Photo
from vision.place import Profile, to_profile
from vision.plane import Plane
from vision.pose import ON_PLANE, Height, doubted, free_against_held, held, resting
from vision.quantity import Quantity
from vision.reading import InstrumentReading
from vision.run_on import follow
from vision.scale import Scale
from vision.seen_height import SeenHeight, see_height
from vision.setup import GIVEN, HeldEvidence, Setup, held_evidence, recognise, setup_notes, weighed_by_height
from vision.shade import in_deep_shade
from vision.tip import Tip, find_tip
from vision.tip_loss import TipLoss, end_reach, lost_tip
from vision.trace import draw_trace
from vision.twist_path import TwistPath
from vision.unwinding import TwistLoss, followed, twist_loss

Array = NDArray[np.floating[Any]]
NEAR_BORDER_PX = 6.0
LEAST_SHAFT_MM, LEAST_SEEN, THICKEST_MM = 5.0, 0.5, 2.2  # a size 140 reaches 1.72 mm
GRIPPED_MM = 40.0  # from handle to tip: 31 mm, and what is made longer for the jaw's far teeth; beyond, it is led on by something else
LEAST_STEPPED = (0.25, 0.25, 0.05, -1.0)  # share of columns, by the rank of the handle: a coloured one is no shadow
COARSE_PX_PER_MM = 40.0  # below, an outline is astray more often: crossings, shadows, print
MOSTLY_LIT = 0.9  # of the working part before the screen: then widths carry the screen's edge budget


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
        bare = self.front_mm is None and self.handle_mm is None and self.whole
        wire = None if self.front_mm is None else width_near_handle(self.profile, self.front_mm.value, self.stop_mm)
        return Extra(
            None if self.hand is None else self.hand.hand, self.tip.blunt, bare=bare,
            wire_mm=wire, coarse=self.scale_at.value < COARSE_PX_PER_MM,
        )  # fmt: skip


def measure_candidate(photo: Photo, scale: Scale, plane: Plane, candidate: Candidate, *, down: bool) -> Measured | None:
    """Axis, edges, ends, pose, mm, outline and section evidence; None when the thing has no outline to read."""
    axis = trace_axis(plane, scale, candidate)
    if axis is None:
        return None
    middle = axis.px[len(axis.px) // 2]
    scale_at = scale.px_per_mm_at((float(middle[0]), float(middle[1])))
    axis, edges = follow(photo, axis, scale_at.value, lambda px: before_screen(plane, scale, candidate.lit, px))
    turned = past_kink(photo, plane, scale, candidate, axis, edges, scale_at.value)
    if turned is not axis:
        axis, edges = turned, locate_edges(photo, turned, scale_at.value, before_screen(plane, scale, candidate.lit, turned.px))
    edges, burnt = without_glare(photo, edges.within(photo.width_px, photo.height_px), scale_at.value)
    marks = marks_in_light(read_marks(edges.kinds, scale_at.value), burnt)
    marks = doubted_ends(marks, edges, axis, scale_at.value, wavers=in_doubt(edges))
    marks = replace(marks, part_end_hidden=marks.part_end_hidden or cut_short(axis, photo, marks, scale_at.value))
    tip = find_tip(edges, axis, scale_at.value, marks.tip, cut_tip=at_border(photo, axis, _tip_guess(axis, marks)))
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


@dataclass(frozen=True)
class Given:
    """What stage 7 names an instrument by, and what stage 8 judges beside it."""

    dimensions: Dimensions
    colour: HandleColour
    seen: Named | None
    twist: TwistLoss | None
    tip: TipLoss | None
    path: TwistPath | None = None

    @property
    def tip_lost(self) -> bool:
        """Whether the metal more likely than not ends short of its tip."""
        return self.tip is not None and self.tip.probability >= 0.5


def given_of(relative: Array, candidate: Candidate, seen: Measured) -> Given:
    """Dimensions, handle colour and what the network says of one candidate."""
    fit = chosen_twist(seen.outline, seen.evidence)
    path = followed(fit, seen.profile, seen.outline) if fit is not None else None
    twist = twist_loss(path) if path is not None else None
    dimensions = measure(
        seen.profile,
        seen.outline,
        seen.evidence,
        seen.tip,
        front_mm=seen.front_mm,
        loss=twist,
        path=path,
        scale_u=seen.scale_at.u / seen.scale_at.value,
        blur_px=seen.edges.blur_px,
        spread_px=seen.edges.spread_px,
        doubt_px=seen.edges.doubt_px,
        tip_seen=seen.tip.column is not None,
        before_screen=_before_screen(seen),
    )
    colour = handle_colour(relative, candidate, seen.grip)
    judged = seen.tip.column is not None and seen.evidence.best != "plain"
    barbed = seen.evidence.best == "barbed"
    tip = lost_tip(dimensions, colour, end_reach(seen.profile), barbed=barbed) if judged else None
    return Given(dimensions, colour, named(seen.edges.names), twist, tip, path)


def examined(photo: Photo, seen: Measured, given: Given) -> Seen:
    """Everything that speaks for damage; the metal's faces too, where the photo shows them."""
    scale, edges = seen.scale_at.value, seen.edges
    part = Part(edges, seen.profile, seen.outline, seen.evidence.best, seen.stop_mm, seen.last_mm, scale)
    fit = chosen_twist(seen.outline, seen.evidence)
    found = damage_seen(part, fit, given.path, given.twist, given.tip)
    end = seen.outline.working_end_mm
    found = replace(found, barbed=part.section == "barbed", part_mm=found.part_mm if end is None else end)
    hurts, tint = see_faces(photo, edges, seen.profile.x_mm, scale, seen.stop_mm, seen.last_mm)
    return replace(found, hurts=hurts, tint=tint)


def read_measured(
    photo: Photo, scale: Scale, relative: Array, candidate: Candidate, seen: Measured, number: int
) -> InstrumentReading:
    """Name and judge what stages 4 to 6 have measured."""
    given = given_of(relative, candidate, seen)
    dimensions, colour, twist = given.dimensions, given.colour, given.twist
    tip_seen = seen.tip.column is not None
    identity = identify(
        dimensions, seen.evidence, colour, given.seen, tip_lost=given.tip_lost, extra=seen.extra, dim=in_doubt(seen.edges)
    )
    trace = draw_trace(
        seen.edges,
        seen.profile,
        seen.outline,
        seen.tip,
        seen.front_mm,
        twist,
        hidden_mm=seen.stop_mm,
        d16_seen=dimensions.d16_mm is not None,
    )
    middle, u_middle = seen.height.at(0.4)
    return InstrumentReading(
        id=number,
        box_px=_box(photo, trace.axis_px, trace.upper_px, trace.lower_px),
        tip_px=_point(seen, seen.tip.column),
        handle_px=_point(seen, None if seen.front_mm is None else seen.profile.column_at(seen.front_mm.value)),
        family=identity.family,
        size=identity.size,
        d0_mm=dimensions.d0_mm,
        d16_mm=dimensions.d16_mm,
        taper_mm_per_mm=dimensions.taper_mm_per_mm,
        tip_width_mm=dimensions.tip_width_mm,
        shank_width_mm=dimensions.shank_width_mm,
        length_mm=dimensions.length_mm,
        working_part_mm=dimensions.working_part_mm,
        stop_from_tip_mm=_stop(seen, tip_seen=tip_seen),
        pitch_mm=dimensions.pitch_mm,
        flutes_per_mm=dimensions.flutes_per_mm,
        helix_angle_deg=dimensions.helix_angle_deg,
        twist_hand=seen.extra.hand,
        cross_section=identity.section,
        height_mm=Quantity(middle, u_middle) if scale.sheet is not None else None,
        local_px_per_mm=round(seen.scale_at.value, 2),
        blur_px=round(seen.edges.blur_px, 2),
        handle=handle_reading(colour),
        conformity={},  # judged last, by the pipeline: a correction may come between
        condition=examine(
            examined(photo, seen, given),
            px_per_mm=seen.scale_at.value,
            doubts=judging_doubts(seen.scale_at.value, seen.edges),
        ),
        notes=(
            *setup_notes(seen.setup, seen.held),
            *dimensions.notes,
            *identity.notes,
            *hand_notes(seen.hand, fluted=seen.evidence.best not in ("barbed", "plain")),
        ),
        trace=trace,
        family_clues=identity.family_clues,
        size_clues=identity.size_clues,
    )


def _tip_guess(axis: Axis, marks: Marks) -> int | None:
    """Column of the tip as found, or as the network marks it where the axis had to run on past what was found."""
    if axis.tip_index is None and marks.tip is not None:
        return round(marks.tip.column)
    return axis.tip_index


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


def _before_screen(seen: Measured) -> bool:
    """Whether the first 16 mm (less if less is seen) lie before a lit screen."""
    inside = (seen.profile.x_mm > 0.0) & (seen.profile.x_mm < min(seen.last_mm, 16.0))
    return bool(seen.edges.lit.size and inside.any() and seen.edges.lit[inside].mean() >= MOSTLY_LIT)


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


def _stop(seen: Measured, *, tip_seen: bool) -> Quantity | None:
    if seen.stop_mm is None or not tip_seen or seen.stop_mm[0] <= 0.0 or seen.edges.spread_px > most_spread_px(seen.profile.px_per_mm):
        return None
    place = seen.marks.stop[0].u / seen.profile.px_per_mm if seen.marks.stop is not None else 0.0
    u = np.linalg.norm([0.08, place, seen.tip.u_px / seen.profile.px_per_mm, seen.stop_mm[0] * seen.profile.magnification_u])
    return Quantity(seen.stop_mm[0], float(u))


def _point(seen: Measured, column: float | None) -> tuple[float, float] | None:
    if column is None:
        return None
    axis = seen.edges.strip.axis_px
    columns = np.arange(len(axis), dtype=float)
    return float(np.interp(column, columns, axis[:, 0])), float(np.interp(column, columns, axis[:, 1]))


def _box(photo: Photo, *lines: Array) -> tuple[int, int, int, int]:
    points = np.concatenate([line for line in lines if len(line)])
    points = points[np.isfinite(points).all(axis=1)]
    low = np.clip(np.floor(points.min(axis=0)).astype(int), 0, [photo.width_px - 1, photo.height_px - 1])
    high = np.clip(np.ceil(points.max(axis=0)).astype(int), 0, [photo.width_px - 1, photo.height_px - 1])
    return int(low[0]), int(low[1]), int(high[0] - low[0]), int(high[1] - low[1])
