"""Stage 6f': Profile -> by how much an outline jumps where the blank under it does not.

Outlines of a twisted blank, or of wire, run on from column to column. Where one jumps aside and stays there, it follows the metal on one
side of the jump and something else on the other, as a shadow of the metal's own grey that lies against it; which of the two is not
known. Of 77 development photos, 46 of them hard, such jumps lay near the tip on five: two of the three whose D0 was off by more than
3 u, and three that were in doubt by more than 20 um besides. None lay there on the 31 usual ones, broaches among them: their barbs are
left out of this outline. That of a Hedstroem file jumps at every tooth: not for those.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.place import Profile

Array = NDArray[np.floating[Any]]
LEAST_PX_PER_MM = 40.0  # below, crests themselves rise within the columns that a jump is told by
NEAR_MM = (1.0, 8.0)  # from the tip: behind its own cone, and as far as D0 leans on
OVER_MM, STAYS_MM = 0.02, 0.3  # half of what a jump is told over; how long it stays
LEAST_ROWS, LEAST_SHARE = 4.0, 0.1  # of a jump: rows of the strip, and share of the metal's width
STAYS = 0.5  # share of it that is left over `STAYS_MM`


def jump_mm(profile: Profile, row_mm: float) -> float:
    """Median size of the jumps of both outlines near the tip, mm; 0 where there are none, or where the photo is too coarse to tell.

    ``row_mm``: mm a row of the strip that the network was shown.
    """
    if profile.px_per_mm < LEAST_PX_PER_MM:
        return 0.0
    near = np.flatnonzero((profile.x_mm > NEAR_MM[0]) & (profile.x_mm < NEAR_MM[1]))
    width = (profile.upper_mm - profile.lower_mm)[near]
    if not np.isfinite(width).any():
        return 0.0
    least = max(LEAST_ROWS * row_mm, LEAST_SHARE * float(np.nanmedian(width)))
    found = [size for edge in (profile.upper_mm, profile.lower_mm) for size in _jumps(edge[near], least, profile.px_per_mm)]
    return float(np.median(found)) if found else 0.0


def _jumps(edge: Array, least: float, px_per_mm: float) -> list[float]:
    """Sizes of an outline's jumps of at least ``least`` that stay."""
    over, stays = max(round(OVER_MM * px_per_mm), 2), round(STAYS_MM * px_per_mm)
    step = np.zeros(len(edge))
    step[over:-over] = np.nan_to_num(edge[2 * over :] - edge[: -2 * over])
    at = np.flatnonzero(np.abs(step) > least)
    if len(at) == 0:
        return []
    tops = [run[int(np.argmax(np.abs(step[run])))] for run in np.split(at, np.flatnonzero(np.diff(at) > 2 * over) + 1)]
    sizes = []
    for top in tops:
        before, after = edge[max(top - stays, 0) : top - over], edge[top + over : top + stays]
        before, after = before[np.isfinite(before)], after[np.isfinite(after)]
        if min(len(before), len(after)) <= stays // 2:
            continue
        if np.sign(step[top]) * (np.median(after) - np.median(before)) > STAYS * abs(step[top]):
            sizes.append(float(abs(step[top])))
    return sizes
