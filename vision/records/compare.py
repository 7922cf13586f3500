"""An old reading beside a newer one of the same photo: which numbers moved, and whether by more than their uncertainty."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from vision.report.words import MEASURED

Json = dict[str, Any]


@dataclass(frozen=True)
class Moved:
    """One quantity before and after; None where it was not measured. ``apart`` is the difference over the larger 2 u."""

    name: str
    before: Json | None
    after: Json | None

    @property
    def apart(self) -> float | None:
        """Difference over twice the larger u; the photo is the same, so the two are not independent."""
        if self.before is None or self.after is None:
            return None
        spread = 2.0 * max(self.before["u"], self.after["u"])
        return abs(self.after["value"] - self.before["value"]) / spread if spread else None


def compared(before: Json, after: Json) -> list[Moved]:
    """Return every quantity of two instruments' documents side by side."""
    return [
        Moved(name, before.get(name), after.get(name)) for name, _, _ in MEASURED if before.get(name) or after.get(name)
    ]


def partner(one: Json, others: list[Json]) -> Json | None:
    """Return the instrument of another reading of the same photo that lies where this one lies: most overlap of boxes."""
    ranked = sorted(((_overlap(one["box_px"], other["box_px"]), n) for n, other in enumerate(others)), reverse=True)
    return others[ranked[0][1]] if ranked and ranked[0][0] > 0.0 else None


def _overlap(a: list[int], b: list[int]) -> float:
    """Intersection over union of two boxes (x, y, width, height), each widened by a pixel so that thin ones have area."""
    width = min(a[0] + a[2], b[0] + b[2]) - max(a[0], b[0]) + 1
    height = min(a[1] + a[3], b[1] + b[3]) - max(a[1], b[1]) + 1
    if width <= 0 or height <= 0:
        return 0.0
    both = width * height
    return both / ((a[2] + 1) * (a[3] + 1) + (b[2] + 1) * (b[3] + 1) - both)
