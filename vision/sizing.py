"""Stage 7d: diameter, shank and handle colour -> ISO size with probabilities, and what each of them says.

Bayes' rule over all sizes of the system, half sizes included as rarer ones. Sizes 06, 08 and 10 lie closer than their own
tolerance: unless the colour decides they share the probability, however well the diameter is measured.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.handle import HandleColour
from vision.nominal import BROACH_SIZES, COLOUR_OF_SIZE, HALF_SIZES, SIZES, TAPER
from vision.quantity import Quantity
from vision.reading import Clue

Array = NDArray[np.floating[Any]]
HALF_PRIOR = 0.15  # a half size against a whole one: common practice, no source
# Spread of D0 about nominal: ±0.02 mm tolerance (read for pluggers) taken as rectangular. One outline in twenty follows a
# shadow or is of a piece out of tolerance (accuracy study): then a width tells little, however small its u.
SPREAD_MM, ASTRAY, ASTRAY_MM = 0.012, 0.05, 0.12
COARSE_ASTRAY = 0.25  # of D0 below 40 px/mm, where a tip is a few px wide: development trays
# The shank is the blank where the flutes end, seldom thinner and up to 5 % thicker: common practice, no source. Lots vary in
# taper (±0.0015) and working part (±0.6 mm), which the spread stands for.
PART_MM, SHANK_OVER, SHANK_SPREAD_MM = 16.1, 1.02, 0.035
BROACH_PART_MM, BROACH_TAPER, BROACH_SHANK_SPREAD_MM = 11.2, 0.0085, 0.020
SHARED = 0.5  # of the smaller u of diameter and shank, as a variance that both have in common (scale, height, outline)
COLOUR_TRUST = 0.96  # a handle may be of the wrong colour or repaired: a share of one in 25 assumed, no source
COLOURS_OF_SIZES = COLOUR_OF_SIZE | HALF_SIZES
NO_SIZE_COLOUR = ("bleached", "other")


@dataclass(frozen=True)
class Sized:
    """Chances of the sizes (sum 1; empty without evidence), the words for what spoke, and each clue by itself."""

    shares: dict[int, float]
    words: tuple[str, ...]
    clues: tuple[Clue, ...]


def weigh_sizes(
    diameter: Quantity | None, shank: Quantity | None, colour: HandleColour, *, broach: bool, coarse: bool = False
) -> Sized:
    """Fuse what there is; ``diameter`` None where it says nothing (a lost tip). Broaches have sizes and shanks of their own.

    ``coarse``: seen at a tray's scale, where a thin end's outline is astray more often.
    """
    sizes = BROACH_SIZES if broach else tuple(sorted((*SIZES, *HALF_SIZES)))
    prior = np.array([HALF_PRIOR if size in HALF_SIZES else 1.0 for size in sizes])
    metal, words = _metal(diameter, shank, np.array(sizes) / 100.0, broach=broach, coarse=coarse)
    paint = _paint(colour, sizes)
    clues = _clues(diameter, shank, colour, sizes, broach=broach)
    if paint is not None:
        words = (*words, "handle colour")
    if not words:
        return Sized({}, (), clues)
    weight = prior * metal * (1.0 if paint is None else paint)
    return Sized(dict(zip(sizes, (float(w) for w in weight / weight.sum()), strict=True)), words, clues)


def _metal(
    diameter: Quantity | None, shank: Quantity | None, nominal_mm: Array, *, broach: bool, coarse: bool = False
) -> tuple[Array, tuple[str, ...]]:
    """Likelihood of what was measured of the metal, for each size."""
    seen = [one for one in (diameter, shank) if one is not None]
    if not seen:
        return np.ones(len(nominal_mm)), ()
    rise, over, spread = _shank_rule(broach=broach)
    off, covariance = [], np.full((len(seen), len(seen)), SPREAD_MM**2)
    for k, one in enumerate(seen):
        is_shank = one is shank
        off.append(one.value / over - rise - nominal_mm if is_shank else one.value - nominal_mm)
        covariance[k, k] += (one.u / over) ** 2 + spread**2 if is_shank else one.u**2
    if len(seen) == 2:
        shared = SHARED * min(seen[0].u, seen[1].u) ** 2
        covariance += np.array([[0.0, shared], [shared, 0.0]])
    words = tuple(word for word, one in (("diameter", diameter), ("shank", shank)) if one is not None)
    astray = [COARSE_ASTRAY if coarse and one is diameter else ASTRAY for one in seen]
    return _likely(np.array(off), covariance, astray), words


def _shank_rule(*, broach: bool) -> tuple[float, float, float]:
    """By how much the working part's end is thicker than D0 (mm), shank over that, and the spread of the whole (mm)."""
    if broach:
        return BROACH_TAPER * BROACH_PART_MM, 1.04, BROACH_SHANK_SPREAD_MM
    return TAPER * PART_MM, SHANK_OVER, SHANK_SPREAD_MM


def _likely(off: Array, covariance: Array, astray: Sequence[float]) -> Array:
    """Density of the columns of ``off`` (widths seen - expected, mm), each width by itself astray in its share of cases."""
    total = np.zeros(off.shape[1])
    for choice in itertools.product((False, True), repeat=len(off)):
        wild = np.array(choice)
        spread = np.where(wild[:, None] | wild[None, :], np.diag(np.full(len(off), ASTRAY_MM**2)), 0.0)
        matrix = np.where(wild[:, None] | wild[None, :], spread, covariance)
        square = np.einsum("ik,ij,jk->k", off, np.linalg.inv(matrix), off)
        chance = float(np.prod(np.where(wild, astray, 1.0 - np.array(astray))))
        total += chance * np.exp(-0.5 * square) / np.sqrt(np.linalg.det(matrix))
    return np.asarray(total + 1e-9 * total.max())


def _paint(colour: HandleColour, sizes: tuple[int, ...]) -> Array | None:
    """Likelihood of the handle's colour for each size; None where it tells none apart."""
    told = {name: share for name, share in colour.shares.items() if name not in NO_SIZE_COLOUR}
    if sum(told.values()) < 0.5:
        return None
    faded = 1.0 - sum(told.values())
    names = [COLOURS_OF_SIZES[size] for size in sizes]
    level = 1.0 / len(set(COLOUR_OF_SIZE.values()))
    return np.array([COLOUR_TRUST * told.get(name, 0.0) + (1.0 - COLOUR_TRUST + faded) * level for name in names])


def _clues(
    diameter: Quantity | None, shank: Quantity | None, colour: HandleColour, sizes: tuple[int, ...], *, broach: bool
) -> tuple[Clue, ...]:
    """What each says by itself, the size it suits best having 1."""
    nominal = np.array(sizes) / 100.0
    clues = []
    if diameter is not None:
        alone, _ = _metal(diameter, None, nominal, broach=broach)
        seen = f"D0 {diameter.value:.3f} mm (u {diameter.u:.3f})"
        source = "tolerance ±0.02 mm: JIS T 5419:1995, same size system (read)" if not broach else "broach sizes: from memory"
        clues.append(Clue("diameter", seen, _scaled(sizes, alone), source))
    if shank is not None:
        alone, _ = _metal(None, shank, nominal, broach=broach)
        seen = f"{shank.value:.3f} mm (u {shank.u:.3f}): the blank where the flutes end"
        clues.append(Clue("shank", seen, _scaled(sizes, alone), "taper 0.02 over 16 mm (read); spread common practice, no source"))
    paint = _paint(colour, sizes)
    if paint is not None:
        word = colour.word or "between " + " and ".join(sorted(colour.shares, key=lambda name: -colour.shares[name])[:2])
        clues.append(Clue("handle colour", word, _scaled(sizes, paint), "two teaching tables (read); half sizes wear the size below"))
    elif colour.lab is not None:
        clues.append(Clue("handle colour", colour.word or "not told", {}, "a colour that no size has tells none apart"))
    return tuple(clues)


def _scaled(sizes: tuple[int, ...], weight: Array) -> dict[str, float]:
    return {str(size): float(w) for size, w in zip(sizes, weight / weight.max(), strict=True)}
