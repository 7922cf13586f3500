"""How much of a dirty crop a person could see: the area that looks otherwise than the same crop rendered without its dirt.

Dirt that faces the camera is drawn as thin as a film, so that much of it looks like the metal around it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import cv2
import numpy as np
from skimage.color import deltaE_ciede2000, rgb2lab

from samples.scene import Laid, Scene

DEBRIS = "debris"
# CIEDE2000 (CIE 142:2001, from memory: about 1 is just seen side by side); our own choice of what is seen at a glance.
NOTICED = 6.0
SMOOTHED_PX = 3  # against the sensor's noise, which differs where the light does
BESIDE_PX = 30


def shown_mm2(scene: Scene, picture: Any, rendered: Callable[[Scene], Any]) -> float:
    """Area, mm2, by which ``picture`` (H, W, 3), uint8, of a dirty scene differs at a glance from the same scene cleaned."""
    laid = scene.laid[0]
    clean = replace(laid.instrument, marks=tuple(mark for mark in laid.instrument.marks if mark.kind != DEBRIS))
    bare = rendered(replace(scene, laid=(Laid(clean, laid.pose), *scene.laid[1:])))
    differs = np.abs(picture.astype(np.int16) - bare).max(axis=2) > 0
    rows, columns = np.flatnonzero(differs.any(axis=1)), np.flatnonzero(differs.any(axis=0))
    if len(rows) == 0:
        return 0.0
    part = np.s_[max(rows[0] - BESIDE_PX, 0) : rows[-1] + BESIDE_PX, max(columns[0] - BESIDE_PX, 0) : columns[-1] + BESIDE_PX]
    one, other = (rgb2lab(cv2.blur(each[part], (SMOOTHED_PX, SMOOTHED_PX))) for each in (picture, bare))
    seen = (deltaE_ciede2000(one, other) > NOTICED).astype(np.uint8)
    kept = cv2.morphologyEx(seen, cv2.MORPH_OPEN, np.ones((SMOOTHED_PX, SMOOTHED_PX), np.uint8))
    return float(kept.sum()) / scene.camera.px_per_mm**2
