"""Stage 3i: what was measured of several candidates -> which of them are an instrument that another one shows already.

A shadow, or what print left over of an instrument, is followed to the metal beside it and would be counted again.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.floating[Any]]
NEAR_MM, SHARE = 0.6, 0.7  # so much of the shorter axis as near as that to the longer one
SHADOW_MM = 2.5  # the same of a piece without a handle: the hard shadow of a shaft lies beside it all along, and wider the higher it lies
NOT_COUNTED = "not counted: "  # how the note on what was left out begins
EVERY_PX = 6


def counted_once(axes_px: Sequence[Array], worth: Sequence[float], px_per_mm: float, near_mm: Sequence[float] | None = None) -> list[bool]:
    """Whether each axis (N, 2), over its metal as seen, is of an instrument of its own. Of two on one metal the one worth more stays.

    ``near_mm``: how near each of them shows one again that is worth more; usually ``NEAR_MM``.
    """
    keep = [True] * len(axes_px)
    near = [NEAR_MM] * len(axes_px) if near_mm is None else near_mm
    order = sorted(range(len(axes_px)), key=lambda k: -worth[k])
    for place, k in enumerate(order):
        reach = [(near[k] if worth[j] > worth[k] else NEAR_MM) * px_per_mm for j in order[:place]]
        keep[k] = not any(keep[j] and on_one_metal(axes_px[k], axes_px[j], px) for j, px in zip(order[:place], reach, strict=True))
    return keep


def on_one_metal(one: Array, other: Array, near_px: float) -> bool:
    """Whether nearly all of the shorter axis runs along the longer one."""
    short = min(one[::EVERY_PX], other[::EVERY_PX], key=len)
    return len(short) > 0 and len(shared(one, other, near_px)) > SHARE * len(short)


def shared(one: Array, other: Array, near_px: float) -> Array:
    """Points of the shorter axis, every few px, that lie so near to the longer one."""
    short, long = sorted((one[::EVERY_PX], other[::EVERY_PX]), key=len)
    if len(short) == 0:
        return short
    first, last = np.maximum(short.min(axis=0), long.min(axis=0)), np.minimum(short.max(axis=0), long.max(axis=0))
    if (first > last + near_px).any():  # far apart, as most are
        return short[:0]
    return np.asarray(short[np.linalg.norm(short[:, None] - long[None], axis=2).min(axis=1) < near_px])
