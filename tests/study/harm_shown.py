"""How much of a harm a person could see in the photo: the px that look otherwise than in the same photo of the sound, clean instrument.

Dirt that faces the camera is drawn as thin as a film, so that much of it looks like the metal around it; a chip of a thin crest is less
than a px deep.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import cv2
import numpy as np
from skimage.color import deltaE_ciede2000, rgb2lab

from samples.instrument import Instrument
from samples.scene import Laid, Scene

DEBRIS = "debris"
# CIEDE2000 (CIE 142:2001, from memory: about 1 is just seen side by side); our own choice of what is seen at a glance.
NOTICED = 6.0
SMOOTHED_PX = 3  # against the sensor's noise, which differs where the light does
BESIDE_PX = 30


def shown_px(scene: Scene, picture: Any, rendered: Callable[[Scene], Any]) -> float:
    """Number of px of ``picture`` (H, W, 3), uint8, that differ at a glance from the same scene with the instrument whole and clean."""
    laid = scene.laid[0]
    sound = rendered(replace(scene, laid=(Laid(_sound(laid.instrument), laid.pose), *scene.laid[1:])))
    differs = np.abs(picture.astype(np.int16) - sound).max(axis=2) > 0
    rows, columns = np.flatnonzero(differs.any(axis=1)), np.flatnonzero(differs.any(axis=0))
    if len(rows) == 0:
        return 0.0
    part = np.s_[max(rows[0] - BESIDE_PX, 0) : rows[-1] + BESIDE_PX, max(columns[0] - BESIDE_PX, 0) : columns[-1] + BESIDE_PX]
    one, other = (rgb2lab(cv2.blur(each[part], (SMOOTHED_PX, SMOOTHED_PX))) for each in (picture, sound))
    seen = (deltaE_ciede2000(one, other) > NOTICED).astype(np.uint8)
    return float(cv2.morphologyEx(seen, cv2.MORPH_OPEN, np.ones((SMOOTHED_PX, SMOOTHED_PX), np.uint8)).sum())


def _sound(one: Instrument) -> Instrument:
    marks = tuple(mark for mark in one.marks if mark.kind != DEBRIS)
    return replace(one, marks=marks, damage=(), barbs=tuple(replace(barb, folded=False, missing=False) for barb in one.barbs))
