"""Which way a damage faces in its window: what lies on the far side shows nothing, and a network is not to be asked for it."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from samples.instrument import Damage, Instrument
from samples.pose import Pose
from samples.twist import twist_rad

FAR_SIDE = -0.3  # upward part of the outward direction below which neither outline nor face shows it


def seen(instrument: Instrument, pose: Pose, one: Damage) -> Damage | None:
    """The damage as a camera above the sheet is shown it: a kink by its projected angle, None for what faces away.

    Bows and pre-curves turn no direction by enough to matter.
    """
    if one.kind == "kinked":
        sideways = math.sqrt(max(1.0 - _upward(pose, math.radians(one.angle_deg)) ** 2, 0.0))
        return replace(one, strength=math.degrees(math.atan(math.tan(math.radians(min(one.strength, 80.0))) * sideways)))
    if one.kind == "crest-chipped":
        middle = np.array([0.5 * (one.from_mm + one.to_mm)])
        hand = 1.0 if instrument.twist_hand == "right" else -1.0
        angle = hand * (float(twist_rad(instrument, middle)[0]) + math.radians(one.angle_deg))
        return one if _upward(pose, angle) > FAR_SIDE else None
    if one.kind == "debris":
        return one if _upward(pose, math.radians(one.angle_deg)) > FAR_SIDE else None
    return one


def barbs_seen(instrument: Instrument, pose: Pose, one: Damage) -> list[tuple[float, float, bool]]:
    """Root and point of every barb of a hurt row, mm from the tip, and whether it faces the camera or stands in the outline."""
    flag = "folded" if one.kind == "barbs-folded" else "missing"
    return [
        (barb.x_mm, barb.x_mm + barb.length_mm, _upward(pose, math.radians(barb.angle_deg)) > FAR_SIDE)
        for barb in instrument.barbs
        if getattr(barb, flag) and one.from_mm - 0.01 <= barb.x_mm <= one.to_mm
    ]


def _upward(pose: Pose, angle_rad: float) -> float:
    axes = pose.axes
    return float(math.cos(angle_rad) * axes[1, 2] + math.sin(angle_rad) * axes[2, 2])
