"""Stage 6f: Profile -> Outline. Which crests there are, how far the working part goes, and every blank's best fit.

No decision is taken here: the fits stand side by side, and ``vision.blank`` weighs them.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.crests import Crests, find_crests, upper_line
from vision.envelope import Cone, along_edges, even_width, through_crests
from vision.place import Profile
from vision.quantity import Quantity
from vision.shapes import RHOMBUS, SQUARE, TRIANGLE
from vision.twist import TwistFit, fit_twist

Array = NDArray[np.floating[Any]]
TIP_CLEAR = 1.3  # times the diameter: the tip's cone is longer than this only below 42 deg
SPIKE_CLEAR_MM = 1.2  # before the handle
SPIKE_LONGEST_MM, SPIKES_APART_MM = 1.5, 2.5
CORRELATED_MM = 0.05  # neighbouring edge points share blur and smoothing over about this length
ASTRAY_PX = 1.0  # spread of the network beyond which it wavers between two edges: then all of it is carried


@dataclass(frozen=True)
class Outline:
    """Fits of one instrument's outline, mm: crests of both edges (heights outward), the working part's end, the candidates.

    ``twists`` holds the fits of square, triangle and rhombus that converged, ``groove`` the cone through the crests,
    ``groove_misfit_mm`` how well one repeated tooth explains both edges, ``wire`` the cone along the edges with outliers
    left out, ``spikes_mm`` where the edges stand out from that wire. ``centre_mm`` is the smooth middle of both edges that heights
    are counted from, one for each station of the profile.
    """

    upper: Crests
    lower: Crests
    working_end_mm: float | None
    working_end_u_mm: float | None
    end_hidden: bool
    span_mm: tuple[float, float]
    twists: dict[str, TwistFit]
    groove: Cone | None
    groove_misfit_mm: float | None
    wire: Cone | None
    spikes_mm: Array
    shank: Cone | None
    centre_mm: Array = field(default_factory=lambda: np.empty(0))


def read_outline(
    profile: Profile,
    *,
    from_mm: float,
    to_mm: float,
    clear_of_mm: tuple[float, float] | None,
    part_end: Quantity | None = None,
    end_hidden: bool = False,
) -> Outline:
    """Read the outline between two stations; ``clear_of_mm`` is the stretch hidden by a stop, ``part_end`` where the network
    sees the flutes end (None: the crests alone tell), ``end_hidden`` whether a stop or the handle covers that place.
    """
    upper_mm, lower_mm = _without(profile, clear_of_mm)
    thick = float(np.nanmedian((upper_mm - lower_mm)[(profile.x_mm > from_mm) & (profile.x_mm < to_mm)]))
    start = max(from_mm + 0.25, from_mm + TIP_CLEAR * 0.5 * thick)
    centre = _centre_line(profile.x_mm, upper_mm, lower_mm, start, to_mm)
    upper = find_crests(profile.x_mm, upper_mm - centre, from_mm=start, to_mm=to_mm)
    lower = find_crests(profile.x_mm, centre - lower_mm, from_mm=start, to_mm=to_mm)
    ridges = (
        find_crests(profile.x_mm, upper_mm - centre, from_mm=start, to_mm=to_mm, ridges=True),
        find_crests(profile.x_mm, centre - lower_mm, from_mm=start, to_mm=to_mm, ridges=True),
    )
    end = part_end.value if part_end is not None else working_end(upper, lower)
    upper, lower = _until(upper, end), _until(lower, end)
    ridges = (_until(ridges[0], end), _until(ridges[1], end))
    last = min(end if end is not None else to_mm, to_mm)
    span = (start, max(last - 0.3, start + 1.0))
    edges = (upper_mm - centre, lower_mm - centre)
    twists = _twists(profile.x_mm, *edges, (upper, lower), span, profile.trust)
    stations = CORRELATED_MM * profile.px_per_mm
    outer = (
        _hide(profile.x_mm, profile.outer_mm[0] - centre, clear_of_mm),
        _hide(profile.x_mm, profile.outer_mm[1] - centre, clear_of_mm),
    )
    barbs_to = to_mm if part_end is None else min(part_end.value, to_mm)
    wire, spikes = _wire(profile.x_mm, edges, outer, (start, barbs_to), stations, profile.trust, barbs_seen=part_end is None)
    return Outline(
        upper,
        lower,
        end,
        None if part_end is None else part_end.u,
        end_hidden,
        span,
        twists,
        through_crests(*ridges),
        _groove_misfit(profile.x_mm, *edges, upper, lower, span),
        wire,
        spikes,
        _shank(profile, *edges, end, to_mm),
        centre,
    )


def working_end(upper: Crests, lower: Crests) -> float | None:
    """Station where the crests' swing has fallen to half of its usual depth; None without enough crests.

    From the longest run of flutes toward the handle: the first place after which two valleys running are shallow or no
    crest follows, so that scattered dents of the shank (a stop's shadow, a scratch) do not count as flutes. Gaps on the
    tip's side of that run are left alone: an unwound stretch has them.
    """
    ends = []
    for crests in (upper, lower):
        if len(crests.valley_x_mm) < 3:
            continue
        level = (crests.height_mm[1:] + crests.height_mm[:-1]) / 2.0
        depth = 1.0 - crests.valley_mm / level
        gaps = crests.spacing_mm
        usual, step = float(np.median(depth)), float(np.median(gaps))
        flute = (depth > usual / 2.0) & (gaps < 2.2 * step)
        last = _longest_run_start(flute)
        for k in range(last, len(flute)):
            if flute[k]:
                last = k
            elif gaps[k] >= 2.2 * step or not flute[k : k + 2].any():
                break
        ends.append(float(crests.valley_x_mm[last] + crests.x_mm[last + 1]) / 2.0)
    return float(np.mean(ends)) if ends else None


def _longest_run_start(flute: NDArray[np.bool_]) -> int:
    """First index of the longest run of True; 0 when there is none."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], flute.astype(int), [0]])))
    if len(edges) == 0:
        return 0
    starts, stops = edges[::2], edges[1::2]
    return int(starts[np.argmax(stops - starts)])


def _without(profile: Profile, hidden: tuple[float, float] | None) -> tuple[Array, Array]:
    return _hide(profile.x_mm, profile.upper_mm, hidden), _hide(profile.x_mm, profile.lower_mm, hidden)


def _centre_line(x: Array, upper: Array, lower: Array, start: float, stop: float) -> Array:
    """Cubic through the middle of both edges: for a triangle it wanders half a crest about the axis and evens out."""
    middle = (upper + lower) / 2.0
    good = np.isfinite(middle) & (x > start) & (x < stop)
    if good.sum() < 50:
        return np.zeros(len(x))
    weight = np.ones(good.sum())
    curve = np.polynomial.Polynomial([0.0])
    for _ in range(6):
        curve = np.polynomial.Polynomial.fit(x[good], middle[good], 3, w=weight)
        miss = np.abs(middle[good] - curve(x[good]))
        weight = 1.0 / np.sqrt(1.0 + (miss / (2.0 * np.median(miss) + 1e-4)) ** 2)
    return np.asarray(curve(np.clip(x, start, stop)))


def _until(crests: Crests, end: float | None) -> Crests:
    if end is None:
        return crests
    gap = float(np.median(crests.spacing_mm)) if len(crests.x_mm) > 1 else 0.0
    kept = crests.x_mm <= end + 0.3 * gap
    low = crests.valley_x_mm <= (crests.x_mm[kept].max() if kept.any() else 0.0)
    return Crests(crests.x_mm[kept], crests.height_mm[kept], crests.valley_x_mm[low], crests.valley_mm[low])


def _twists(
    x: Array, upper: Array, lower: Array, crests: tuple[Crests, Crests], span: tuple[float, float], trust: Array
) -> dict[str, TwistFit]:
    fits = {blank.name: fit_twist(blank, x, upper, lower, crests, span, trust) for blank in (SQUARE, TRIANGLE, RHOMBUS)}
    return {name: fit for name, fit in fits.items() if fit is not None}


def _cut(x: Array, upper: Array, lower: Array, trust: Array, start: float, stop: float) -> tuple[Array, Array, Array, Array]:
    use = (x >= start) & (x <= stop)
    return x[use], upper[use], lower[use], trust[:, use]


def _wire(
    x: Array,
    edges: tuple[Array, Array],
    outer: tuple[Array, Array],
    span: tuple[float, float],
    stations: float,
    trust: Array,
    *,
    barbs_seen: bool,
) -> tuple[Cone | None, Array]:
    """Cone along the edges and what stands out from it. Where the edges may show barbs, once more
    over the barbed part alone: the shank may not taper.
    """
    whole = along_edges(*_cut(x, *edges, trust, *span), barbs=barbs_seen, correlated_points=stations)
    spikes = _spikes(x, *outer, whole, span)
    if not barbs_seen or whole is None or len(spikes) < 3 or spikes[-1] - span[0] < 4.0:
        return whole, spikes
    barbed = along_edges(*_cut(x, *edges, trust, span[0], float(spikes[-1])), barbs=True, correlated_points=stations)
    return (barbed, spikes) if barbed is not None else (whole, spikes)


def _hide(x: Array, height: Array, hidden: tuple[float, float] | None) -> Array:
    if hidden is None:
        return height
    return np.where((x > hidden[0] - 0.5) & (x < hidden[1] + 0.5), np.nan, height)


def _groove_misfit(
    x: Array, upper: Array, lower: Array, crests_up: Crests, crests_low: Crests, span: tuple[float, float]
) -> float | None:
    """Robust spread of both edges about one tooth repeated along them, the teeth stretched to the crests' own places."""
    misses = []
    for height, crests in ((upper, crests_up), (-lower, crests_low)):
        if len(crests.x_mm) < 4:
            return None
        use = (x > max(span[0], crests.x_mm[0])) & (x < min(span[1], crests.x_mm[-1])) & np.isfinite(height)
        phase = np.interp(x[use], crests.x_mm, np.arange(len(crests.x_mm))) % 1.0
        radius = upper_line(crests.x_mm, crests.height_mm)
        relative = height[use] / np.interp(x[use], crests.x_mm, radius)
        index = (phase * 24).astype(int)
        tooth = np.array([np.median(relative[index == k]) if (index == k).any() else np.nan for k in range(24)])
        misses.append((relative - tooth[index]) * np.interp(x[use], crests.x_mm, radius))
    pooled = np.concatenate(misses)
    pooled = pooled[np.isfinite(pooled)]
    return 1.4826 * float(np.median(np.abs(pooled))) if len(pooled) > 50 else None


def _spikes(x: Array, upper: Array, lower: Array, wire: Cone | None, span: tuple[float, float]) -> Array:
    """Stations where either edge stands out from the wire by more than 8 % of its diameter and five times its misfit.

    Only the first cluster from the tip counts: barbs follow one another, and what lies apart is dirt, a stop or a shadow.
    """
    if wire is None:
        return np.empty(0)
    places: list[float] = []
    for height in (upper, -lower):
        use = (x > span[0]) & (x < span[1] - SPIKE_CLEAR_MM) & np.isfinite(height)
        radius = (wire.d0_mm + wire.taper * x[use]) / 2.0
        excess = height[use] - radius
        out = (excess > np.maximum(0.16 * radius, 5.0 * wire.misfit_mm)) & (excess < 2.5 * radius + 0.1)
        runs = np.flatnonzero(np.diff(np.concatenate([[0], out.astype(int), [0]])))
        stations = x[use]
        for a, b in zip(runs[::2], runs[1::2], strict=True):
            if 0.01 < stations[b - 1] - stations[a] < SPIKE_LONGEST_MM:
                places.append(float(stations[(a + b - 1) // 2]))
    found = np.sort(np.array(places))
    apart = np.flatnonzero(np.diff(found) > SPIKES_APART_MM)
    return found[: apart[0] + 1] if len(apart) else found


def _shank(profile: Profile, upper: Array, lower: Array, end: float | None, stop: float) -> Cone | None:
    """Smooth part, 0.5 mm clear of both ends; None when less than 0.8 mm of it is seen."""
    if end is None or stop - end < 1.8:
        return None
    # clear of the handle's rim and shadow
    use = (profile.x_mm >= end + 0.5) & (profile.x_mm <= max(stop - 1.0, end + 1.3))
    spread = np.where(profile.spread_mm > ASTRAY_PX / profile.px_per_mm, profile.spread_mm, 0.0)
    return even_width(
        profile.x_mm[use],
        upper[use],
        lower[use],
        profile.trust[:, use],
        astray_mm=spread[:, use],
        correlated_points=CORRELATED_MM * profile.px_per_mm,
    )
