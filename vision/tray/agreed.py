"""The length of one whose outlines were too unsure to measure, where two ways of seeing its ends agree; a part that ends under a stop.

What crosses a shaft, or a shadow along it, spoils outlines and with them every width; the ends lie elsewhere. Tip and front as
marked on the strip, and the mask from its end to the handle, err for different reasons. Of 14 whole ones on development trays where
both agreed the length was off by 0.5 mm (rms, the largest 1.0), and one was 2 mm too long in both.

Where flutes are seen up to a stop and smooth shaft behind it, the working part ends beneath: of 84 whole ones on development trays its
middle was off by 0.1 mm at the median, -1.2 to 1.7 (90 %).
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.ends import place_of
from vision.find import Candidate
from vision.instrument import Measured
from vision.quantity import Quantity
from vision.reading import InstrumentReading

Array = NDArray[np.floating[Any]]
AGREE_MM, AGREED_U_MM = 0.7, 0.45
BENEATH_U_MM, NEAR_STOP_MM = 0.8, 0.3  # of a part's end taken for the middle of the stop; so near to it lies what the stop covers
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


def agreed_part(reading: InstrumentReading, seen: Measured) -> Quantity | None:
    """The measured working part, else up to the middle of the stop that covers its end; None without either. For a lost tip alone."""
    end, stop = seen.marks.part_end, seen.stop_mm
    if reading.working_part_mm is not None or end is None or not seen.marks.part_end_hidden or seen.marks.stop is None or stop is None:
        return reading.working_part_mm
    covered = stop[0] - NEAR_STOP_MM <= place_of(seen.profile, end).value <= stop[1] + NEAR_STOP_MM  # else the handle does, or glare
    return Quantity((stop[0] + stop[1]) / 2.0, BENEATH_U_MM) if covered else None


def mask_length(candidate: Candidate, px_per_mm: float) -> float | None:
    """From the end of the thin part to the handle, mm, along the thin part; None without both."""
    thin, handle = (np.argwhere(mask) / px_per_mm for mask in (candidate.thin, candidate.handle))
    if len(thin) < LEAST_PX or len(handle) < LEAST_PX:
        return None
    middle = thin.mean(axis=0)
    axis = np.linalg.svd(thin - middle, full_matrices=False)[2][0]
    axis = axis if (handle.mean(axis=0) - middle) @ axis > 0.0 else -axis
    return float(np.percentile(handle @ axis, 1) - (thin @ axis).min())
