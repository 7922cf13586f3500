"""Scenes of the tray study: 8 to 24 instruments, 12 to 30 px/mm, one in five askew, 15 in 100 grossly damaged, one in 25 a stranger."""

from __future__ import annotations

import numpy as np

from samples.scene import Scene
from samples.tray import draw_tray

MESSY, GROSS, STRANGERS = 0.20, 0.15, 0.04


def tray_scene(seed: int) -> Scene:
    """Draw the scene of one seed: the whole page in two of five, neighbouring lanes otherwise."""
    rng = np.random.default_rng([seed, 41])
    count, close = int(rng.integers(8, 25)), bool(rng.random() < 0.6)
    return draw_tray(seed, count, messy=MESSY, strangers=STRANGERS, gross=GROSS, close=close)
