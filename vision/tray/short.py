"""An instrument that ends early, on bare paper: a piece of the tip is missing, or the end is bent away.

At a tray's scale the tip's shape and D0 are too coarse to tell, but lengths are not: what lost its tip is short of a standard
length, and its working part is short by as much. Both are weighed together against one that merely was made so. An end ahead of
which something else than paper and print is seen was perhaps not followed to its tip, and is never sure.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.nominal import LENGTHS_MM
from vision.quantity import Quantity
from vision.reading import InstrumentReading
from vision.together import Looked

Array = NDArray[np.floating[Any]]
PART_MM, PART_SPREAD_MM = 16.1, 0.75  # of files and reamers: 16 or more by ISO 3630-1 as others quote it (read); lots vary: no source
BARBED_MM, BARBED_SPREAD_MM = 11.2, 1.0  # of a broach: common practice, no source
LENGTH_SPREAD_MM = 0.35  # about the standard lengths: common practice, no source
ASTRAY = 0.04  # of either length: misread, by anything within ASTRAY_MM
ASTRAY_MM = 30.0
GONE_MM = np.arange(1.2, 10.0, 0.1)  # pieces that are thought of; a smaller one shows in a close-up alone
RARER_MM = 3.0  # longer pieces are rarer: by e for so much more, our own choice
USUAL = 0.05  # share of instruments on a tray that lost so much: our own choice
# Chances by the rule below from which an end on bare paper is sure, and from which any other is in doubt. The share of lost tips that the
# rule begins with is low, so that its chances are: of 623 whole ones on development trays fewer than one in a hundred is sure.
SURE_ON_PAPER, DOUBT = 0.12, 0.2
CERTAIN = 0.5  # the same for a check, with a piece of SURE_MM gone: of those 623 whole ones one is beyond it, of 33 lost tips 19
SURE_MM, SURE_OF_LITTLE = 1.7, 0.3  # of a shorter piece one must be surer: whole ones are as short as that now and then
BELIEVED = 3.0  # a part shorter than that, mm, was not read but lost sight of
LONGEST_MM = 33.0  # of a length or a mask: beyond, something else was followed
AHEAD_MM = (0.35, 1.5)  # beyond the end, where there must be bare paper, its own soft shadow on it or not
DARKEST, BRIGHTEST, STEP = 0.4, 1.15, 0.18  # of light over paper's there; from a tenth of a millimetre to the next, which metal exceeds
AROUND_PX = 1  # print may lie so much aside
INK = 0.12  # light that black print still gives, at most
PLAIN, LEAST_PLAIN = 0.01, 0.5  # from white or black; so much must be one of them alone, or fine print would pass whatever lies on it
FLUTED, BROACH = ("k-file", "reamer", "hedstroem-file"), "barbed-broach"
BEHIND_MM = 2.0  # from where the direction at the end is taken


def ends_early(reading: InstrumentReading, looked: Looked, length: Quantity | None, part: Quantity | None) -> tuple[str, bool] | None:
    """The sentence on an instrument that is too short, and whether that is sure; None where it is not.

    ``length``, ``part``: as measured, or agreed on.
    """
    part = _believed(part)
    chance, gone = _chance_gone(reading, length, part)
    plain = chance >= (SURE_ON_PAPER if gone >= SURE_MM else SURE_OF_LITTLE)
    sure = plain and on_bare_paper(reading, looked)
    if not sure and chance < DOUBT:
        return None
    ends = "working part" if reading.working_part_mm is not None else "working part, taken to end beneath the stop,"
    read = [f"{name} {one.value:.1f} mm (u {one.u:.1f})" for name, one in (("length", length), (ends, part)) if one is not None]
    told = f"{', '.join(read)}: about {gone:.0f} mm short of a whole one; a piece of the tip is missing, or the end is bent away"
    return (told if sure else f"perhaps too short: {told}"), sure


def gone_beyond_doubt(reading: InstrumentReading, looked: Looked) -> bool:
    """Whether so much is missing, and so surely, that a check may call it damage."""
    chance, gone = _chance_gone(reading, reading.length_mm, _believed(reading.working_part_mm))
    return chance >= CERTAIN and gone >= SURE_MM and on_bare_paper(reading, looked)


def looked_for(reading: InstrumentReading, length: Quantity | None) -> bool:
    """Whether a lost tip would show: a length is known, of what has usual ones, and nothing else was followed."""
    return length is not None and length.value <= LONGEST_MM and reading.family.value in (None, *FLUTED, BROACH)


def _chance_gone(reading: InstrumentReading, length: Quantity | None, part: Quantity | None) -> tuple[float, float]:
    """As ``tip_gone``; 0 for what has no such lengths, or where something else was followed."""
    led_on = length is not None and length.value > LONGEST_MM
    if led_on or reading.family.value not in (None, *FLUTED, BROACH):
        return 0.0, 0.0
    return tip_gone(length, part, _barbed(reading))


def _believed(part: Quantity | None) -> Quantity | None:
    return None if part is None or part.value < BELIEVED else part


def tip_gone(length: Quantity | None, part: Quantity | None, barbed: float) -> tuple[float, float]:
    """Chance that a piece of the tip is gone, and its length in mm. ``barbed``: how likely it is a broach, whose part is shorter."""
    whole = _length_density(length, 0.0) * _part_density(part, 0.0, barbed)
    lost = np.array([_length_density(length, gone) * _part_density(part, gone, barbed) for gone in GONE_MM])
    if length is None and part is None:
        return 0.0, 0.0
    odds = USUAL / (1.0 - USUAL) * float(np.average(lost, weights=np.exp(-GONE_MM / RARER_MM))) / whole
    return odds / (1.0 + odds), float(GONE_MM[int(lost.argmax())])


def _length_density(length: Quantity | None, gone: float) -> float:
    if length is None:
        return 1.0
    spread = math.hypot(LENGTH_SPREAD_MM, length.u)
    return float(np.mean([_density(length.value + gone, full, spread) for full in LENGTHS_MM]))


def _part_density(part: Quantity | None, gone: float, barbed: float) -> float:
    if part is None:
        return 1.0
    fluted = _density(part.value + gone, PART_MM, math.hypot(PART_SPREAD_MM, part.u))
    broach = _density(part.value + gone, BARBED_MM, math.hypot(BARBED_SPREAD_MM, part.u))
    return barbed * broach + (1.0 - barbed) * fluted


def _density(value: float, middle: float, spread: float) -> float:
    bell = math.exp(-0.5 * ((value - middle) / spread) ** 2) / (spread * math.sqrt(2.0 * math.pi))
    return (1.0 - ASTRAY) * bell + ASTRAY / ASTRAY_MM


def _barbed(reading: InstrumentReading) -> float:
    return reading.family.probability if reading.family.value == BROACH else reading.family.others.get(BROACH, 0.0)


def on_bare_paper(reading: InstrumentReading, looked: Looked) -> bool:
    """Whether only paper and its print lie ahead of the tip, in a soft shadow perhaps."""
    if reading.tip_px is None or looked.scale.sheet is None:
        return False
    ahead = _ahead_px(np.asarray(reading.trace.axis_px), np.asarray(reading.tip_px), reading.local_px_per_mm)
    plane = looked.plane
    spots = (looked.scale.to_plane_mm(ahead) - [plane.x0_mm, plane.y0_mm]) * plane.px_per_mm - 0.5
    x, y = np.rint(spots).astype(int).T
    height, width = plane.printed.shape
    if not ((x > AROUND_PX) & (x < width - AROUND_PX - 1) & (y > AROUND_PX) & (y < height - AROUND_PX - 1)).all():
        return False
    light = looked.relative[y, x].mean(axis=1)
    near = np.arange(-AROUND_PX, AROUND_PX + 1)
    printed = plane.printed[y[:, None, None] + near[:, None], x[:, None, None] + near].reshape(len(x), -1)
    least, most = printed.min(axis=1), printed.max(axis=1)
    as_printed = (light > DARKEST * least - INK) & (light < BRIGHTEST * most + INK)
    white = least > 1.0 - PLAIN
    plain = white | (most < PLAIN)
    steps = np.abs(np.diff(light))[white[1:] & white[:-1]]
    return bool(as_printed.all() and plain.mean() >= LEAST_PLAIN and (steps < STEP).all())


def _ahead_px(axis: Array, tip: Array, px_per_mm: float) -> Array:
    """Points beyond the tip, straight on; the axis begins at the tip."""
    behind = axis[min(round(BEHIND_MM * px_per_mm), len(axis) - 1)]
    on = (tip - behind) / max(float(np.linalg.norm(tip - behind)), 1e-9)
    return np.asarray(tip + np.linspace(*AHEAD_MM, 12)[:, None] * px_per_mm * on)
