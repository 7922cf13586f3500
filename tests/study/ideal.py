"""Ideal conditions: a flat matt bar of even brightness, known blur, white noise; spread of its width against the bound.

The Cramer-Rao bound of one edge in one row of samples s(x) in white noise is noise^2 / sum s'(x)^2 (Gatherer 1993, Stanford
CSL-TR-93-560; abstract read). A width has two edges, and the mean over N columns divides the variance by N. Pictures have 8
bits: what rounding adds to the noise, a twelfth of the step squared, is counted where the edge is.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from itertools import product
from pathlib import Path

import numpy as np
from scipy.optimize import curve_fit
from scipy.stats import chi2, norm, trim_mean

from samples.bulk import over
from tests.study.text_table import number, span, table
from vision.axis import Axis
from vision.backlit import half_level
from vision.exif import CameraInfo
from vision.metal import see_metal
from vision.photo import LINEAR, Photo
from vision.step_edges import step_edges
from vision.strip import straighten

PAPER, PX_PER_MM, WIDTH_MM = 0.8, 80.0, 0.5
ROWS, COLUMNS, AXIS_FROM = 220, 700, 60
BLURS_PX, METALS, NOISES = (1.0, 1.5, 3.0), (0.05, 0.3, 0.55), (0.01, 0.03)
ASKED = 1.3
TRUE_PX = WIDTH_MM * PX_PER_MM + 0.37
FINDERS = ("outermost step", "half level", "strip network", "reference: the known blur fitted")
"""The last is no part of the tool: a least-squares fit that knows shape and blur, to show that the bound can be reached."""


@dataclass(frozen=True)
class Ideal:
    """One kind of bar: blur of its edges (Gaussian width, px), linear light of the metal, noise (linear light)."""

    blur_px: float
    metal: float
    noise: float


def ideal_table(repeats: int, jobs: int, say: Callable[[str], None]) -> str:
    """Spread of the mean width over repeated noise, bound, ratio with its 95 % interval, and mean error, per finder."""
    kinds, found = [Ideal(*values) for values in product(BLURS_PX, METALS, NOISES)], {}
    for one in over(partial(widths, repeats), kinds, jobs):
        found[one.item] = one.result
        say(f"{len(found)} of {len(kinds)}: {_words(one.item)} {one.error or ''}")
    rows = [row for kind in kinds if found[kind] is not None for row in _rows(kind, found[kind])]
    head = ("blur px, metal/paper, noise/paper", "finder", "n", "bound px", "spread over bound (95 %)", f"within {ASKED}", "mean error px")
    return table(head, rows)


def widths(repeats: int, kind: Ideal) -> np.ndarray:
    """Mean width, px, of every repeat (rows) by every finder (columns)."""
    return np.array([_widths(kind, k) for k in range(repeats)])


def _rows(kind: Ideal, found: np.ndarray) -> list[list[str]]:
    least, rows = bound_px(kind) / np.sqrt(columns_used()), []
    for k, name in enumerate(FINDERS):
        got = found[np.isfinite(found[:, k]), k]
        if len(got) < 5:
            rows.append([_words(kind), name, str(len(got)), number(least), "-", "-", "-"])
            continue
        ratio, low, high = spread_ratio(got, least)
        told = "UNDER THE BOUND" if high < 1.0 else "met" if ratio <= ASKED else "MISSED"
        off = number(float(got.mean() - TRUE_PX))
        rows.append([_words(kind), name, str(len(got)), number(least), f"{ratio:.2f} ({span(low, high)})", told, off])
    return rows


def bound_px(kind: Ideal) -> float:
    """Least standard deviation of the bar's width from one column, px."""
    x = np.arange(-60, 61) + 0.37
    light = kind.metal + (PAPER - kind.metal) * norm.cdf(x / kind.blur_px)
    steepness = (PAPER - kind.metal) * norm.pdf(x / kind.blur_px) / kind.blur_px
    variance = kind.noise**2 + _step(light) ** 2 / 12.0
    return float(np.sqrt(2.0 / (steepness**2 / variance).sum()))


def spread_ratio(values: np.ndarray, least: float) -> tuple[float, float, float]:
    """Standard deviation over the bound, with its 95 % interval from the chi-square distribution."""
    ratio, free = float(np.std(values, ddof=1)) / least, len(values) - 1
    return ratio, ratio * float(np.sqrt(free / chi2.ppf(0.975, free))), ratio * float(np.sqrt(free / chi2.ppf(0.025, free)))


def picture(kind: Ideal, seed: int) -> np.ndarray:
    """The bar across the whole picture as 8-bit sRGB (ROWS, COLUMNS, 3), level, noise in linear light, no colour."""
    rows = np.arange(ROWS)[:, None] - (ROWS - 1) / 2.0 - 0.21
    inside = norm.cdf((rows + TRUE_PX / 2.0) / kind.blur_px) - norm.cdf((rows - TRUE_PX / 2.0) / kind.blur_px)
    light = PAPER + (kind.metal - PAPER) * np.broadcast_to(inside, (ROWS, COLUMNS))
    light = np.clip(light + np.random.default_rng([seed, 36]).normal(0.0, kind.noise, light.shape), 0.0, 1.0)
    return np.repeat(np.rint(255.0 * _coded(light)).astype(np.uint8)[..., None], 3, axis=2)


def _widths(kind: Ideal, seed: int) -> list[float]:
    """Mean width of the bar over the columns used, px, by every finder; NaN where one found nothing."""
    photo = Photo(Path("bar.png"), picture(kind, seed), CameraInfo())
    columns = np.arange(AXIS_FROM, COLUMNS - AXIS_FROM, dtype=float)
    line = np.column_stack([columns, np.full(len(columns), (ROWS - 1) / 2.0)])
    steps = step_edges(photo, Axis(line, 0, len(line) - 1, WIDTH_MM / 2.0), PX_PER_MM)
    seen = see_metal(photo, line, TRUE_PX / 2.0)
    lit = np.ones(len(line), dtype=bool)
    level = half_level(straighten(photo, line, 80), steps.upper_px, steps.lower_px, kind.blur_px, lit)
    found = (steps.upper_px - steps.lower_px, level[0] - level[1], seen.upper_px - seen.lower_px)
    return [*(_middle(width[USED]) for width in found), reference_px(photo.rgb, kind.blur_px)]


def reference_px(rgb: np.ndarray, blur_px: float) -> float:
    """Width of a bar of known blur by least squares over the same columns: place, width and both levels free."""
    light = LINEAR[rgb[:, AXIS_FROM : COLUMNS - AXIS_FROM, 0]][:, USED].mean(axis=1)
    rows = np.arange(ROWS) - (ROWS - 1) / 2.0

    def bar(y: np.ndarray, middle: float, width: float, paper: float, metal: float) -> np.ndarray:
        inside = norm.cdf((y - middle + width / 2.0) / blur_px) - norm.cdf((y - middle - width / 2.0) / blur_px)
        return np.asarray(paper + (metal - paper) * inside)

    return float(curve_fit(bar, rows, light, (0.0, TRUE_PX, PAPER, light.min()))[0][1])


def _middle(width: np.ndarray) -> float:
    """Mean of the columns without the tenth at either end (96 % efficient on normal errors); NaN where a tenth is not seen."""
    seen = width[np.isfinite(width)]
    return float(trim_mean(seen, 0.1)) if len(seen) > 0.9 * len(width) else float("nan")


USED = slice(40, COLUMNS - 2 * AXIS_FROM - 40)


def columns_used() -> int:
    """How many columns a width is the mean of."""
    return COLUMNS - 2 * AXIS_FROM - 80


def _words(kind: Ideal) -> str:
    return f"{kind.blur_px:g}, {kind.metal / PAPER:.2f}, {kind.noise / PAPER:.3f}"


def _coded(light: np.ndarray) -> np.ndarray:
    """Linear light to sRGB code, 0 to 1 (IEC 61966-2-1)."""
    return np.where(light <= 0.0031308, 12.92 * light, 1.055 * np.maximum(light, 1e-9) ** (1 / 2.4) - 0.055)


def _step(light: np.ndarray) -> np.ndarray:
    """Linear light of one step of the 8-bit code."""
    code = np.clip(_coded(light), 1e-3, 1.0)
    slope = np.where(code <= 0.04045, 1.0 / 12.92, 2.4 / 1.055 * ((code + 0.055) / 1.055) ** 1.4)
    return np.asarray(slope / 255.0)
