"""Beyond the picture's border nothing is claimed."""

from __future__ import annotations

import numpy as np

from vision.edge_lines import BORDER_PX, Edges
from vision.strip import Strip


def test_no_outline_is_claimed_beyond_a_slanted_border() -> None:
    """A shaft that leaves a picture of 200 x 100 px at a slant: first its upper edge is gone, then its lower, both go with the first."""
    along = np.arange(0.0, 260.0)
    way, normal = np.array([0.8, 0.6]), np.array([-0.6, 0.8])
    line = np.array([20.0, 20.0]) + along[:, None] * way
    edge = np.full(len(along), 10.0)
    strip = Strip(np.ones((31, len(along)), dtype=np.float32), line, np.tile(normal, (len(along), 1)), np.ones(len(along), dtype=bool))
    edges = Edges(strip, edge, -edge, np.ones((2, len(along))), 1.0, 1.0, outer_px=np.stack([edge, -edge]))

    left = edges.within(200, 100)
    lowest = line[:, 1] + 10.0 * normal[1]  # y of the upper edge, which meets the picture's foot first
    seen = lowest <= 99.0 - BORDER_PX
    assert 0.1 < seen.mean() < 0.9
    assert (np.isfinite(left.upper_px) == seen).all()
    assert (np.isfinite(left.lower_px) == seen).all()
    assert (np.isfinite(left.outer_px) == seen).all()
    assert edges.within(1000, 1000) is edges
