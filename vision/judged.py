"""Stages 6 to 8 for one candidate: what was measured of it -> its dimensions, its name, what speaks for damage: its reading."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.blank import chosen_twist
from vision.condition import Seen, examine
from vision.damage_seen import Part, damage_seen
from vision.dimensions import Dimensions, measure, most_spread_px
from vision.faces import see_faces
from vision.find import Candidate
from vision.fitness import in_doubt, judging_doubts
from vision.hand import hand_notes, odds_of_same_hand
from vision.handle import HandleColour, handle_colour, handle_reading
from vision.identity import identify
from vision.instrument import Measured
from vision.named import Named, named
from vision.photo import Photo
from vision.quantity import Quantity
from vision.reading import InstrumentReading
from vision.scale import Scale
from vision.setup import setup_notes
from vision.tip_loss import TipLoss, end_reach, lost_tip, short_alone
from vision.trace import draw_trace
from vision.twist_path import TwistPath
from vision.unwinding import TwistLoss, followed, twist_loss

Array = NDArray[np.floating[Any]]
MOSTLY_LIT = 0.9  # of the working part before the screen: then widths carry the screen's edge budget
THICK_END_MM = 0.3  # D0: of 1,007 whole crops thicker than that none reaches out by 1.2 whose line lies well


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
    twist = _loss(path, seen) if path is not None else None
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
        row_px=seen.edges.row_px,
        doubt_px=seen.edges.doubt_px,
        smoothed_px=seen.edges.smoothed_px,
        tip_seen=seen.tip.column is not None,
        before_screen=_before_screen(seen),
    )
    colour = handle_colour(relative, candidate, seen.grip)
    return Given(dimensions, colour, named(seen.edges.names), twist, _tip(seen, dimensions, colour), path)


def _tip(seen: Measured, dimensions: Dimensions, colour: HandleColour) -> TipLoss | None:
    """Is a piece of the tip missing; None where the photo does not show the end."""
    if seen.tip.column is None:
        return None
    kind = seen.evidence.best
    told = None if kind == "plain" else lost_tip(dimensions, colour, end_reach(seen.profile), barbed=kind == "barbed")
    return told or short_alone(dimensions.length_mm)


def _loss(path: TwistPath, seen: Measured) -> TwistLoss | None:
    """Twist lost or gained, and whether the faces there run as the whole blank's do."""
    twist = twist_loss(path)
    if twist is None or seen.hand is None:
        return twist
    return replace(twist, same_hand=odds_of_same_hand(seen.edges.strip, seen.profile, path, twist.zone_mm, seen.hand))


def examined(photo: Photo, seen: Measured, given: Given) -> Seen:
    """Everything that speaks for damage; the metal's faces too, where the photo shows them."""
    scale, edges = seen.scale_at.value, seen.edges
    part = Part(edges, seen.profile, seen.outline, seen.evidence.best, seen.stop_mm, seen.last_mm, scale)
    fit = chosen_twist(seen.outline, seen.evidence)
    found = damage_seen(part, fit, given.path, given.twist, given.tip)
    end = seen.outline.working_end_mm
    found = replace(found, barbed=_has_barbs(part.section, given.seen), part_mm=found.part_mm if end is None else end)
    hurts, spots = see_faces(photo, edges, seen.profile.x_mm, scale, seen.stop_mm, seen.last_mm)
    return replace(found, hurts=hurts, spots=spots, end_reach=_plain_reach(seen, given))


def _plain_reach(seen: Measured, given: Given) -> float | None:
    """How far the end reaches from the axis, over how far a little behind it; None where it is too thin for that to be plain."""
    d0 = given.dimensions.d0_mm
    return None if d0 is None or d0.value < THICK_END_MM or seen.tip.column is None else end_reach(seen.profile)


def _has_barbs(section: str, names: Named | None) -> bool:
    """Whether rows of barbs are to be looked for: also on what shows a plain wire in its outline and is a broach by its faces, as where
    most barbs lie flat or are gone."""
    broach = names is not None and max(names.family, key=lambda one: names.family[one]) == "barbed-broach"
    return section == "barbed" or (section == "plain" and broach)


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
        twist_hand=None if seen.hand is None else seen.hand.hand,
        cross_section=identity.section,
        height_mm=Quantity(middle, u_middle) if scale.sheet is not None else None,
        local_px_per_mm=round(seen.scale_at.value, 2),
        blur_px=round(seen.edges.blur_px, 2),
        handle=handle_reading(colour),
        conformity={},  # judged last, by the pipeline: a correction may come between
        condition=examine(
            examined(photo, seen, given),
            px_per_mm=seen.scale_at.value,
            doubts=judging_doubts(seen.scale_at.value, seen.edges, seen.tip),
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


def _before_screen(seen: Measured) -> bool:
    """Whether the first 16 mm (less if less is seen) lie before a lit screen."""
    inside = (seen.profile.x_mm > 0.0) & (seen.profile.x_mm < min(seen.last_mm, 16.0))
    return bool(seen.edges.lit.size and inside.any() and seen.edges.lit[inside].mean() >= MOSTLY_LIT)


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
