"""A straightened part as an overview shows it: flutes that show toward the handle, and before them a stretch without any.

Lost twist told from single crests (``vision.unwinding``) speaks for it as well, at a tray's scale not by itself: crests are
lost in glints and shadows, and near the tip of a thin one they all are.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.flutes import Flutes
from vision.reading import Finding

Array = NDArray[np.floating[Any]]
KINDS = ("unwound", "reverse-wound")
LEAST_REPEATS = 0.3  # of the sound part; where flutes hardly show, their absence says nothing
SHADING, SWING, ALIKE = 0.3, 0.7, 1.5  # weights of the three signs of flutes, set on development trays
LEAST, MOST = -1.2, 0.4  # of a log: beyond, it says no more
STRETCH, STRETCH_MM = 1.2, 1.2  # of the period, and at least: so much must be bare
BARE = 80.0  # percentile of a stretch: nearly all of it
MIDDLE_MM = (1.8, 6.0)  # of the stretch, from the tip: where a tip that was held fast is turned
FOUND, FOUND_MM = 0.6, (0.8, 8.4)  # what lost twist by crests, inside that, adds; probable by at least LIKELY
LIKELY = 0.9
SURE, DOUBT = 1.4, 1.2
CERTAIN = 1.8  # for a check: one of 623 whole ones on development trays is beyond it, 14 of 22 straightened parts


def straightened(flutes: Flutes, findings: Sequence[Finding]) -> tuple[float, float]:
    """How much speaks for a straightened part (``SURE`` and ``DOUBT`` are levels of it), and its middle, mm from the tip."""
    if flutes.repeats < LEAST_REPEATS:
        return 0.0, 0.0
    shading, swing = (np.clip(log, LEAST, MOST) for log in (flutes.shading, flutes.swing))
    there = SHADING * shading + SWING * swing + ALIKE * flutes.alike
    half = max(STRETCH * flutes.period_mm, STRETCH_MM) / 2.0
    middles = np.arange(*MIDDLE_MM, 0.15)
    shown = np.array([_shown(there, np.abs(flutes.x_mm - middle) < half) for middle in middles])
    barest = int(shown.argmin())
    return float(-shown[barest]) + FOUND * any(map(_by_crests, findings)), float(middles[barest])


def _shown(there: Array, stretch: NDArray[np.bool_]) -> float:
    return float(np.percentile(there[stretch], BARE)) if stretch.sum() >= 4 else 0.0


def _by_crests(finding: Finding) -> bool:
    inside = finding.from_mm >= FOUND_MM[0] and finding.to_mm <= FOUND_MM[1]
    return finding.kind in KINDS and finding.probability >= LIKELY and inside
