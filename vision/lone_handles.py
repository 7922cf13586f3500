"""Stage 3f': a coloured handle from which no shaft was traced -> the straight line on which its shaft lies most likely.

A thin shaft in soft light shows in no mask, and one that another handle covers ends there. The handle is no less there: its shaft is
laid straight ahead of the end from which a line differs most from the paper on both its sides.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.grips import WHOLE_MM2, Grip
from vision.shafts import STEP_MM, Ground, Shaft, turned

Array = NDArray[np.floating[Any]]
OWN_HANDLE_MM = 8.0  # a handle whose middle is so far from another's is no part of it
AIMS_DEG = np.arange(-9.0, 9.1, 1.0)  # from the handle's axis
STEP_ASIDE_MM, MOST_ASIDE, BESIDE = 0.08, 12, 8  # in such steps: how far from that axis, and to the paper on both sides of a thin shaft
LOOK_MM = 16.0  # so far ahead
LAID_MM = 21.0  # as long as the shortest are (a test holds it to the nominal tables); where metal ends is found later
MOST = 0.15  # of a difference of light: what print does beside its edges counts no more


def lone_handles(grips: Sequence[Grip], others: Sequence[Grip], px_per_mm: float) -> list[Grip]:
    """Whole coloured handles apart from all ``others``, those with a shaft, and from one another; the larger of two stays."""
    kept: list[Grip] = []
    for grip in sorted(grips, key=lambda one: -int(one.mask.sum())):
        near = any(np.linalg.norm(grip.middle_px - other.middle_px) < OWN_HANDLE_MM * px_per_mm for other in (*others, *kept))
        if grip.rank == 3 and not grip.at_border and not near and grip.mask.sum() > WHOLE_MM2 * px_per_mm**2:
            kept.append(grip)
    return kept


def likeliest_shaft(grip: Grip, ground: Ground) -> Shaft:
    """The straight line from one of the handle's ends along which light differs most from that beside it; its worth is none."""
    ways = [(end, turned(out, aim)) for end, out in zip(grip.ends_px(), (-grip.axis, grip.axis), strict=True) for aim in AIMS_DEG]
    shown = [(*_shown(ground, end, way), end, way) for end, way in ways]
    _, aside, end, way = max(shown, key=lambda one: one[0])
    start = end + aside * ground.px_per_mm * np.array([-way[1], way[0]])
    ahead = np.arange(0.0, LAID_MM, STEP_MM)[:, None] * ground.px_per_mm
    return Shaft(start + ahead * way, 0.0)


def _shown(ground: Ground, end: Array, way: Array) -> tuple[float, float]:
    """How much the line that shows most differs from what lies beside it, and how far it lies aside, mm."""
    if ground.grey is None:
        return 0.0, 0.0
    ahead = np.arange(STEP_MM, LOOK_MM, STEP_MM)[:, None]
    wide = STEP_ASIDE_MM * np.arange(-MOST_ASIDE - BESIDE, MOST_ASIDE + BESIDE + 1)
    x, y = (np.asarray(end[k] + ground.px_per_mm * (ahead * way[k] + wide * n), np.float32) for k, n in ((0, -way[1]), (1, way[0])))
    light = cv2.remap(ground.grey, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    known = cv2.remap(ground.known.astype(np.uint8), x, y, cv2.INTER_NEAREST) > 0
    middle, left, right = slice(BESIDE, -BESIDE), slice(None, -2 * BESIDE), slice(2 * BESIDE, None)
    beside = (light[:, left] + light[:, right]) / 2.0
    told = known[:, middle] & known[:, left] & known[:, right]
    differs = np.where(told, np.minimum(np.abs(light[:, middle] - beside), MOST), 0.0).mean(axis=0)
    best = int(differs.argmax())
    return float(differs[best]), float(wide[middle][best])
