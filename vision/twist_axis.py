"""Stage 6i: TwistFit, edges -> the axes about which its twist may be followed.

The smooth axis of a fit cannot follow a kink or a pre-curve. A section with an even number of corners has its axis midway between the
edges; a triangle's middle swings by the twist that is yet to be followed. Its axis is found from two sides: the fit's, and the middle
averaged over one flute, which swings as much up as down where the blank is wound as usual; about either the twist is followed once, and
the middle less that swing is the axis. Which of the two was better is for the outline to say.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, median_filter

from vision.outline import Outline
from vision.place import Profile
from vision.shapes import support
from vision.twist import TwistFit
from vision.twist_path import TwistPath, freely_followed, usual_rate

Array = NDArray[np.floating[Any]]
AXIS_MM, SWING_MM = 0.5, 1.0  # lengths over which the middle of both edges is smoothed to an axis


def axes(fit: TwistFit, profile: Profile, outline: Outline) -> Iterator[Array]:
    """The axes (N,) at the profile's stations, counted as its edges are, the likelier first; none where nothing can be followed."""
    middle = (profile.upper_mm + profile.lower_mm) / 2.0
    rate = usual_rate(fit)
    if not len(outline.centre_mm) or rate <= 0.0:
        return
    if fit.blank.corners % 2 == 0:
        yield smooth_axis(profile, middle, AXIS_MM)
        return
    yield from _without_swing(fit, profile, middle, _fitted(fit, profile, outline))
    yield from _without_swing(fit, profile, middle, smooth_axis(profile, middle, 2.0 * np.pi / fit.blank.corners / rate))


def _fitted(fit: TwistFit, profile: Profile, outline: Outline) -> Array:
    scaled = 2.0 * (profile.x_mm - fit.span_mm[0]) / (fit.span_mm[1] - fit.span_mm[0]) - 1.0
    return np.asarray(outline.centre_mm + np.polynomial.legendre.legval(np.clip(scaled, -1.0, 1.0), fit.axis_mm))


def _without_swing(fit: TwistFit, profile: Profile, middle_mm: Array, axis_mm: Array) -> Iterator[Array]:
    """Follow the twist about an axis and take its swing off the middle; none where it cannot be followed."""
    first = freely_followed(fit, profile.x_mm, profile.upper_mm, profile.lower_mm, axis_mm, profile.trust)
    if first is not None:
        yield axis_mm + smooth_axis(profile, middle_mm - swing_mm(fit, first, profile.x_mm) - axis_mm, SWING_MM)


def swing_mm(fit: TwistFit, path: TwistPath, x_mm: Array) -> Array:
    """How far the middle of both edges lies from the axis because the section is not symmetric (a triangle's), mm; 0 elsewhere."""
    inside = (x_mm > path.x_mm[0]) & (x_mm < path.x_mm[-1])
    theta = np.interp(x_mm, path.x_mm, path.theta_rad)
    above, below = (support(fit.blank, theta + turn, fit.rounding, fit.low_corner) for turn in (0.0, np.pi))
    return np.where(inside, 0.5 * fit.radius_mm(x_mm) * (above - below), 0.0)


def smooth_axis(profile: Profile, middle_mm: Array, over_mm: float) -> Array:
    """Running median, then mean, of a middle line; bridged where it is not seen."""
    good = np.isfinite(middle_mm)
    if good.sum() < 20:
        return np.zeros(len(middle_mm))
    filled = np.interp(profile.x_mm, profile.x_mm[good], middle_mm[good])
    size = max(round(over_mm * profile.px_per_mm), 3) | 1
    return np.asarray(gaussian_filter1d(median_filter(filled, size, mode="nearest"), size / 3.0, mode="nearest"))
