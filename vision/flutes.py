"""Stage 6k: how clearly a shaft's flutes show, place by place: by their shading, by the swing of both outlines, and by being alike.

A strip's rows are taken between the outlines, so that row k shows the same part of the blank all along a tapering shaft. The
flutes' own period is read where use leaves them alone, toward the handle.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from vision.edge_lines import Edges
from vision.place import Profile

Array = NDArray[np.floating[Any]]
ROWS = np.linspace(-1.1, 1.1, 13)  # of half the width, about the middle
LEAST_HALF_PX = 1.2
TO_MM, LEAST_MM = 15.5, 9.0  # of the shaft is looked at; and must be seen
SOUND_MM = (6.5, 14.5)  # where use leaves the flutes alone
PERIOD_MM = (0.28, 2.8)
FIRST = 0.75  # of the best likeness: the first shift that is so alike is the period, not twice of it
TUNES = (0.75, 0.9, 1.05, 1.25, 1.5)  # of the period's frequency: a pitch changes along the shaft
CYCLES = 0.75  # standard deviation of the window in which a tune is listened for
LEAST_LIKE = 0.05
PITCH_MM, PITCH_LIKE = (3.0, 14.5), 0.45  # where the period is looked for that speaks for a name, and how well it must repeat
SHIFTS = (0.8, 1.3)  # of the period, by which a piece is compared with its neighbours
LIKE_OVER, SMOOTH, SLOW = 0.55, 0.06, 0.8  # of the period: over how much; what is finer, and coarser, than flutes


@dataclass(frozen=True)
class Flutes:
    """Along ``x_mm`` (N,) from the tip: how much the ``shading`` and the outlines' ``swing`` vary with the flutes' period
    (logs, over the shaft's width, 0 as they usually are), and how ``alike`` neighbouring periods are (0 as usual).

    ``period_mm`` between crests in the sound part, and how well it ``repeats`` there, at most 1.
    """

    x_mm: Array
    shading: Array
    swing: Array
    alike: Array
    period_mm: float
    repeats: float


@dataclass(frozen=True)
class _Blank:
    """Light (13, N) of the rows and both outlines (2, N), px, at stations ``x_mm`` (N,)."""

    x_mm: Array
    light: Array
    edges_px: Array
    px_per_mm: float

    @property
    def sound(self) -> NDArray[np.bool_]:
        return np.asarray((self.x_mm > SOUND_MM[0]) & (self.x_mm < SOUND_MM[1]))


def seen_flutes(edges: Edges, profile: Profile, px_per_mm: float) -> Flutes | None:
    """Look at one shaft; None where too little of it is seen, or nothing repeats."""
    blank = _blank(edges, profile.x_mm, px_per_mm)
    if blank is None:
        return None
    ppm = blank.px_per_mm
    found = _period(_without_slow(blank.light, 1.0 * ppm)[:, blank.sound], ppm)
    if found is None:
        return None
    period_px = found[0] * ppm
    width = gaussian_filter1d(blank.edges_px[1] - blank.edges_px[0], 0.5 * ppm)
    over = np.log(np.clip(width / np.median(width[blank.sound]), 0.1, 2.0))
    shading, swing = (_level(_heard(rows, period_px), blank.sound) - over for rows in (blank.light, blank.edges_px))
    alike = _alike(blank.light, period_px)
    return Flutes(blank.x_mm, shading, swing, alike - np.median(alike[blank.sound]), *found)


def seen_period(edges: Edges, profile: Profile, px_per_mm: float) -> float | None:
    """Distance of crests on one edge as the shading has it, mm; None where it does not repeat well. Of 502 on development trays 476
    were right to 15 %, and 22 twice of it: a rhombus shows its low corners less."""
    blank = _blank(edges, profile.x_mm, px_per_mm)
    if blank is None:
        return None
    part = (blank.x_mm > PITCH_MM[0]) & (blank.x_mm < PITCH_MM[1])
    found = _period(_without_slow(blank.light, px_per_mm)[:, part], px_per_mm)
    return found[0] if found is not None and found[1] > PITCH_LIKE else None


def _blank(seen: Edges, x: Array, ppm: float) -> _Blank | None:
    edges = np.stack([seen.lower_px, seen.upper_px])
    good = np.isfinite(edges).all(axis=0) & (x > -0.5)
    if good.sum() < 60:
        return None
    columns = np.arange(len(x))
    edges = np.stack([np.interp(columns, columns[good], edge[good]) for edge in edges])
    low, high = gaussian_filter1d(edges, 0.5 * ppm, axis=1)
    values = seen.strip.values
    at = (low + high) / 2.0 + ROWS[:, None] * np.maximum((high - low) / 2.0, LEAST_HALF_PX) + seen.strip.half_px
    below = np.clip(np.floor(at).astype(int), 0, values.shape[0] - 2)
    light = values[below, columns] * (1.0 - at + below) + values[below + 1, columns] * (at - below)
    inside = (x >= 0.0) & (x <= TO_MM)
    if inside.sum() < 80 or x[inside][-1] < LEAST_MM:
        return None
    return _Blank(x[inside], light[:, inside], edges[:, inside], ppm)


def _without_slow(rows: Array, over_px: float) -> Array:
    return np.asarray(rows - gaussian_filter1d(rows, over_px, axis=1))


def _period(rows: Array, px_per_mm: float) -> tuple[float, float] | None:
    """Period in mm of rows (R, N), and how alike they are after it; None where they repeat nothing."""
    shifts = np.arange(max(int(PERIOD_MM[0] * px_per_mm), 3), min(int(PERIOD_MM[1] * px_per_mm), rows.shape[1] // 2))
    if rows.shape[1] < 40 or len(shifts) < 3:
        return None
    like = np.array([_likeness(rows[:, :-shift], rows[:, shift:]) for shift in shifts])
    peaks = np.flatnonzero((like[1:-1] >= like[:-2]) & (like[1:-1] >= like[2:])) + 1
    if not len(peaks) or like[peaks].max() < LEAST_LIKE:
        return None
    first = int(peaks[like[peaks] >= FIRST * like[peaks].max()][0])
    return float(shifts[first] / px_per_mm), float(like[first])


def _likeness(one: Array, other: Array) -> float:
    return float((one * other).mean() / np.sqrt((one**2).mean() * (other**2).mean() + 1e-12))


def _heard(rows: Array, period_px: float) -> Array:
    """Amplitude (N,) of what varies with about the period, the loudest of some tunes, rms over the rows."""
    rest = _without_slow(rows, 1.2 * period_px)
    loudest = np.zeros(rows.shape[1])
    for tune in TUNES:
        wave_px = period_px / tune
        reach = min(int(3.0 * CYCLES * wave_px), (rows.shape[1] - 1) // 2)
        at = np.arange(-reach, reach + 1)
        window = np.exp(-0.5 * (at / (CYCLES * wave_px)) ** 2)
        kernel = window * np.exp(2j * np.pi * at / wave_px)
        kernel = (kernel - window * kernel.sum() / window.sum()) / window.sum()
        padded = np.pad(rest, ((0, 0), (reach, reach)), mode="reflect")
        heard = np.stack([np.convolve(row, kernel, mode="valid") for row in padded])
        loudest = np.maximum(loudest, np.sqrt((np.abs(heard) ** 2).mean(axis=0)))
    return loudest


def _level(amplitude: Array, sound: NDArray[np.bool_]) -> Array:
    return np.asarray(np.log(amplitude / np.median(amplitude[sound]) + 1e-6))


def _alike(rows: Array, period_px: float) -> Array:
    """Likeness (N,), at most 1, of each place with the better of its neighbours a period away on either side."""
    fine = gaussian_filter1d(rows, SMOOTH * period_px, axis=1) - gaussian_filter1d(rows, SLOW * period_px, axis=1)
    over = LIKE_OVER * period_px
    power = gaussian_filter1d((fine**2).mean(axis=0), over)
    best = np.full(rows.shape[1], -1.0)
    for shift in range(max(round(SHIFTS[0] * period_px), 3), min(round(SHIFTS[1] * period_px) + 1, rows.shape[1] - 10)):
        both = gaussian_filter1d((fine[:, :-shift] * fine[:, shift:]).mean(axis=0), over)
        like = both / (np.sqrt(power[:-shift] * power[shift:]) + 1e-12)
        best[:-shift] = np.maximum(best[:-shift], like)
        best[shift:] = np.maximum(best[shift:], like)
    return best
