"""Lost twist at a tray's scale: believed where the crests are far enough apart to be seen one by one, and both edges lack some.

Where crests of one edge alone are missing, a glint or a shadow hid them, and the twist is there.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.reading import Finding

Array = NDArray[np.floating[Any]]
LEAST_PX = 16.0  # between crests; nearer ones are lost now and then without any damage
WIDER = 1.6  # than between the crests outside the stretch, on both edges
BESIDE_MM = 0.6
LEAST_OUTSIDE = 3
KINDS = ("unwound", "reverse-wound")


def surely_straightened(finding: Finding, edges_mm: Sequence[Array], px_per_mm: float) -> bool:
    """Whether both edges, each given by where its crests stand, show wider steps where twist was found lost."""
    return finding.kind in KINDS and all(_wider(np.asarray(crests), finding, px_per_mm) for crests in edges_mm)


def told_apart(edges_mm: Sequence[Array], px_per_mm: float) -> bool:
    """Whether the crests of at least one edge stand far enough apart in the picture."""
    gaps = [np.diff(np.asarray(crests)) for crests in edges_mm if len(crests) > LEAST_OUTSIDE]
    return any(float(np.median(gap)) * px_per_mm >= LEAST_PX for gap in gaps)


def _wider(crests_mm: Array, finding: Finding, px_per_mm: float) -> bool:
    gaps, middles = np.diff(crests_mm), (crests_mm[1:] + crests_mm[:-1]) / 2.0
    inside = (middles > finding.from_mm - BESIDE_MM) & (middles < finding.to_mm + BESIDE_MM)
    if not inside.any() or (~inside).sum() < LEAST_OUTSIDE:
        return False
    usual = float(np.median(gaps[~inside]))
    return usual * px_per_mm >= LEAST_PX and float(gaps[inside].max()) >= WIDER * usual
