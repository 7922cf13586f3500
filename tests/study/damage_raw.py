"""What each examination came to before any alert: for ROC curves over all chances, and for weighing witnesses."""

from __future__ import annotations

from typing import Any

import numpy as np

from vision.condition import Seen
from vision.hurt_sight import HURTS, HurtSight
from vision.judged import examined, given_of
from vision.quantity import Quantity
from vision.tip_loss import end_reach
from vision.together import Looked

EVERY_MM = 0.1


def raw_of(looked: Looked, at: int = 0) -> dict[str, Any]:
    """The examinations of one of a photo's instruments in plain numbers."""
    candidate, measured = looked.found[at]
    given = given_of(looked.relative, candidate, measured)
    seen = examined(looked.photo, measured, given)
    raw = _outline(seen) | _twist(seen)
    raw["section"] = measured.evidence.best
    raw["reach"] = _round(end_reach(measured.profile))
    raw["colour"] = given.colour.word
    found = given.dimensions
    raw["length"], raw["part"], raw["d0"] = (_pair(q) for q in (found.length_mm, found.working_part_mm, found.d0_mm))
    raw["part_end"], raw["stop"] = _round(measured.outline.working_end_mm), measured.stop_mm
    raw["spikes"] = [round(float(x), 2) for x in measured.outline.spikes_mm]
    if seen.hurts is not None:
        raw["net"] = _net(seen.hurts)
    return raw


def _twist(seen: Seen) -> dict[str, Any]:
    twist, tip = seen.twist, seen.tip
    raw: dict[str, Any] = {}
    if twist is not None:
        where = (*twist.zone_mm, twist.reversed_mm, twist.scatter_deg)
        raw["twist"] = [_round(v) for v in (twist.probability, *_pair(twist.loss_deg), *where, twist.same_hand)]
    if tip is not None:
        raw["tip"] = [_round(v) for v in (tip.probability, *_pair(tip.lost_mm))]
    return raw


def _outline(seen: Seen) -> dict[str, Any]:
    raw: dict[str, Any] = {}
    if seen.bend is not None:
        raw["bend"] = [_round(v) for v in (seen.bend.probability, seen.bend.sharp_deg, seen.bend.u_deg, seen.bend.at_mm)]
    if seen.chip is not None:
        raw["chip"] = [_round(v) for v in (seen.chip.spreads, *_pair(seen.chip.depth_percent), seen.chip.from_mm, seen.chip.to_mm)]
    if seen.teeth:
        raw["teeth"] = [[_round(v) for v in (one.from_mm, one.to_mm, one.spreads, one.depth_percent.value)] for one in seen.teeth]
    if seen.barbs is not None:
        raw["barbs"] = [_round(v) for v in (seen.barbs.probability, *_pair(seen.barbs.missing), seen.barbs.from_mm, seen.barbs.to_mm)]
    if seen.dirt is not None:
        raw["dirt"] = [_round(v) for v in (seen.dirt.height_mm, seen.dirt.at_mm)]
    return raw


def _net(hurts: HurtSight) -> dict[str, list[int]]:
    """Greatest chance in every tenth of a mm, in hundredths."""
    places = np.arange(-0.5, min(float(hurts.x_mm[-1]), 26.0), EVERY_MM)
    return {kind: [round(100.0 * hurts.most(kind, x, x + EVERY_MM)) for x in places] for kind in HURTS}


def _pair(value: Quantity | None) -> tuple[float, float] | tuple[None, None]:
    return (None, None) if value is None else (round(value.value, 4), round(value.u, 4))


def _round(value: float | None) -> float | None:
    return None if value is None else round(float(value), 4)
