"""The fair probability of K-file against reamer: what anyone could know who knew how the study draws its pieces.

Both families come on triangular and square blanks, and some K-files are as coarse as fine reamers. A piece's section, its
thickness and its crests a mm are all that an outline tells of the family; the shares of the two families among pieces drawn
like it are then the right answer. Where neither reaches CLEAR the piece lies in the overlap.
"""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np
from scipy.stats import gaussian_kde

from samples.draw_free import draw_of
from samples.instrument import Family, Instrument
from samples.iso import edges_per_mm
from tests.study.design import LEAST_D0_MM, THICKEST_MM

CLEAR = 0.95
DRAWN, DRAW_SEED = 1500, 4900
TWISTED: tuple[Family, Family] = ("k-file", "reamer")
FLOOR = 1e-4


def right_share(truth: dict[str, Any]) -> float | None:
    """Fair probability of the piece's own family; None for other families and pieces without a pitch."""
    if truth["family"] not in TWISTED or truth["pitch_mm"] is None:
        return None
    at8 = truth["d0_mm"] + 8.0 * truth["taper_mm_per_mm"]
    k = k_share(truth["population"], truth["cross_section"], at8, 1.0 / truth["pitch_mm"])
    return k if truth["family"] == "k-file" else 1.0 - k


def in_overlap(truth: dict[str, Any]) -> bool:
    """Whether the family cannot be told for sure from section and density."""
    fair = right_share(truth)
    return fair is not None and fair < CLEAR


def k_share(population: str, section: str, at8_mm: float, density: float) -> float:
    """Share of K-files among K-files and reamers of this population, section and edge density (a mm)."""
    weights = [share * _at(curve, _figure(at8_mm, density)) for share, curve in _curves(population, section)]
    total = sum(weights)
    return float(np.clip(weights[0] / total, FLOOR, 1.0 - FLOOR)) if total > 0.0 else 0.5


def _figure(at8_mm: float, density: float) -> float:
    """Log of the density over the trade's line of K-files of the same thickness at 8 mm."""
    return float(np.log(density / edges_per_mm("k-file", 100.0 * (at8_mm - 0.16))))


def _at(curve: gaussian_kde | None, value: float) -> float:
    return 0.0 if curve is None else float(curve(value)[0])


@cache
def _curves(population: str, section: str) -> tuple[tuple[float, gaussian_kde | None], ...]:
    found = []
    for family in TWISTED:
        pieces = _drawn(population, family)
        values = [value for kind, value in pieces if kind == section]
        found.append((len(values) / len(pieces), gaussian_kde(values, 0.15) if len(values) > 10 else None))
    return tuple(found)


@cache
def _drawn(population: str, family: Family) -> list[tuple[str, float]]:
    rng = np.random.default_rng([DRAW_SEED, TWISTED.index(family)])
    pieces: list[Instrument] = []
    while len(pieces) < DRAWN:
        piece = draw_of(rng, population, family)  # type: ignore[arg-type]
        if piece.d0_mm >= LEAST_D0_MM and piece.shank_width_mm <= THICKEST_MM and piece.twist is not None:
            pieces.append(piece)
    return [(p.cross_section, _figure(p.envelope_mm(8.0), 1.0 / p.twist.pitch_mm)) for p in pieces if p.twist]
