"""Stage 8e: one instrument's outline, twist and tip -> everything that speaks for damage, examination by examination."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter

from vision.barb_gaps import BarbGap, longest_gap
from vision.bends import Bend, sharpest_bend
from vision.chips import Chip, deepest_chip
from vision.condition import Seen
from vision.dirt import Dirt, stands_out
from vision.edge_lines import Edges
from vision.expected import CONE_CLEAR, Left, left_of_groove, left_of_twist, left_of_wire
from vision.outline import Outline
from vision.place import Profile
from vision.teeth import short_teeth
from vision.tip_loss import TipLoss
from vision.twist import TwistFit
from vision.twist_axis import swing_mm
from vision.twist_path import TwistPath, usual_rate
from vision.unwinding import TwistLoss

Array = NDArray[np.floating[Any]]
BARBS_FROM_MM = 2.5  # where barbs have begun at the latest: common practice, no source
ODD_WIDTH, WIDTH_OVER_MM = 0.45, 2.0  # off the usual width around by this share, an outline follows something beside the metal
TIP_CLEAR_MM, TIP_CLEAR = 0.15, 0.8  # from the tip, and in the wire's own widths: a cone, often ground aside, has no middle
# Where flutes and barbs run out the outline's middle steps aside, over a whole groove of a Hedstroem; the end where none was seen.
END_CLEAR_MM, GROOVE_CLEAR_MM, USUAL_END_MM = 0.3, 2.0, 14.0
RUNOUT_MM = 1.6  # crests there are lower as made
SAME_PLACE_MM, AGREES, LEAST_RATE_RAD_PER_MM = 1.0, 0.4, 0.05  # an average over a crest shows about two thirds of a kink
BEND_CLEAR_MM = 1.5  # before the handle, whose rim and shadow bend the outline


@dataclass(frozen=True)
class Part:
    """The outline of one instrument: px and mm, its fits, the best kind of section, what a stop hides, where it ends."""

    edges: Edges
    profile: Profile
    outline: Outline
    section: str
    stop_mm: tuple[float, float] | None
    last_mm: float
    px_per_mm: float


def damage_seen(part: Part, fit: TwistFit | None, path: TwistPath | None, twist: TwistLoss | None, tip: TipLoss | None) -> Seen:
    """Examine the outline for bends, chips, rows of barbs and dirt, and put it beside what twist and tip showed."""
    rate = 0.0 if fit is None else usual_rate(fit)
    turn = float(np.degrees(rate)) if rate > 0.0 else None
    return Seen(twist, _bend(part, fit, path), tip, *_on_outline(part, fit, path), turn_deg_per_mm=turn, teeth=_teeth(part))


def _bend(part: Part, fit: TwistFit | None, path: TwistPath | None) -> Bend | None:
    """Kink or pre-curve, from the middle of both edges; what swings with the flutes is taken off or averaged out."""
    strip, x = part.edges.strip, part.profile.x_mm
    middle, wave = (part.edges.upper_px + part.edges.lower_px) / 2.0, 0.0
    if fit is not None and path is not None:
        middle = middle - part.profile.px_per_mm * swing_mm(fit, path, x)
        if fit.blank.corners % 2:  # beyond the path the swing is not known
            middle = np.where((x > max(path.x_mm[0], CONE_CLEAR * fit.d0_mm)) & (x < path.x_mm[-1]), middle, np.nan)
    elif part.section == "groove" and len(part.outline.upper.x_mm) > 2:
        wave = float(np.median(part.outline.upper.spacing_mm))
    end, clear = part.outline.working_end_mm, GROOVE_CLEAR_MM if part.section == "groove" else END_CLEAR_MM
    width = part.edges.upper_px - part.edges.lower_px
    near_tip = width[(x > TIP_CLEAR_MM) & (x < 2.0) & np.isfinite(width)]
    first = max(TIP_CLEAR_MM, TIP_CLEAR * float(np.median(near_tip)) / part.px_per_mm) if len(near_tip) else TIP_CLEAR_MM
    begun = x[(x > 0.0) & np.isfinite(width)]  # a shadow taken for the tip leaves a stretch without an outline, and then an end
    first += float(begun[0]) if len(begun) and begun[0] > TIP_CLEAR_MM else 0.0
    inside = (x > first) & (x < min(part.last_mm - BEND_CLEAR_MM, (end if end is not None else USUAL_END_MM) - clear))
    if part.stop_mm is not None:
        inside &= (x < part.stop_mm[0] - 0.8) | (x > part.stop_mm[1] + 0.8)
    inside &= _wire_alone(width, part.px_per_mm) & _no_thicker_than_behind(width, x)
    line = (strip.axis_px + middle[:, None] * strip.normal) / part.px_per_mm
    bend = sharpest_bend(x[inside], line[inside], wave)
    if fit is None or path is None or fit.blank.corners % 2 == 0 or bend is None:
        return bend
    inside &= np.isfinite(middle)
    whole = (strip.axis_px + ((part.edges.upper_px + part.edges.lower_px) / 2.0)[:, None] * strip.normal) / part.px_per_mm
    return _agreed(bend, sharpest_bend(x[inside], whole[inside], _repeat_mm(fit, path)))


def _repeat_mm(fit: TwistFit, path: TwistPath) -> float:
    """Usual length from one crest to the next on one edge."""
    return float(np.median(2.0 * np.pi / fit.blank.corners / np.maximum(np.abs(path.rate_rad_per_mm), LEAST_RATE_RAD_PER_MM)))


def _agreed(bend: Bend, averaged: Bend | None) -> Bend:
    """The bend of an axis with its swing taken off, if the middle averaged over a crest bends there as well; else what that one shows.

    Where the twist was followed wrongly the swing is taken off wrongly, and leaves a step that is no kink.
    """
    if averaged is None:
        return bend
    near = abs(averaged.at_mm - bend.at_mm) < SAME_PLACE_MM
    return bend if near and averaged.sharp_deg * np.sign(bend.sharp_deg) > AGREES * abs(bend.sharp_deg) else averaged


def _wire_alone(width_px: Array, px_per_mm: float) -> NDArray[np.bool_]:
    """Where the width is about the usual one around: beside a stop, a fibre or a hard shadow the middle is not the wire's."""
    seen = np.flatnonzero(np.isfinite(width_px))
    if len(seen) == 0:
        return np.zeros(len(width_px), dtype=bool)
    filled = np.interp(np.arange(float(len(width_px))), seen, width_px[seen])
    every = max(round(0.05 * px_per_mm), 1)
    usual = median_filter(filled[::every], max(round(WIDTH_OVER_MM * px_per_mm / every), 3), mode="nearest")
    at = np.interp(np.arange(float(len(width_px))), np.arange(len(usual)) * float(every), usual)
    return np.asarray(np.abs(filled - at) <= ODD_WIDTH * at)


def _no_thicker_than_behind(width_px: Array, x_mm: Array) -> NDArray[np.bool_]:
    """Where the tip is no thicker than what lies behind it, as no instrument's is: there an edge has gone over to the tip's shadow, and
    for so far that the usual width around is the wrong one."""
    behind = width_px[(x_mm > WIDTH_OVER_MM) & (x_mm < 2.0 * WIDTH_OVER_MM) & np.isfinite(width_px)]
    if len(behind) == 0:
        return np.ones(len(width_px), dtype=bool)
    return np.asarray((x_mm > WIDTH_OVER_MM) | ~(width_px > (1.0 + ODD_WIDTH) * float(np.median(behind))))


def _on_outline(part: Part, fit: TwistFit | None, path: TwistPath | None) -> tuple[Chip | None, BarbGap | None, Dirt | None]:
    """Chips, rows of barbs, dirt: what the outline shows against what a whole instrument would."""
    left: Left | None
    if fit is not None and path is not None:
        left = left_of_twist(fit, path, part.profile)
    elif part.section == "groove":
        left = left_of_groove(part.profile, part.outline)
    else:
        left = left_of_wire(part.profile, part.outline) if part.section == "plain" else None
    gap = longest_gap(part.outline.spikes_mm, BARBS_FROM_MM) if part.section == "barbed" else None
    if left is None:
        return None, gap, None
    end = part.outline.working_end_mm
    until = min(part.last_mm, USUAL_END_MM if end is None else end - RUNOUT_MM)
    chip = None if part.section == "groove" else deepest_chip(left, part.stop_mm, until)
    return chip, gap, stands_out(left, part.stop_mm)


def _teeth(part: Part) -> tuple[Chip, ...]:
    """Of a Hedstroem file the teeth that are lower than their neighbours."""
    if part.section != "groove":
        return ()
    end = part.outline.working_end_mm
    return short_teeth(part.profile, part.outline, part.stop_mm, min(part.last_mm, USUAL_END_MM if end is None else end))
