"""Stage 5 of 9: Photo, Axis -> Edges. Both outlines of the metal along the axis, in px, to a fraction of a px.

The learned outline model says where the metal is; the brightness steps give the blur, and show what stands out from the
metal (barbs). The axis is moved onto the outline's middle and the model asked once more.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from vision.axis import Axis
from vision.edge_lines import Edges
from vision.metal import metal_edges
from vision.photo import Photo
from vision.step_edges import recentred, step_edges
from vision.strip import straighten

__all__ = ["Edges", "locate_edges"]


def locate_edges(photo: Photo, axis: Axis, px_per_mm: float) -> Edges:
    """Locate both outlines by the learned model on the axis that the steps have centred."""
    steps = step_edges(photo, axis, px_per_mm)
    half_px = axis.half_mm * px_per_mm
    first = metal_edges(photo, axis.px, half_px)
    centred = recentred(replace(steps, strip=straighten(photo, axis.px, steps.strip.half_px), upper_px=first[0], lower_px=first[1]))
    width = np.nanpercentile(first[0] - first[1], 90) if np.isfinite(first[0] - first[1]).any() else 2.0 * half_px
    upper, lower, _ = metal_edges(photo, centred, float(width) / 2.0)
    strip = straighten(photo, centred, steps.strip.half_px)
    moved = ((steps.strip.axis_px - centred) * strip.normal).sum(axis=1)
    outer = np.stack([steps.upper_px + moved, steps.lower_px + moved])
    return replace(steps, strip=strip, upper_px=upper, lower_px=lower, outer_px=outer)
