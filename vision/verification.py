"""Stage 8e: repeated readings of pieces of known size -> bias, repeatability, reproducibility, and what a set-up can decide.

ISO 5725-2:1994, clause 7 (from memory): one-way analysis of variance with people as the groups, a piece at a time;
repeatability variance s_r^2 within people, between-people variance s_L^2 (never below 0), s_R^2 = s_r^2 + s_L^2.
ISO 13528 (from memory): E_n = (reading - known) / sqrt(U_reading^2 + U_known^2), U = 2 u; above 1 a claim does not hold.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

from vision.nominal import SIZES, diameter_limit
from vision.quantity import Quantity

Array = NDArray[np.floating[Any]]
CONFIDENCE = 0.95
BAND_SHARE = 0.5  # conformity counts as decidable when it is decided in at least this share of the band; our own choice
FEWEST = 2
SMOOTH_ONLY = "; verified on smooth pieces only, flutes were not tried"


@dataclass(frozen=True)
class Piece:
    """A piece of known diameter (an instrument: its D0), mm. ``kind``: 'pin', 'wire' or 'instrument'."""

    name: str
    kind: str
    known_mm: Quantity


@dataclass(frozen=True)
class Taken:
    """One reading of a piece: by whom (a code), the value in mm and the u it claimed (None: it claimed none)."""

    piece: str
    person: str
    value_mm: float
    u_mm: float | None


@dataclass(frozen=True)
class Spread:
    """Standard deviations within and between people, both together, and the degrees of freedom within; ``people``: how many.

    ``between`` is None for one person: then ``both`` is the repeatability alone.
    """

    within: float
    between: float | None
    both: float
    freedom: int
    people: int


@dataclass(frozen=True)
class PieceResult:
    """One piece: count, mean, bias (mean - known) with its u, spread, and the worst E_n of its readings."""

    piece: Piece
    count: int
    mean_mm: float
    bias_mm: Quantity
    spread: Spread
    worst_e_n: float | None


@dataclass(frozen=True)
class BiasLine:
    """Bias against size: ``at_mm`` is the middle of the sizes; u grows away from it. ``strain``: root of chi-square over freedom."""

    at_mm: float
    level_mm: float
    slope: float
    covariance: tuple[tuple[float, float], tuple[float, float]]
    strain: float | None

    @property
    def sloped(self) -> bool:
        """Whether pieces of two sizes or more told how the bias changes with size."""
        return self.covariance[1][1] > 0.0

    def at(self, size_mm: float) -> Quantity:
        """Bias at a size with its u, mm."""
        way = np.array([1.0, size_mm - self.at_mm])
        return Quantity(self.level_mm + self.slope * way[1], float(way @ np.array(self.covariance) @ way) ** 0.5)


@dataclass(frozen=True)
class Ability:
    """What one nominal size lets decide. ``error_mm``: |bias| + k u, within which a single reading lies 95 times in 100.

    ``names_nominal``: an instrument at its nominal is not taken for a neighbour. ``names_any``: nor is any within its limits.
    ``judges``: its limits are decided over at least half of the band.
    """

    size: int
    error_mm: float
    names_nominal: bool
    names_any: bool
    judges: bool


@dataclass(frozen=True)
class Verified:
    """The whole result."""

    pieces: tuple[PieceResult, ...]
    spread: Spread
    line: BiasLine
    abilities: tuple[Ability, ...]
    statement: str


def spread_of(groups: Sequence[Sequence[float]]) -> Spread:
    """One-way random-effects analysis; each group holds one person's readings of one piece.

    Raises ValueError when no group has two readings: then nothing tells how well a reading repeats.
    """
    full = [np.asarray(group, dtype=float) for group in groups if len(group)]
    counts = np.array([len(group) for group in full])
    freedom = int(counts.sum() - len(full))
    if freedom < 1:
        raise ValueError(
            f"needs at least {FEWEST} readings of a piece by one person, has at most {counts.max(initial=0)}"
        )
    within = float(sum(((group - group.mean()) ** 2).sum() for group in full)) / freedom
    if len(full) == 1:
        return Spread(within**0.5, None, within**0.5, freedom, 1)
    means = np.array([group.mean() for group in full])
    grand = float(counts @ means / counts.sum())
    among = float(counts @ (means - grand) ** 2) / (len(full) - 1)
    typical = float((counts.sum() - (counts**2).sum() / counts.sum()) / (len(full) - 1))
    between = max((among - within) / typical, 0.0)
    return Spread(within**0.5, between**0.5, (within + between) ** 0.5, freedom, len(full))


def verify(pieces: Sequence[Piece], taken: Sequence[Taken]) -> Verified:
    """Work out the whole verification. Raises ValueError with one sentence when there is too little to say anything."""
    results = tuple(_piece(piece, [one for one in taken if one.piece == piece.name]) for piece in pieces)
    spread = _pooled([result.spread for result in results])
    line = bias_line(results)
    abilities = tuple(_ability(size, line, spread) for size in _between_pieces(pieces))
    smooth = "" if any(piece.kind == "instrument" for piece in pieces) else SMOOTH_ONLY
    return Verified(results, spread, line, abilities, statement_of(abilities) + smooth)


def bias_line(results: Sequence[PieceResult]) -> BiasLine:
    """Weighted straight line through the biases; one piece gives a level only. Misfit beyond the u widens it (Birge 1932)."""
    size = np.array([result.piece.known_mm.value for result in results])
    bias = np.array([result.bias_mm.value for result in results])
    weight = 1.0 / np.array([result.bias_mm.u for result in results]) ** 2
    middle = float(weight @ size / weight.sum())
    design = np.column_stack([np.ones(len(size)), size - middle])
    if np.ptp(size) < 1e-3:
        design = design[:, :1]
    covariance = np.linalg.inv(design.T @ (weight[:, None] * design))
    found = covariance @ design.T @ (weight * bias)
    free = len(size) - design.shape[1]
    strain = float(np.sqrt(weight @ (bias - design @ found) ** 2 / free)) if free > 0 else None
    covariance = covariance * max(strain or 1.0, 1.0) ** 2
    whole = np.zeros((2, 2))
    whole[: len(found), : len(found)] = covariance
    slope = float(found[1]) if len(found) > 1 else 0.0
    rows = ((float(whole[0, 0]), float(whole[0, 1])), (float(whole[1, 0]), float(whole[1, 1])))
    return BiasLine(middle, float(found[0]), slope, rows, strain)


def statement_of(abilities: Sequence[Ability]) -> str:
    """What the set-up can decide, in one line."""
    if not abilities:
        return (
            "no standard size lies between the smallest and the largest piece: add pieces over the sizes that you read"
        )
    worst = max(abilities, key=lambda one: one.error_mm)
    nominal = _ranges(abilities, [one.names_nominal for one in abilities])
    whole = _ranges(abilities, [one.names_any for one in abilities])
    judged = _ranges(abilities, [one.judges for one in abilities])
    return (
        f"sizes told from their neighbours: {nominal} at nominal, {whole} anywhere within limits; conformity decided: {judged}; "
        f"one reading is off by at most {worst.error_mm:.3f} mm ({CONFIDENCE:.0%}, worst at size {worst.size})"
    )


def _piece(piece: Piece, taken: Sequence[Taken]) -> PieceResult:
    people = sorted({one.person for one in taken})
    groups = [[one.value_mm for one in taken if one.person == person] for person in people]
    try:
        spread = spread_of(groups)
    except ValueError as error:
        raise ValueError(f"piece '{piece.name}' {error}: photograph it again") from error
    values = np.array([one.value_mm for one in taken])
    u_mean = float(np.sqrt(spread.within**2 / len(values) + (spread.between or 0.0) ** 2 / spread.people))
    bias = float(values.mean()) - piece.known_mm.value
    u = float(np.hypot(u_mean, piece.known_mm.u))
    marks = [
        abs(one.value_mm - piece.known_mm.value) / (2.0 * float(np.hypot(one.u_mm, piece.known_mm.u)))
        for one in taken
        if one.u_mm
    ]
    known = (("spread of readings", u_mean), ("known size", piece.known_mm.u))
    return PieceResult(
        piece, len(values), float(values.mean()), Quantity(bias, u, known), spread, max(marks, default=None)
    )


def _pooled(spreads: Sequence[Spread]) -> Spread:
    """Variances averaged over the pieces, weighted by freedom within and by people between."""
    freedom = np.array([one.freedom for one in spreads])
    within = float(freedom @ np.array([one.within**2 for one in spreads]) / freedom.sum())
    told = [one for one in spreads if one.between is not None]
    people = max(one.people for one in spreads)
    if not told:
        return Spread(within**0.5, None, within**0.5, int(freedom.sum()), people)
    weights = np.array([one.people - 1 for one in told])
    between = float(weights @ np.array([(one.between or 0.0) ** 2 for one in told]) / weights.sum())
    return Spread(within**0.5, between**0.5, (within + between) ** 0.5, int(freedom.sum()), people)


def _between_pieces(pieces: Sequence[Piece]) -> list[int]:
    """Standard sizes no further out than the pieces: nothing is said of sizes that were not verified."""
    known = [piece.known_mm.value for piece in pieces]
    return [size for size in SIZES if min(known) - 0.005 <= size / 100.0 <= max(known) + 0.005]


def _ability(size: int, line: BiasLine, spread: Spread) -> Ability:
    nominal, limit = size / 100.0, diameter_limit(size).within.half_width
    bias = line.at(nominal)
    u = float(np.hypot(spread.both, bias.u))
    # Freedom after Welch and Satterthwaite (JCGM 100:2008, G.4), the known sizes counting as exactly known u.
    freedom = spread.freedom * (u / spread.both) ** 4 if spread.both > 0.0 else 1e6
    factor = max(float(stdtrit(min(freedom, 1e6), 0.5 + CONFIDENCE / 2.0)), 2.0)
    error = float(abs(bias.value) + factor * u)
    gap = min(abs(size - other) for other in SIZES if other != size) / 100.0
    return Ability(size, error, error < gap / 2.0, error + limit < gap / 2.0, error <= (1.0 - BAND_SHARE) * limit)


def _ranges(abilities: Sequence[Ability], able: Sequence[bool]) -> str:
    """'15 to 40, 60' of the sizes that can; 'none'."""
    runs: list[list[int]] = []
    for number, (ability, can) in enumerate(zip(abilities, able, strict=True)):
        if not can:
            continue
        if runs and number and able[number - 1]:
            runs[-1].append(ability.size)
        else:
            runs.append([ability.size])
    words = [f"{run[0]:02d}" if len(run) == 1 else f"{run[0]:02d} to {run[-1]:02d}" for run in runs]
    return ", ".join(words) or "none"
