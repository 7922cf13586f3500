"""Stage 8a: the end's shape, the diameter for the colour, the lengths -> is a piece of the tip missing, and how much.

Four witnesses, none enough alone: a whole tip is a cone, a broken one is as wide at its very end as just behind it; the
envelope at a broken end is thicker than the colour's sizes allow; a broken instrument is shorter than the standard lengths,
and its working part than 16 mm.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.dimensions import Dimensions
from vision.handle import HandleColour
from vision.nominal import LENGTHS_MM, SIZES, sizes_of_colour
from vision.place import Profile
from vision.quantity import Quantity

Array = NDArray[np.floating[Any]]
LOST_MM = np.concatenate([[0.0], np.geomspace(0.3, 8.0, 40)])
BEFOREHAND = 0.04  # of instruments in use that lost a piece: published rates of separation lie between 0.3 and 6 %
MADE_U_MM, LENGTH_U_MM = 0.013, 0.30  # spread of D0 and length as made, inside the tolerances of 0.02 and 0.5 mm
OTHER_COLOUR = 0.12  # a handle of another maker's colour, faded or misread
PART_MM, PART_U_MM = 16.0, 0.6  # least working part: ISO 3630-1 as others quote it (read); its spread is common practice, no source
# A part that is surely shorter is hardly a whole one, whatever its end looks like: a reason to look, no more, since one may have been made
# so or its end misread. Of 1,209 development crops with a whole tip, whose parts were all made 14 mm long and more, none but a kinked
# one whose line had missed the tip; of 79 that lost 1 mm and more 33.
SHORT_PART_MM, SHORT_TELLS = 13.8, 0.7
STRAY_PART = 0.15  # share of working parts made to another length, or whose end was misread, anywhere within some 12 mm
STRAY_LENGTH = 0.06  # share of lengths whose handle front was misread, anywhere within a few mm
AT_MM, SIDE_MM = 0.06, 0.03
BEHIND_MM = (0.25, 0.6)
CONE_MM, CONE_U_MM = 0.075, 0.045  # half width of a whole tip there
BROKEN, BROKEN_U = 0.95, 0.13  # reach of a broken end
ODD_END = 0.01  # density of ends that look like neither
# The least that is told nine times in ten, and by length and thickness where the end's shape says nothing. Of 213 crops (80000 to 87123)
# thick ends that lost 0.35 to 0.5 mm 10 of 11, less 4 of 6; broaches, whose broken ends show by their faces, 18 of 21 that lost up to 0.7.
LEAST_SHOWN_MM, UNSHAPED_MM = 0.4, 1.5
TIP_DEG = 75.0  # of a whole tip's cone: ISO 3630-1 as others quote it, 75 +- 15
# Reach: where a loss needs more to be clear, length and thickness tell. Of five files of 0.35 to 0.47 mm, short by 0.3 to 1.1, one was.
SHAPE_TELLS = 0.875
FOUND_95 = 1.645


@dataclass(frozen=True)
class TipLoss:
    """How much of the tip is missing, the probability that any is, and what could have been told (None: unknown).

    ``least``: the probability that lengths alone leave, whatever the end's face looks like.
    """

    lost_mm: Quantity
    probability: float
    smallest_mm: float | None
    least: float = 0.0


def end_reach(profile: Profile) -> float | None:
    """How far the metal reaches from its axis at its very end, over how far a little behind it; None when unseen.

    About 1 for a broken end, far less for a cone, even where the end itself was marked a tenth of a mm too far in. The farther
    edge counts, since a slanting break ends on one side of the axis, which is carried on from the first 3 mm.
    """
    x, middle = profile.x_mm, (profile.upper_mm + profile.lower_mm) / 2.0
    use = np.isfinite(middle) & (x > BEHIND_MM[0]) & (x < 3.0)
    if use.sum() < 20:
        return None
    axis = np.polyval(np.polyfit(x[use], middle[use], 1), x)
    reach = np.maximum(profile.upper_mm - axis, axis - profile.lower_mm)
    end, behind = np.abs(x - AT_MM) < SIDE_MM, (x > BEHIND_MM[0]) & (x < BEHIND_MM[1])
    if not np.isfinite(reach[end]).any() or not np.isfinite(reach[behind]).any():
        return None
    return float(np.nanmedian(reach[end]) / max(np.nanpercentile(reach[behind], 90), 0.01))


def lost_tip(dimensions: Dimensions, colour: HandleColour, reach: float | None, *, barbed: bool = False) -> TipLoss | None:
    """Weigh 'whole' against every length of missing tip. None without D0 and taper.

    ``reach``: of ``end_reach``. ``barbed``: a broach, whose diameters and barbed part follow no table read here; its end and
    its length alone tell. The strength is the mean over the lengths that fit, by their chances.
    """
    d0, taper = dimensions.d0_mm, dimensions.taper_mm_per_mm
    if d0 is None or taper is None or taper.value < 0.004:
        return None
    thick = 1.0 if barbed else _by_diameter(d0, taper.value, colour) * _by_part(dimensions.working_part_mm)
    short = _by_length(dimensions.length_mm)
    shape = _by_shape(reach, d0.value)
    chance = thick * short
    chance[1:] *= shape
    told = _weighed(chance, LEAST_SHOWN_MM if barbed else _smallest(d0.value))
    return told if barbed else _with_part(told, dimensions.working_part_mm)


def _with_part(told: TipLoss, part: Quantity | None) -> TipLoss:
    """The same, where the working part is surely short: then by how much it is shorter than the least one, if nothing else tells."""
    if part is None or part.value + 2.0 * part.u >= SHORT_PART_MM:
        return told
    short = Quantity(PART_MM - part.value, float(np.hypot(part.u, PART_U_MM)))
    return replace(told, least=SHORT_TELLS, lost_mm=told.lost_mm if told.probability >= SHORT_TELLS else short)


def short_alone(length: Quantity | None) -> TipLoss:
    """What its length alone says, where nothing tells what the end should look like: at most two in five, at 1 mm short of a standard
    one. It is for who sees the end's face besides. How much is gone is then anything that fits, from 0.3 to 8 mm, and u says so."""
    return _weighed(_by_length(length), None)


def _weighed(likelihood: Array, smallest_mm: float | None) -> TipLoss:
    """The likelihood of every length lost, weighed with how seldom any is."""
    chance = likelihood * np.concatenate([[1.0 - BEFOREHAND], np.full(len(LOST_MM) - 1, BEFOREHAND / (len(LOST_MM) - 1))])
    chance /= chance.sum()
    gone = chance[1:] / max(float(chance[1:].sum()), 1e-12)
    mean = float(gone @ LOST_MM[1:])
    u = float(np.sqrt(gone @ (LOST_MM[1:] - mean) ** 2))
    return TipLoss(Quantity(mean, max(u, 0.1)), float(1.0 - chance[0]), smallest_mm)


def _by_shape(reach: float | None, d0_mm: float) -> float:
    """How much likelier this end is when broken than when whole; near 1 where the picture cannot tell."""
    if reach is None:
        return 1.0
    mean, u = _cone_reach(d0_mm)
    return float((_bell(reach, BROKEN, BROKEN_U) + ODD_END) / (_bell(reach, mean, u) + ODD_END))


def _cone_reach(d0_mm: float) -> tuple[float, float]:
    """Reach of a whole tip and its spread: cones of 45 to 90 deg, the picture's blur, an end marked a little off."""
    radius = d0_mm / 2.0
    return min(CONE_MM / radius, 0.75), float(np.hypot(0.10, min(CONE_U_MM / radius, 0.12)))


def _by_diameter(d0: Quantity, taper: float, colour: HandleColour) -> Array:
    """Likelihood of the envelope at the present end for every length lost, over the sizes that the colour allows."""
    named = {size: share for name, share in colour.shares.items() for size in sizes_of_colour(name)}
    told = sum(named.values()) > 0.0
    weights = {size: OTHER_COLOUR / len(SIZES) + (named.get(size, 0.0) if told else 1.0 / len(SIZES)) for size in SIZES}
    u = float(np.hypot(d0.u, MADE_U_MM))
    whole = np.array([d0.value - taper * lost for lost in LOST_MM])
    return np.asarray(sum(weight * _bell(whole, size / 100.0, u) for size, weight in weights.items()) + 1e-3)


def _by_length(length: Quantity | None) -> Array:
    if length is None:
        return np.ones(len(LOST_MM))
    u = float(np.hypot(LENGTH_U_MM, length.u))
    fits = np.sum([_bell(length.value + LOST_MM, full, u) for full in LENGTHS_MM], axis=0)
    return np.asarray((1.0 - STRAY_LENGTH) * fits / len(LENGTHS_MM) + STRAY_LENGTH / 12.0)


def _by_part(part: Quantity | None) -> Array:
    """Likelihood of the working part that is left; a longer one than 16 mm tells nothing."""
    if part is None or part.value > PART_MM:
        return np.ones(len(LOST_MM))
    fits = _bell(part.value + LOST_MM, PART_MM, float(np.hypot(PART_U_MM, part.u)))
    return np.asarray((1.0 - STRAY_PART) * fits + STRAY_PART / 12.0)


def _smallest(d0_mm: float) -> float:
    """Least missing length told nine times in ten: that at which the end's reach clearly passes what a cone shows; where a whole tip is too
    small for that to be seen, what length and thickness tell."""
    mean, _ = _cone_reach(d0_mm)
    reach = np.linspace(mean, BROKEN, 60)
    passes = [_by_shape(float(one), d0_mm) > 1.0 for one in reach]  # the network's say outweighs how seldom it happens
    clear = (float(reach[int(np.argmax(passes))]) if any(passes) else np.inf) + FOUND_95 * BROKEN_U
    if clear > SHAPE_TELLS:
        return UNSHAPED_MM
    return max(clear * d0_mm / 2.0 / float(np.tan(np.radians(TIP_DEG / 2.0))) - AT_MM, LEAST_SHOWN_MM)


def _bell(value: Any, mean: Any, u: float) -> Any:
    return np.exp(-0.5 * ((value - mean) / u) ** 2) / (np.sqrt(2.0 * np.pi) * u)
