"""Stage 8e: what several photos of one instrument say of each other, in sentences."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from vision.lifted import ENOUGH_PARALLAX, Lifted
from vision.pooling import Pooled
from vision.reading import InstrumentReading
from vision.same import Untouched

SURE = 0.9
LENGTHS_APART_U, LENGTHS_APART_MM = 4.0, 1.5
WORDS = {
    "d0_mm": ("D0", "mm"),
    "d16_mm": ("D16", "mm"),
    "taper_mm_per_mm": ("taper", "mm/mm"),
    "length_mm": ("length", "mm"),
    "shank_width_mm": ("shank", "mm"),
    "pitch_mm": ("pitch", "mm"),
}


def contradiction(names: Sequence[str], readings: Sequence[InstrumentReading]) -> str | None:
    """Say what two photos contradict each other in; None when nothing speaks against one instrument."""
    for k, (name, one) in enumerate(zip(names, readings, strict=True)):
        for other_name, other in zip(names[k + 1 :], readings[k + 1 :], strict=True):
            told = _apart(one, other)
            if told is not None:
                return f"{name} shows {told[0]}, {other_name} {told[1]}"
    return None


def _apart(one: InstrumentReading, other: InstrumentReading) -> tuple[str, str] | None:
    for what, a, b in (("a", one.family, other.family), ("size", one.size, other.size)):
        if a.value is not None and b.value is not None and a.value != b.value and min(a.probability, b.probability) >= SURE:
            return f"{what} {a.value}", f"{what} {b.value}"
    x, y = one.length_mm, other.length_mm
    if x is not None and y is not None and abs(x.value - y.value) > max(LENGTHS_APART_U * math.hypot(x.u, y.u), LENGTHS_APART_MM):
        return f"a length of {x.value:.1f} mm (u {x.u:.1f})", f"one of {y.value:.1f} mm (u {y.u:.1f})"
    return None


def mode_notes(test: Untouched) -> list[str]:
    """Whether it lay untouched, with the statistic and the limit it was held against."""
    if test.untouched:
        notes = [f"it lay untouched between the photos as far as they tell: {test.words}"]
        if test.hand is not None:
            notes.append("the hand of twist follows from the way its crests shift between the photos")
        return notes
    return [f"it was moved or turned between the photos: {test.words}; readings are pooled, its height is not triangulated"]


def lay_notes(known: Sequence[str], own: Sequence[str]) -> list[str]:
    """What is taken for the height in photos of it turned since: what was measured before, or what each photo allows."""
    heights = (known, "what was measured as it lay before, now and then another pose"), (own, "as its photo allows")
    return [f"for {', '.join(names)} it was turned and laid down again: its height there is {height}" for names, height in heights if names]


def parallax_notes(lifted: Lifted, way_mm: float) -> list[str]:
    """How far the camera moved across, and what to do when that tells too little of the height."""
    height = way_mm / max(lifted.axis.parallax, 1e-9)
    moved = f"the camera moved {way_mm:.0f} mm across the instrument, {100 * lifted.axis.parallax:.0f} % of its height"
    if lifted.weak:
        return [
            f"{moved}: that tells its height only to {lifted.height_mm.u:.1f} mm, so the usual rest poses are weighed in; "
            f"move the camera across the instrument by at least a third of its height ({ENOUGH_PARALLAX * height:.0f} mm)"
            if way_mm > 1.0
            else "the camera did not move across the instrument, so its height is not told and the usual rest poses are "
            "carried; move the camera across the instrument by at least a third of its height"
        ]
    return [f"{moved}: the height of its axis is measured, u {lifted.height_mm.u:.2f} mm"]


def disagreements(names: Sequence[str], pooled: Mapping[str, Pooled | None]) -> list[str]:
    """Loud sentences on quantities whose readings contradict each other beyond their own uncertainties."""
    told = []
    for field, (word, unit) in WORDS.items():
        one = pooled.get(field)
        if one is not None and one.disagree:
            told.append(
                f"THE PHOTOS DISAGREE on {word}: chi-square {one.chi_square:.1f} for {one.freedom} degrees of freedom "
                f"(p {max(one.probability, 1e-4):.2g}); {names[one.farthest]} is farthest off, by {one.off:.1f} of its own u; "
                f"u is widened to {one.quantity.u:.2g} {unit}; look at that photo's focus and light, and repeat it"
            )
    return told
