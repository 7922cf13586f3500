"""Stage 5 of 9: Photo, Axis -> Edges. Both outlines of the metal along the axis, in px, to a fraction of a px.

The learned outline model says where the metal is; the brightness steps give the blur, and show what stands out from the
metal (barbs). The axis is moved onto the outline's middle and the model asked once more.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d

from vision.axis import Axis
from vision.backlit import half_level
from vision.edge_lines import Edges
from vision.marks import STOP, read_marks
from vision.memory import give_back
from vision.metal import HALF, MetalSight, see_metal, strip_step
from vision.photo import Photo
from vision.step_edges import moved_to_middle, step_edges, strip_half_px
from vision.strip import Nearby, light_nearby, normals, straighten

__all__ = ["Edges", "locate_edges"]

Array = NDArray[np.floating[Any]]
MODEL_PX_PER_MM = 12.0  # the model was trained from 14 px/mm up: below, brightness steps alone
COARSE_FROM = 32.0  # px/mm: at half of it the model still sees what it was trained on
STOP_CLEAR_MM = 0.5
REACH = 1.3  # times half the strip: the axis moves a little, and wider metal is seen at coarser steps
# The middle of a triangle's edges swings once in up to three widths of a reamer: an axis that followed it would hide a part of
# every crest (a reamer 140 measured 75 um too thin).
SWING_WIDTHS = 3.0
CENTRING_PX = 12.0  # by which an axis moves when it is centred, mostly: its light is then not converted twice
OFF_ROWS = 12.0  # of the axis beside the metal's middle: the network was trained with as much, and sees the outline as well
LOOKS = 3  # at another way, at most
AHEAD_MM = 1.0  # of the metal: where a line that goes on straight shows that the metal does not
MORE_MM = 0.3  # of metal that makes another way worth taking
KEPT = 0.9  # of the columns of metal seen before
WAVERS_ROWS = 4.0  # spread from which an outline is no guide to another way
MOSTLY = 0.94  # beside less of the metal than the rest a line only rounds a kink off
# Of 60 development crops whose line lies well none slants by more than 0.07, of three that had been led astray all by 0.14 and more.
SLANT, SLANT_MM, LEAST_SLANT = 0.105, 2.0, 50
FARTHEST = 1.5  # of a line's outlines, over how far aside its metal may lie
CONTRADICTS = 0.6  # of the metal's width; shadows alone make the steps miss by up to about a third


def locate_edges(
    photo: Photo, axis: Axis, px_per_mm: float, lit: NDArray[np.bool_] | None = None, *, before: Edges | None = None,
    most_aside_px: float = np.inf,
) -> Edges:
    """Locate both outlines by the learned model on the axis that the steps have centred.

    ``lit`` (N,) marks the axis points that lie before a lit screen: there the half level refines the model's outline.
    ``before``: what was located on a shorter piece of this axis, which is centred and whose blur is known: in an overview, where a
    px of metal aside is little, that is not looked at once more. ``most_aside_px``: metal farther aside of the line is another's.
    """
    if px_per_mm > COARSE_FROM:
        before = None
    half_px = axis.half_mm * px_per_mm
    near = light_nearby(photo, axis.px, max(REACH * HALF * strip_step(half_px), 1.5 * strip_half_px(axis, px_per_mm)) + CENTRING_PX)
    steps = step_edges(near, axis, px_per_mm, None if before is None else before.blur_px)
    if px_per_mm < MODEL_PX_PER_MM:
        return replace(steps, outer_px=np.stack([steps.upper_px, steps.lower_px]))
    first, coarsely = None, px_per_mm > COARSE_FROM
    if before is None:
        first = _on_the_line(see_metal(near, axis.px, half_px, coarsely=coarsely), most_aside_px)
        width = _width(first.upper_px - first.lower_px, half_px)
        centred = _centred(axis.px, first, width, px_per_mm)
    else:
        width, centred = _width(before.upper_px - before.lower_px, half_px), axis.px
        give_back()  # a longer strip asks for more than any before: of a tray's measuring, the most
    if strip_step(width / 2.0) > strip_step(half_px):  # thicker than it looked
        near = light_nearby(near, centred, REACH * HALF * strip_step(width / 2.0))
    seen = None if first is None or coarsely else _seen_already(first, axis.px, centred, strip_step(width / 2.0))
    if seen is None:
        centred, seen = _looked_along(near, centred, width, px_per_mm)
        near = light_nearby(near, centred, REACH * HALF * strip_step(width / 2.0))
    seen = _on_the_line(seen, most_aside_px)
    strip = straighten(near, centred, steps.strip.half_px)
    upper, lower = seen.upper_px, seen.lower_px
    if lit is not None and lit.any():
        upper, lower = half_level(strip, upper, lower, steps.blur_px, lit)
        steps = replace(steps, lit=lit)
    moved = ((steps.strip.axis_px - centred) * strip.normal).sum(axis=1)
    outer = np.stack([steps.upper_px + moved, steps.lower_px + moved])
    doubt = _doubt(np.stack([upper, lower]), outer)
    return replace(
        steps,
        strip=strip,
        upper_px=upper,
        lower_px=lower,
        outer_px=outer,
        doubt_px=doubt,
        u_px=seen.u_px,
        row_px=seen.row_px,
        kinds=seen.kinds,
        heights_px=seen.heights_px,
        names=seen.names,
    )


def _looked_along(near: Nearby, axis_px: Array, width_px: float, px_per_mm: float) -> tuple[Array, MetalSight]:
    """What is seen along a line, and that line; moved onto the metal's middle again where it had been led astray, as by a shadow, or
    where more metal is seen that way, as of a tip that curves away."""
    reach = REACH * HALF * strip_step(width_px / 2.0)
    near = light_nearby(near, axis_px, reach)
    seen = see_metal(near, axis_px, width_px / 2.0)
    for _ in range(LOOKS if px_per_mm > COARSE_FROM else 0):  # in an overview what lies aside may be another's
        again, far = _tipward(axis_px, _centred(axis_px, seen, width_px, px_per_mm, led=True), seen), OFF_ROWS * seen.row_px
        if _aside_px(again, axis_px, seen, AHEAD_MM * px_per_mm) <= far:
            break
        more = see_metal(light_nearby(near, again, reach), again, width_px / 2.0)
        astray = _aside_px(again, axis_px, seen, share=MOSTLY) > far or _slants_less(more, seen, px_per_mm)
        if not _sees_more(more, seen, px_per_mm, at_least_mm=0.0 if astray else MORE_MM):
            break
        axis_px, seen = again, more
    return axis_px, seen


def _sees_more(more: MetalSight, seen: MetalSight, px_per_mm: float, *, at_least_mm: float) -> bool:
    """Whether a new look shows as much metal as the old one, and its end as well and farther out by ``at_least_mm``."""
    shown = [int(np.isfinite(one.upper_px - one.lower_px).sum()) for one in (seen, more)]
    before, after = (read_marks(one.kinds, px_per_mm).tip for one in (seen, more))
    if shown[1] < KEPT * shown[0] or (before is not None and after is None):
        return False
    gained_px = 0.0 if before is None or after is None else before.column - after.column
    return at_least_mm == 0.0 or gained_px >= at_least_mm * px_per_mm


def _slants_less(more: MetalSight, seen: MetalSight, px_per_mm: float) -> bool:
    """Whether the metal runs plainly aslant of the line at its tip, and far less so of the new one."""
    before, after = _slant(seen, px_per_mm), _slant(more, px_per_mm)
    return before > SLANT and after < 0.5 * before


def _slant(seen: MetalSight, px_per_mm: float) -> float:
    """Slope of the metal's middle against the line over the first 2 mm or three widths; 0 where nothing is seen."""
    middle, width = (seen.upper_px + seen.lower_px) / 2.0, seen.upper_px - seen.lower_px
    metal = np.flatnonzero(np.isfinite(middle))
    if len(metal) < LEAST_SLANT:
        return 0.0
    over = metal[metal < metal[0] + max(SLANT_MM * px_per_mm, SWING_WIDTHS * float(np.nanmedian(width)))]
    return abs(float(np.polyfit(over, middle[over], 1)[0])) if len(over) >= LEAST_SLANT else 0.0


def _tipward(axis_px: Array, moved_px: Array, seen: MetalSight) -> Array:
    """The moved line in the half of the metal toward the tip, the old one toward the handle, where stops and their shadows lead astray:
    there the metal itself tells the way (`vision.run_on`)."""
    metal = np.flatnonzero(np.isfinite(seen.upper_px - seen.lower_px))
    if len(metal) == 0:
        return axis_px
    third = max((metal[-1] - metal[0]) / 3.0, 1.0)
    share = np.clip((metal[0] + 2.0 * third - np.arange(len(axis_px))) / third, 0.0, 1.0)[:, None]
    return np.asarray(axis_px + share * (moved_px - axis_px))


def _aside_px(line: Array, axis_px: Array, seen: MetalSight, ahead_px: float = 0.0, share: float = 1.0) -> float:
    """How far two lines lie apart, px: at most over a share of where metal was clearly seen and of ``ahead_px`` before it."""
    metal = np.isfinite(seen.upper_px - seen.lower_px) & (seen.u_px.max(axis=0) <= WAVERS_ROWS * seen.row_px)
    first = int(np.argmax(metal))
    metal[max(first - round(ahead_px), 0) : first] = metal.any()
    aside = np.abs(((line - axis_px) * normals(axis_px)).sum(axis=1)[metal])
    return float(np.quantile(aside, share)) if aside.size else 0.0


def _seen_already(first: MetalSight, axis_px: Array, centred_px: Array, step: int) -> MetalSight | None:
    """What the first look saw, counted from the centred axis; None where its rows were others, or the metal lay far beside their middle."""
    if first.row_px != step:
        return None
    if _aside_px(centred_px, axis_px, first) > OFF_ROWS * step:
        return None
    aside = ((centred_px - axis_px) * normals(axis_px)).sum(axis=1)
    return replace(first, upper_px=first.upper_px - aside, lower_px=first.lower_px - aside)


def _on_the_line(seen: MetalSight, most_aside_px: float) -> MetalSight:
    """The same without the outlines of what lies farther aside, or of which one is another's."""
    middle, reach = np.abs(seen.upper_px + seen.lower_px) / 2.0, np.maximum(np.abs(seen.upper_px), np.abs(seen.lower_px))
    far = (middle > most_aside_px) | (reach > FARTHEST * most_aside_px)
    if not far.any():
        return seen
    return replace(seen, upper_px=np.where(far, np.nan, seen.upper_px), lower_px=np.where(far, np.nan, seen.lower_px))


def _width(wide_px: Array, half_px: float) -> float:
    """Width of the metal, px: nearly the greatest, or the rough one where nothing is seen."""
    return float(np.nanpercentile(wide_px, 90)) if np.isfinite(wide_px).any() else 2.0 * half_px


def _centred(axis_px: Array, first: MetalSight, width: float, px_per_mm: float, *, led: bool = False) -> Array:
    """The axis moved onto the middle of the metal as first seen; ``led``: on ahead of it the way that it goes."""
    shaft = _clear_shaft(first.kinds, px_per_mm)
    if led:
        shaft = np.where(first.u_px.max(axis=0) > WAVERS_ROWS * first.row_px, np.nan, shaft)
    return moved_to_middle(axis_px, first.upper_px + shaft, first.lower_px + shaft, max(51.0, SWING_WIDTHS * width), led=led)


def _clear_shaft(kinds: Array, px_per_mm: float) -> Array:
    """0 where the axis may be centred by the outlines, NaN elsewhere.

    That is near a stop and half a millimetre beside it, whose rim and shadow would pull the axis aside, and before the tip
    and behind the handle's front, where what little looks like metal is none.
    """
    near = maximum_filter1d(kinds[STOP], 2 * round(STOP_CLEAR_MM * px_per_mm) + 1)
    marks, column = read_marks(kinds, px_per_mm), np.arange(kinds.shape[1])
    before = column < marks.tip.column if marks.tip is not None else np.zeros(len(column), dtype=bool)
    behind = column > marks.front.column if marks.front is not None else np.zeros(len(column), dtype=bool)
    return np.where((near > 0.2) | before | behind, np.nan, 0.0)


def _doubt(model: Array, steps: Array) -> float:
    """0.6 of the width where the two outlines lie further apart than that at the median: then neither can be trusted blindly."""
    apart = np.abs(model - steps)
    width = model[0] - model[1]
    if np.isfinite(apart).mean() < 0.2:
        return 0.0
    typical = float(np.nanmedian(apart))
    most = CONTRADICTS * float(np.nanmedian(width))  # steps that went to some other thing say no more than that
    return most if typical > most else 0.0
