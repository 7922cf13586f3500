"""Stage 6g: Outline -> Blank evidence. How well each kind of cross-section explains the same two edges.

Physics decides: phase between the edges and swing (through the fits' misfit), crest skew, regularity of the crests.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from vision.named import Named
from vision.outline import Outline
from vision.twist import TwistFit

KINDS = ("square", "triangle", "rhombus", "groove", "barbed", "plain")
SHAPE_WORDS = {
    "square": "a twisted square",
    "triangle": "a twisted triangle",
    "rhombus": "a twisted rhombus",
    "groove": "one winding groove",
    "barbed": "a wire with barbs",
    "plain": "a plain wire",
}
STRENGTH = 14.0  # how many independent looks the misfit of a whole outline counts for, at most
FLOOR_MM = 0.002  # misfits below this are all as good as perfect
# Spread of the crest skew (place of the valley between two crests), measured on rendered outlines.
TWIST_SKEW, TWIST_SKEW_SPREAD = 0.5, 0.06
GROOVE_SKEW, GROOVE_SKEW_SPREAD = 0.26, 0.06
REGULAR, IRREGULAR = 0.12, 0.45  # usual relative scatter of crest spacing: flutes, barbs
GLINTS_MOST = -6.0  # a row of glints on a polished spreader looks like spikes: thirteen on one development render
SPIKES_LEAST = 3
FITS_WEIGHT = 0.5


@dataclass(frozen=True)
class ShapeClue:
    """One look at the outline: what was seen, and for each kind of section the log of how likely that is."""

    what: str
    seen: str
    logs: dict[str, float]
    source: str


@dataclass(frozen=True)
class BlankEvidence:
    """Shares of the kinds of section (sum 1), the figures they rest on, in words for the report.

    ``clues``: what the outline alone says, look by look, the network left out.
    """

    shares: dict[str, float]
    skew: float | None
    misfit_um: dict[str, float]
    words: tuple[str, ...]
    clues: tuple[ShapeClue, ...] = ()

    @property
    def best(self) -> str:
        """The kind with the greatest share."""
        return max(self.shares, key=lambda name: self.shares[name])


def weigh_blanks(outline: Outline, seen: Named | None = None) -> BlankEvidence:
    """Weigh square, triangle, rhombus, one-groove, barbed and plain against each other on one outline.

    ``seen``: what the strip network takes the picture for; it and the outline's fits see the same metal, so neither counts
    in full (development renders: fits alone name 84 of 88 kinds, the network 86).
    """
    misfit = _misfits(outline)
    skew = _skew(outline)
    clues = _clues(outline, misfit, skew, _irregularity(outline))
    logs = {kind: sum(clue.logs.get(kind, 0.0) for clue in clues) for kind in misfit}
    if seen is not None:
        logs = {kind: FITS_WEIGHT * (log - max(logs.values())) + math.log(seen.kinds()[kind]) for kind, log in logs.items()}
    return BlankEvidence(_softmax(logs), skew, {k: v * 1000.0 for k, v in misfit.items()}, _words(outline, misfit, skew), clues)


def chosen_twist(outline: Outline, evidence: BlankEvidence) -> TwistFit | None:
    """Return the fit of the best twisted blank, None when the best kind is no twisted blank."""
    return outline.twists.get(evidence.best)


def _misfits(outline: Outline) -> dict[str, float]:
    found = {name: fit.misfit_mm for name, fit in outline.twists.items()}
    if outline.groove is not None and outline.groove_misfit_mm is not None:
        found["groove"] = 1.3 * outline.groove_misfit_mm  # a free tooth shape explains a little more by itself
    if outline.wire is not None:
        found["plain"] = outline.wire.misfit_mm
        if len(outline.spikes_mm) >= SPIKES_LEAST:
            found["barbed"] = outline.wire.misfit_mm
    return found or {"plain": 1.0}


def _clues(outline: Outline, misfit: dict[str, float], skew: float | None, irregular: float | None) -> tuple[ShapeClue, ...]:
    """Every look at the outline; a kind that no fit could be made for is as good as ruled out by the first."""
    strength = min(STRENGTH, 1.0 * (len(outline.upper.x_mm) + len(outline.lower.x_mm)))
    fits = {kind: -strength * math.log(max(value, FLOOR_MM)) for kind, value in misfit.items()}
    clues = [ShapeClue("both edges' phase and swing", _fit_words(outline, misfit), fits, "closed form of each section")]
    if skew is not None:
        bells = dict.fromkeys(("square", "triangle"), _bell(skew, TWIST_SKEW, TWIST_SKEW_SPREAD))
        bells["groove"] = _bell(skew, GROOVE_SKEW, GROOVE_SKEW_SPREAD)
        seen = f"valleys lie {skew:.2f} of the way from crest to crest"
        clues.append(ShapeClue("lean of the crests", seen, bells, "spread over development renders"))
    if irregular is not None:
        uneven = -2.0 * max(irregular - 2.0 * REGULAR, 0.0) / REGULAR
        even = dict.fromkeys(("square", "triangle", "rhombus", "groove"), uneven)
        even["barbed"] = -2.0 * max(REGULAR - irregular, 0.0) / REGULAR
        seen = f"their spacing scatters by {100.0 * irregular:.0f} %"
        clues.append(ShapeClue("regularity of the crests", seen, even, "spread over development renders"))
    spikes = len(outline.spikes_mm)
    lone = {"plain": max(-1.5 * max(spikes - 1, 0), GLINTS_MOST), "barbed": -1.0 if irregular is None else 0.0}
    seen = _standing_out(spikes) if spikes else "nothing stands out from a plain wire"
    clues.append(ShapeClue("isolated spikes", seen, lone, "spread over development renders"))
    return tuple(clues)


def _fit_words(outline: Outline, misfit: dict[str, float]) -> str:
    best = sorted(misfit.items(), key=lambda item: item[1])[:2]
    words = ", ".join(f"{SHAPE_WORDS[name]} fits to {value * 1000.0:.1f} um" for name, value in best)
    phase, swing = phase_of(outline), _swing(outline)
    if phase is None or swing is None:
        return words
    return f"edges {phase:.2f} of a pitch apart, each swings by {swing:.2f} of the radius; {words}"


def phase_of(outline: Outline) -> float | None:
    """By how much of a pitch the lower edge's crests stand off the upper ones', 0 to 0.5; None with too few crests."""
    upper, lower = outline.upper.x_mm, outline.lower.x_mm
    if min(len(upper), len(lower)) < 3:
        return None
    number = np.interp(lower, upper, np.arange(len(upper)), left=np.nan, right=np.nan)
    number = number[np.isfinite(number)]
    if len(number) < 3:
        return None
    mean = np.exp(2j * np.pi * number).mean()
    return float(abs(np.angle(mean)) / (2.0 * np.pi))


def _swing(outline: Outline) -> float | None:
    values = [crests.swing for crests in (outline.upper, outline.lower)]
    values = [value for value in values if math.isfinite(value)]
    return float(np.mean(values)) if values else None


def _skew(outline: Outline) -> float | None:
    values = [crests.skew for crests in (outline.upper, outline.lower)]
    values = [value for value in values if math.isfinite(value)]
    return float(np.mean(values)) if values else None


def _irregularity(outline: Outline) -> float | None:
    """Relative scatter of crest spacing about a straight trend along the instrument."""
    scatter = []
    for crests in (outline.upper, outline.lower):
        gaps = crests.spacing_mm
        if len(gaps) >= 4:
            middle = (crests.x_mm[1:] + crests.x_mm[:-1]) / 2.0
            trend = np.polyval(np.polyfit(middle, gaps, 1), middle)
            scatter.append(1.4826 * float(np.median(np.abs(gaps - trend))) / float(np.median(gaps)))
    return float(np.mean(scatter)) if scatter else None


def _bell(value: float, mean: float, spread: float) -> float:
    """Log of a Gaussian with long tails: far outliers cost little more than four spreads."""
    return -0.5 * min(((value - mean) / spread) ** 2, 20.0 + abs(value - mean) / spread)


def _softmax(logs: dict[str, float]) -> dict[str, float]:
    top = max(logs.values())
    weights = {kind: math.exp(max(log - top, -40.0)) for kind, log in logs.items()}
    total = sum(weights.values())
    return {kind: weight / total for kind, weight in weights.items()}


def _words(outline: Outline, misfit: dict[str, float], skew: float | None) -> tuple[str, ...]:
    best = sorted(misfit.items(), key=lambda item: item[1])[:2]
    words = [f"outline fits {SHAPE_WORDS[name]} to {value * 1000.0:.1f} um" for name, value in best]
    if skew is not None:
        words.append(f"valley {skew:.2f} of the way from crest to crest")
    if len(outline.spikes_mm):
        words.append(_standing_out(len(outline.spikes_mm)))
    return tuple(words)


def _standing_out(count: int) -> str:
    return f"{count} {'place stands' if count == 1 else 'places stand'} out from a plain wire"
