"""Stage 6p: Profile -> the wire's width where it enters the handle, for naming where the smooth part could not be fitted.

In an overview that end is nearly always seen, also where a crossing shaft, a stop or print hides the rest.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.place import Profile
from vision.quantity import Quantity

Array = NDArray[np.floating[Any]]
FROM_MM, CLEAR_MM = 5.0, 0.8  # before the handle's front: where it is looked at, and where the handle's rim and shadow begin
STOP_CLEAR_MM = 0.6
LEAST_MM = 0.8
# Judged by eye on development trays: an outline here follows a shadow or mirrored paper by up to half a px.
U_MM, U_PX = 0.05, 0.5


def width_near_handle(profile: Profile, last_mm: float, stop_mm: tuple[float, float] | None) -> Quantity | None:
    """Median width (mm) over the last millimetres before ``last_mm``, the handle's front; None where less than 0.8 mm is seen."""
    width = profile.upper_mm - profile.lower_mm
    use = (profile.x_mm > last_mm - FROM_MM) & (profile.x_mm < last_mm - CLEAR_MM) & np.isfinite(width)
    if stop_mm is not None:
        use &= (profile.x_mm < stop_mm[0] - STOP_CLEAR_MM) | (profile.x_mm > stop_mm[1] + STOP_CLEAR_MM)
    seen = width[use]
    if len(seen) < LEAST_MM * profile.px_per_mm:
        return None
    middle = float(np.median(seen))
    spread = 1.48 * float(np.median(np.abs(seen - middle)))
    return Quantity(middle, float(np.hypot(U_MM, np.hypot(U_PX / profile.px_per_mm, spread))))
