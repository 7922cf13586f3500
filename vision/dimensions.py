"""Stage 6 of 9: Profile, Outline, Blank evidence -> Dimensions. Every number of the reading with its uncertainty.

Correlated contributions (print scale, height, edge model) are carried as labelled parts of each quantity. Nothing
nominal enters here: a test perturbs the tables and sees no digit move.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from vision.blank import BlankEvidence, chosen_twist
from vision.crests import numbered
from vision.envelope import Cone
from vision.lead import PATH_WITHIN, fit_trend, groove_angles, sampled, whole_part
from vision.outline import Outline
from vision.outline_jumps import jump_mm
from vision.place import Profile
from vision.quantity import Quantity
from vision.tip import TIP_OUTSIDE, Tip
from vision.twist import TwistFit
from vision.twist_path import TwistPath
from vision.unwinding import TwistLoss
from vision.width_budget import (
    BARBED_MM,
    D16_EDGE_SHARE,
    SHANK_EDGE_SHARE,
    SHANK_THIN_PX,
    TAPER_EDGE_SHARE,
    Envelope,
    PlaceBudget,
    WidthBudget,
)

Array = NDArray[np.floating[Any]]
D16_AT_MM, PITCH_AT_MM, TIP_WIDTH_AT_MM = 16.0, 8.0, 0.10
STEEPEST, TIP_SHARE = 1.6, 0.4  # width gained a mm of a tip of 75 deg (noise looks steeper); of the tip's u, which is seldom met in full
# Where the network itself does not know the outline, none is read: from so many px of its spread on, or from so many mm where that
# is more than a usual photo's. It reached 1.5 px in 989 usual renders; of 275 hard ones 4 lay beyond, every one of them far off
# somewhere. Over what a picture editor wiped away, over cloth and in blown-up pictures of 45 px/mm it has 1.6 to 20 px.
MOST_SPREAD_PX, MOST_SPREAD_MM, USUAL_TO_PX = 2.5, 0.03, 1.5
# Twisted blanks fit healthy outlines to 3 to 9 um, and the cone through the crests comes out within 7 um of their envelope (20 development
# renders). An outline that fits worse has something in it that is none of the blank's; then the two part, and that is carried.
USUAL_MISFIT_MM = 0.012
# A healthy outline leaves no doubt whether it is twisted, grooved, barbed or plain (0.97 and more on those renders). Where it does, flutes
# are washed out: the width carries a tenth, and nothing is said of the pitch.
UNSURE_MAKE = 0.25
HELIX_U = 0.01  # of its tangent: crests and envelope are read off one outline, but not at one place
TWISTED = ("square", "triangle", "rhombus")
WIDEST_MM = 1.9  # no shaft is thicker: a size 140 reaches 1.72 mm
SHANK_CARRIES_ON = (0.88, 1.35)  # shank over the envelope where the flutes end: one wire, so no jump
CORRELATED_CRESTS = 3.0  # neighbouring points of a fitted outline share errors: u of a fit grows by about this factor
# Where a broach's barbs end depends on which is seen as the last: 0.2 mm rms over 272 rows of renders (seeds as in `vision.width_budget`).
BARB_END_U_MM = 0.18
RUN_OUT_U_MM = 0.05  # flutes run out, they do not end: 0.05 mm beyond what the network doubts over 203 twisted ones (120000 to 126319)
AGREE = 2.0  # u of their difference within which two ways to the pitch agree; beyond, one of them slipped, and the difference is carried
SURELY_LOST = 0.8  # chance from which a stretch of lost twist is left out of the trend


@dataclass(frozen=True)
class Dimensions:
    """What was measured, None where it was not; the reasons stand in ``notes``. ``doubt_mm``: by how much shank and working part contradict
    one another, which every width carries (None: they do not)."""

    d0_mm: Quantity | None
    d16_mm: Quantity | None
    taper_mm_per_mm: Quantity | None
    tip_width_mm: Quantity | None
    shank_width_mm: Quantity | None
    length_mm: Quantity | None
    working_part_mm: Quantity | None
    pitch_mm: Quantity | None
    flutes_per_mm: Quantity | None
    helix_angle_deg: Quantity | None
    tip_angle_deg: Quantity | None
    notes: tuple[str, ...]
    doubt_mm: float | None = None


def envelope_of(outline: Outline, evidence: BlankEvidence) -> Envelope | None:
    """Choose the envelope that belongs to the best kind of section."""
    twist = chosen_twist(outline, evidence)
    if twist is not None:
        return _from_twist(twist)
    cone = outline.groove if evidence.best == "groove" else outline.wire
    if cone is None:
        return None
    return _from_cone(cone, "crests" if evidence.best == "groove" else "wire")


def measure(
    profile: Profile,
    outline: Outline,
    evidence: BlankEvidence,
    tip: Tip,
    *,
    front_mm: Quantity | None,
    loss: TwistLoss | None,
    path: TwistPath | None = None,
    scale_u: float,
    blur_px: float,
    spread_px: float,
    row_px: float = 1.0,
    doubt_px: float,
    smoothed_px: float = 0.0,
    tip_seen: bool,
    before_screen: bool = False,
) -> Dimensions:
    """Turn fits to quantities; x = 0 must be the real end of the metal.

    ``front_mm``: place of the handle's front; ``loss``: twist missing against the trend, left out of the
    pitch; ``scale_u``: relative u of the local scale; ``spread_px``: the network's usual
    spread of the outline, ``row_px`` the px a row that it was shown; ``doubt_px``: how far the two ways
    of finding the outline contradict each other; ``smoothed_px``: what smoothing leaves in doubt of each edge.
    With ``tip_seen`` False, what counts from the tip is None.
    ``before_screen``: the working part lies before a lit screen, where outlines have a smaller budget and no known bias.
    """
    if spread_px > most_spread_px(profile.px_per_mm):
        return _nothing(spread_px, most_spread_px(profile.px_per_mm))
    notes: list[str] = []
    envelope = envelope_of(outline, evidence)
    width = WidthBudget(profile, scale_u, blur_px, spread_px, doubt_px, row_px=row_px, before_screen=before_screen)
    contradicted = _shank_step_mm(envelope, outline)
    width.edge_mm += contradicted
    width.smoothed_mm = 2.0 * smoothed_px / profile.px_per_mm
    width.other, width.unsure, width.barbed = _second_opinion(outline, evidence), _unsure(evidence), evidence.best == "barbed"
    width.tip_mm = tip.u_px / profile.px_per_mm
    if envelope is not None and envelope.source != "crests":
        width.jumps_mm = jump_mm(profile, row_px / profile.px_per_mm)
    place = PlaceBudget(profile, scale_u, tip)
    if width.jumps_mm > 0.0:
        notes.append(
            "the outline jumps aside near the tip, as where a shadow lies against the metal: widths carry half of the jump; use softer "
            "light"
        )
    if doubt_px > 0.0:
        notes.append(f"outline model and brightness steps lie {doubt_px:.0f} px apart: widths carry that; use softer light and refocus")
    if not tip_seen:
        notes.append(f"{tip.hidden or TIP_OUTSIDE}: everything counted from the tip is not measured")
    d0, d16, taper = _cone_quantities(envelope, width, outline, tip_seen, notes)
    pitch, flutes, helix = _thread_quantities(outline, evidence, envelope, (loss, path), (width, place), tip_seen, notes)
    return Dimensions(
        d0_mm=d0,
        d16_mm=d16,
        taper_mm_per_mm=taper,
        tip_width_mm=_tip_width(profile, width, tip_seen),
        shank_width_mm=_shank(outline, envelope, width, notes),
        length_mm=_length(front_mm, place, tip_seen, notes),
        working_part_mm=_working(outline, evidence, place, tip_seen, notes),
        pitch_mm=pitch,
        flutes_per_mm=flutes,
        helix_angle_deg=helix,
        tip_angle_deg=_tip_angle(tip),
        notes=tuple(notes),
        doubt_mm=contradicted or None,
    )


def most_spread_px(px_per_mm: float) -> float:
    """The network's usual spread of an outline up to which it is read."""
    return min(max(MOST_SPREAD_MM * px_per_mm, USUAL_TO_PX), MOST_SPREAD_PX)


def _nothing(spread_px: float, most_px: float) -> Dimensions:
    """No number at all, and why."""
    reason = (
        f"nothing is measured: the outline cannot be told from what lies beside it (in doubt by {spread_px:.1f} px, at most "
        f"{most_px:.1f} may be): use softer light, focus at the instrument, and take the camera's original file"
    )
    return Dimensions(None, None, None, None, None, None, None, None, None, None, None, (reason,))


def _from_twist(twist: TwistFit) -> Envelope:
    factor = math.sqrt(CORRELATED_CRESTS)
    c = twist.covariance
    u0, u1 = math.sqrt(max(c[0, 0], 0.0)) * factor, math.sqrt(max(c[1, 1], 0.0)) * factor
    shared = float(c[0, 1] / math.sqrt(max(c[0, 0] * c[1, 1], 1e-30)))
    return Envelope(twist.d0_mm, twist.taper, u0, u1, shared, "twist")


def _from_cone(cone: Cone, source: Literal["crests", "wire"]) -> Envelope:
    c = cone.covariance
    u0, u1 = math.sqrt(max(c[0, 0], 0.0)), math.sqrt(max(c[1, 1], 0.0))
    shared = float(c[0, 1] / math.sqrt(max(c[0, 0] * c[1, 1], 1e-30)))
    return Envelope(cone.d0_mm, cone.taper, u0, u1, shared, source)


def _cone_quantities(
    envelope: Envelope | None, width: WidthBudget, outline: Outline, tip_seen: bool, notes: list[str]
) -> tuple[Quantity | None, Quantity | None, Quantity | None]:
    if envelope is None:
        notes.append("no envelope: too little of the working part shows both edges")
        return None, None, None
    # The edge model's error may drift along the instrument as light and blur do: by a little more than all of it over
    # 16 mm, as development renders show.
    u_taper = math.hypot(envelope.u_taper_fit, width.shape_u_mm(envelope, D16_AT_MM) / D16_AT_MM, width.jump_u_mm / D16_AT_MM)
    if width.barbed:  # and over a barbed part, which is shorter, barbs do not run into the outline alike all along
        u_taper = math.hypot(u_taper, width.made_u_mm(envelope) / BARBED_MM)
    taper = width.of(envelope.taper, u_taper, edge_share=TAPER_EDGE_SHARE / 16.0)
    if not tip_seen or envelope.d0_mm <= 0.0:
        return None, None, taper
    if envelope.d0_mm > WIDEST_MM:
        notes.append(f"D0 is not measured: the outline is {envelope.d0_mm:.2f} mm wide at the tip, no shaft is wider than {WIDEST_MM} mm")
        return None, None, None
    d0 = width.of_envelope(envelope, 0.0)
    end = outline.working_end_mm
    if envelope.source == "wire" or end is None or end < D16_AT_MM - 0.75:
        notes.append("D16 is not measured: the working part ends before 16 mm or its end is not seen")
        return d0, None, taper
    return d0, width.of_envelope(envelope, D16_AT_MM, D16_EDGE_SHARE), taper


def _thread_quantities(
    outline: Outline,
    evidence: BlankEvidence,
    envelope: Envelope | None,
    twist: tuple[TwistLoss | None, TwistPath | None],
    budgets: tuple[WidthBudget, PlaceBudget],
    tip_seen: bool,
    notes: list[str],
) -> tuple[Quantity | None, Quantity | None, Quantity | None]:
    """Pitch, flutes per mm and helix angle at 8 mm (edge against the axis, on the enclosing circle)."""
    if evidence.best in ("barbed", "plain") or envelope is None:
        return None, None, None
    if not tip_seen:
        return None, None, None
    if _unsure(evidence):
        notes.append("pitch at 8 mm is not measured: the outline does not tell whether it is twisted, grooved or plain")
        return None, None, None
    local = _pitch_at(outline, evidence, *twist, PITCH_AT_MM)
    if local is None:
        notes.append("pitch at 8 mm is not measured: too few crests around it")
        return None, None, None
    pitch_mm, u_fit, crests_a_turn = local
    width, place = budgets
    pitch = place.of(pitch_mm, u_fit, from_tip=False)
    flutes = Quantity(1.0 / pitch_mm, pitch.u / pitch_mm**2)
    return pitch, flutes, helix_angle(pitch, width.of_envelope(envelope, PITCH_AT_MM), crests_a_turn, notes)


def helix_angle(pitch: Quantity, across: Quantity, crests_a_turn: int, notes: list[str]) -> Quantity | None:
    """Helix angle, deg, 0 to 90, of a ``pitch`` (mm, above 0) between crests on a circle ``across`` (mm); None, and why in ``notes``, where
    outlines that went astray leave no circle. tan = pi D / lead (Machinery's Handbook, spirals; from memory). ``crests_a_turn``: of one
    edge. The u of both goes in as if independent."""
    if across.value <= 0.0:
        notes.append(f"helix angle is not measured: both outlines meet before {PITCH_AT_MM:.0f} mm, so one of them went astray")
        return None
    tangent = math.pi * across.value / (pitch.value * crests_a_turn)
    relative = math.hypot(pitch.u / pitch.value, across.u / across.value, HELIX_U)
    return Quantity(math.degrees(math.atan(tangent)), math.degrees(tangent / (1.0 + tangent**2)) * relative)


def _pitch_at(
    outline: Outline, evidence: BlankEvidence, loss: TwistLoss | None, path: TwistPath | None, x_mm: float
) -> tuple[float, float, int] | None:
    """Pitch of the smooth trend at a station, its fit uncertainty, and crests a turn."""
    twist = chosen_twist(outline, evidence)
    if twist is not None:
        x, theta = sampled(twist) if path is None else whole_part(path, twist, outline.working_end_mm)
        healthy = _beside(loss, x)
        trend = fit_trend(x[healthy], theta[healthy], twist.blank.corners, within=1.5 if path is None else PATH_WITHIN)
        ends = (float(x[0]), float(x[-1])) if len(x) else (0.0, 0.0)
    else:
        x, theta = groove_angles(outline.upper, outline.lower)
        trend = fit_trend(x, theta, 1, least_scatter=0.02)
        ends = (float(x[0]), float(x[-1])) if len(x) else (0.0, 0.0)
    if trend is None or not ends[0] < x_mm < ends[1]:
        return None
    pitch = trend.pitch_mm(x_mm)
    if pitch is None:
        return None
    others = _other_pitches(outline, twist, followed=path is not None, x_mm=x_mm)
    apart = [abs(other[0] - pitch[0]) for other in others if other and abs(other[0] - pitch[0]) > AGREE * math.hypot(pitch[1], other[1])]
    return pitch[0], math.hypot(pitch[1], max(apart, default=0.0)), trend.crests_a_turn


def _other_pitches(outline: Outline, twist: TwistFit | None, *, followed: bool, x_mm: float) -> list[tuple[float, float] | None]:
    """The same pitch by other ways, each with its u: a path may slip by a crest, and so may the count of crests on one edge."""
    if twist is not None:
        looks = [(*sampled(twist), twist.blank.corners)] if followed else []
    else:
        looks = [(edge.x_mm, 2.0 * np.pi * numbered(edge.x_mm), 1) for edge in (outline.upper, outline.lower) if len(edge.x_mm) > 3]
    trends = [fit_trend(x, theta, corners) for x, theta, corners in looks if len(x) and x[0] < x_mm < x[-1]]
    return [None if trend is None else trend.pitch_mm(x_mm) for trend in trends]


def _beside(loss: TwistLoss | None, x_mm: Array) -> NDArray[np.bool_]:
    """The longer side of a stretch that has surely lost twist; all where none has."""
    if loss is None or loss.probability < SURELY_LOST or not len(x_mm):
        return np.ones(len(x_mm), dtype=bool)
    low, high = loss.zone_mm
    return x_mm >= high if x_mm[-1] - high >= low - x_mm[0] else x_mm <= low


def _tip_width(profile: Profile, width: WidthBudget, tip_seen: bool) -> Quantity | None:
    if not tip_seen:
        return None
    near = (
        (np.abs(profile.x_mm - TIP_WIDTH_AT_MM) < 0.03) & np.isfinite(profile.upper_mm) & np.isfinite(profile.lower_mm)
    )
    if near.sum() < 3:
        return None
    seen = (profile.upper_mm - profile.lower_mm)[near]
    wider = abs(float(np.polyfit(profile.x_mm[near], seen, 1)[0]))  # mm a mm: a tip found too early is a width taken too early
    return width.of(float(np.median(seen)), math.hypot(float(np.std(seen)) + 0.005, TIP_SHARE * min(wider, STEEPEST) * width.tip_mm))


def _shank(outline: Outline, envelope: Envelope | None, width: WidthBudget, notes: list[str]) -> Quantity | None:
    """Mean width of the smooth part; None where its outline does not carry on from the working part's."""
    if outline.shank is None:
        notes.append("shank width is not measured: too little smooth shaft in the frame")
        return None
    middle = outline.shank.middle_mm
    value = outline.shank.diameter_mm(middle)
    if _shank_step_mm(envelope, outline) > 0.0:
        notes.append(
            "shank width is not measured: its outline does not carry on from the working part (a stop, a shadow, the table); one of "
            "the two is wrong, so every width carries the difference"
        )
        return None
    fit_u = math.hypot(outline.shank.u_middle_mm, outline.shank.misfit_mm, width.jump_u_mm)
    return width.corrected(value, fit_u, SHANK_THIN_PX / width.px_per_mm, SHANK_EDGE_SHARE)


def _unsure(evidence: BlankEvidence) -> bool:
    """Whether the outline leaves in doubt how the working part is made at all: twisted, grooved, barbed or plain."""
    made = TWISTED if evidence.best in TWISTED else (evidence.best,)
    return 1.0 - sum(evidence.shares.get(name, 0.0) for name in made) > UNSURE_MAKE


def _second_opinion(outline: Outline, evidence: BlankEvidence) -> Cone | None:
    """The cone through the crests where the twisted blank fits badly; None where it fits, or where it is no twisted blank."""
    twist = chosen_twist(outline, evidence)
    return outline.groove if twist is not None and twist.misfit_mm > USUAL_MISFIT_MM else None


def _shank_step_mm(envelope: Envelope | None, outline: Outline) -> float:
    """By how much the shank's width misses the envelope where the flutes end, mm; 0 where they carry on or one is not seen."""
    if envelope is None or outline.shank is None or outline.working_end_mm is None:
        return 0.0
    before, _ = envelope.diameter(outline.working_end_mm)
    after = outline.shank.diameter_mm(outline.shank.middle_mm)
    return 0.0 if SHANK_CARRIES_ON[0] < after / before < SHANK_CARRIES_ON[1] else abs(after - before)


def _length(front_mm: Quantity | None, place: PlaceBudget, tip_seen: bool, notes: list[str]) -> Quantity | None:
    if not tip_seen or front_mm is None:
        notes.append("length is not measured: " + ("the handle's front" if tip_seen else "the tip") + " is not seen")
        return None
    return place.of(front_mm.value, front_mm.u)


def _working(
    outline: Outline, evidence: BlankEvidence, place: PlaceBudget, tip_seen: bool, notes: list[str]
) -> Quantity | None:
    if not tip_seen:
        return None
    if outline.end_hidden:
        notes.append("working part is not measured: a stop or the handle covers its end; slide the stop up and photograph again")
        return None
    if outline.working_end_mm is not None and outline.working_end_u_mm is not None:
        more = BARB_END_U_MM if evidence.best == "barbed" else RUN_OUT_U_MM if evidence.best in TWISTED else 0.0
        return place.of(outline.working_end_mm, math.hypot(outline.working_end_u_mm, more))
    if evidence.best == "barbed" and len(outline.spikes_mm):
        return place.of(float(outline.spikes_mm[-1]), math.hypot(0.15, BARB_END_U_MM))
    if outline.working_end_mm is None:
        notes.append("working part is not measured: its end is not seen")
        return None
    gaps = np.concatenate([outline.upper.spacing_mm, outline.lower.spacing_mm])
    return place.of(outline.working_end_mm, 0.3 * float(np.median(gaps)) if len(gaps) else 0.5)


def _tip_angle(tip: Tip) -> Quantity | None:
    if tip.slope is None:
        return None
    angle = 2.0 * math.degrees(math.atan(tip.slope / 2.0))
    return Quantity(angle, 0.15 * angle)
