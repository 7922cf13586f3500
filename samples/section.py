"""Cross-sections of twisted blanks: distance from the axis to the surface as a function of the angle.

A corner lies at angle 0. `radius_mm` is the radius of the circle that encloses the section and touches its rounded
corners; `corner_mm` is the radius of that rounding. Closed forms: a face is the common tangent of two corner circles.
"""

import math
from typing import Any

from samples.arrays import Array


def polygon_radius(xp: Any, angle: Array, radius_mm: Array, corner_mm: Array, sides: int) -> Array:
    """Regular polygon with `sides` corners; angle in radians, any shape; result in mm.

    A corner radius as large as `radius_mm` gives the circle.
    """
    sector = 2.0 * math.pi / sides
    half = sector / 2.0
    off = xp.abs(angle - sector * xp.round(angle / sector))
    centre = radius_mm - corner_mm
    line = (centre * math.cos(half) + corner_mm) / xp.cos(half - off)
    arc = _arc(xp, off, centre, corner_mm)
    touch = xp.arctan2(corner_mm * math.sin(half), centre + corner_mm * math.cos(half))
    return xp.where(off < touch, arc, line)


def rhombus_radius(xp: Any, angle: Array, radius_mm: Array, corner_mm: Array, ratio: float) -> Array:
    """Rhombus with its high corners at 0 and 180 degrees; the low ones reach `ratio` x `radius_mm`, ratio in (0, 1]."""
    off = xp.abs(angle - math.pi * xp.round(angle / math.pi))
    high = radius_mm - corner_mm
    low = xp.clip(radius_mm * ratio - corner_mm, 1e-6, None)
    normal = xp.arctan2(high, low)
    line = (high * low / xp.sqrt(high * high + low * low + 1e-12) + corner_mm) / xp.cos(off - normal)
    off_low = math.pi / 2.0 - off
    cos_n, sin_n = xp.cos(normal), xp.sin(normal)
    touch_high = xp.arctan2(corner_mm * sin_n, high + corner_mm * cos_n)
    touch_low = xp.arctan2(corner_mm * cos_n, low + corner_mm * sin_n)
    out = xp.where(off < touch_high, _arc(xp, off, high, corner_mm), line)
    return xp.where(off_low < touch_low, _arc(xp, off_low, low, corner_mm), out)


def _arc(xp: Any, off: Array, centre_mm: Array, corner_mm: Array) -> Array:
    """Far crossing of the ray at angle `off` with the circle of radius `corner_mm` about (centre_mm, 0)."""
    across = centre_mm * xp.sin(off)
    return centre_mm * xp.cos(off) + xp.sqrt(xp.clip(corner_mm * corner_mm - across * across, 0.0, None))


def groove_profile(steep_share: float, crest_share: float, count: int = 2048) -> list[float]:
    """One turn of a machined groove, 0 at the root and 1 at the crest, `count` + 1 values over one lead.

    Runs from tip to handle: a straight rise (gentle), then a straight fall over `steep_share` of the lead. A flat land
    of `crest_share` of the lead stands on the crest, and as much at the root.
    """
    rise = 1.0 - steep_share - 2.0 * crest_share
    knots = (0.0, crest_share, crest_share + rise, 2.0 * crest_share + rise, 1.0)
    values = (0.0, 0.0, 1.0, 1.0, 0.0)
    out = []
    for i in range(count + 1):
        u = i / count
        k = max(j for j in range(4) if knots[j] <= u + 1e-12)
        share = (u - knots[k]) / max(knots[k + 1] - knots[k], 1e-12)
        out.append(values[k] + (values[k + 1] - values[k]) * share)
    return out
