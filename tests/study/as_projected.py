"""What of a true damage the picture can show: a kink along the view bends nothing in a photo from above."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

SHOWS_DEG = 20.0  # a kink of so much as projected is gross damage that the photo shows
BEFORE_MM, BEHIND_MM, LEAST_MM = 4.0, 6.0, 0.3  # the straight pieces on both sides of a kink


def kink_as_projected_deg(true: Mapping[str, Any]) -> float | None:
    """Angle in the picture between the pieces before and behind the kink of a true instrument; None without a kink."""
    kink = next((damage for damage in true["damage"] if damage["kind"] == "kinked"), None)
    if kink is None:
        return None
    first = max(kink["from_mm"], LEAST_MM)
    ahead = _run(true, max(first - BEFORE_MM, 0.0), first)
    behind = _run(true, kink["to_mm"], kink["to_mm"] + BEHIND_MM)
    across = ahead[0] * behind[1] - ahead[1] * behind[0]
    return float(abs(np.degrees(np.arctan2(across, ahead @ behind))))


def shows(true: Mapping[str, Any]) -> bool:
    """Whether a damaged one is damaged in a way that a photo from above shows; False for a whole one."""
    kink_deg = kink_as_projected_deg(true)
    other = any(damage["kind"] != "kinked" for damage in true["damage"])
    return other or (kink_deg is not None and kink_deg >= SHOWS_DEG)


def _run(true: Mapping[str, Any], first_mm: float, last_mm: float) -> np.ndarray:
    """From one place on the axis to another, px."""
    axis = np.array(true["axis_px"], dtype=float)
    return np.array([np.diff(np.interp([first_mm, last_mm], axis[:, 0], axis[:, k]))[0] for k in (1, 2)])
