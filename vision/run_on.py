"""Stage 5: Photo, Axis -> Axis, Edges. The axis runs on while metal is seen at its end.

Finding works on a coarse picture: a pale tip may be lost in the paper, and thick metal taken for a handle. The strip network
looks a few millimetres past both ends; where it still sees metal there, the end was none.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.axis import Axis
from vision.edge_lines import Edges
from vision.edges import locate_edges
from vision.marks import HANDLE, LEAST_MM, SMOOTH, WORKING
from vision.photo import Photo

Array = NDArray[np.floating[Any]]
Lit = Callable[[Array], NDArray[np.bool_] | None]
STRIDE_MM, MOST_STRIDES = 5.0, 6
LOOK_MM = 1.2  # of strip at either end
IS_METAL = 0.5  # mean chance of metal over that
SLOPE_MM = 4.0  # the direction to run on in is taken over so much
MARGIN_PX = 2.0


def follow(photo: Photo, axis: Axis, px_per_mm: float, lit: Lit) -> tuple[Axis, Edges]:
    """Locate both outlines on an axis that reaches past the metal at both ends, or to the picture's border.

    ``lit`` tells which axis points (N, 2) lie before a lit screen. An end that was run past is no longer known from
    finding: ``tip_index`` or ``front_index`` is None then, and only the network's marks tell it.
    """
    edges = locate_edges(photo, axis, px_per_mm, lit(axis.px))
    for _ in range(MOST_STRIDES):
        longer = _longer(photo, axis, edges, px_per_mm)
        if longer is axis:
            break
        axis, edges = longer, locate_edges(photo, longer, px_per_mm, lit(longer.px))
    return axis, edges


def _longer(photo: Photo, axis: Axis, edges: Edges, px_per_mm: float) -> Axis:
    """The same axis where neither end shows metal, or none can be gained."""
    if not edges.kinds.size:
        return axis
    line = edges.strip.axis_px  # centred on the metal, unlike the axis as found
    metal, look = edges.kinds[WORKING] + edges.kinds[SMOOTH], max(round(LOOK_MM * px_per_mm), 1)
    if metal[:look].mean() > IS_METAL:
        more = _ahead(photo, line[::-1], px_per_mm)[::-1]
        if len(more):
            front = None if axis.front_index is None else axis.front_index + len(more)
            line = np.concatenate([more, line])
            axis = replace(axis, px=line, tip_index=None, front_index=front)
    gripped = (edges.kinds[HANDLE] > IS_METAL).sum() > LEAST_MM * px_per_mm  # a shiny handle may look like metal farther on
    if metal[-look:].mean() > IS_METAL and not gripped:
        more = _ahead(photo, line, px_per_mm)
        if len(more):
            axis = replace(axis, px=np.concatenate([line, more]), front_index=None)
    return axis


def _ahead(photo: Photo, line_px: Array, px_per_mm: float) -> Array:
    """Points 1 px apart straight on from the line's last one, as far as the picture goes."""
    back = min(round(SLOPE_MM * px_per_mm), len(line_px) - 1)
    way = line_px[-1] - line_px[-1 - back]
    more = line_px[-1] + np.arange(1, round(STRIDE_MM * px_per_mm) + 1)[:, None] * way / np.linalg.norm(way)
    inside = ((more > MARGIN_PX) & (more < [photo.width_px - MARGIN_PX, photo.height_px - MARGIN_PX])).all(axis=1)
    return np.asarray(more[: int(np.argmin(inside))] if not inside.all() else more)
