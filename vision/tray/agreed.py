"""The length of one whose outlines were too unsure to measure, where two ways of seeing its ends agree.

What crosses a shaft, or a shadow along it, spoils outlines and with them every width; the ends lie elsewhere. Tip and front as
marked on the strip, and the mask from its end to the handle, err for different reasons. Of 14 whole ones on development trays where
both agreed the length was off by 0.5 mm (rms, the largest 1.0), and one was 2 mm too long in both.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.find import Candidate
from vision.instrument import Measured
from vision.quantity import Quantity
from vision.reading import InstrumentReading

Array = NDArray[np.floating[Any]]
AGREE_MM, AGREED_U_MM = 0.7, 0.45
LEAST_PX = 50


def agreed_length(reading: InstrumentReading, candidate: Candidate, seen: Measured, px_per_mm: float) -> Quantity | None:
    """The measured length, else that on which marks and mask agree; None without either. For telling a lost tip alone."""
    if reading.length_mm is not None:
        return reading.length_mm
    by_mask = mask_length(candidate, px_per_mm)
    if by_mask is None or seen.front_mm is None or seen.tip.column is None:
        return None
    if abs(by_mask - seen.front_mm.value) > AGREE_MM:
        return None
    return Quantity(seen.front_mm.value, math.hypot(AGREED_U_MM, seen.front_mm.u))


def mask_length(candidate: Candidate, px_per_mm: float) -> float | None:
    """From the end of the thin part to the handle, mm, along the thin part; None without both."""
    thin, handle = (np.argwhere(mask) / px_per_mm for mask in (candidate.thin, candidate.handle))
    if len(thin) < LEAST_PX or len(handle) < LEAST_PX:
        return None
    middle = thin.mean(axis=0)
    axis = np.linalg.svd(thin - middle, full_matrices=False)[2][0]
    axis = axis if (handle.mean(axis=0) - middle) @ axis > 0.0 else -axis
    return float(np.percentile(handle @ axis, 1) - (thin @ axis).min())
