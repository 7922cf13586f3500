"""What came of a photo: refused, honest, or confidently wrong."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from PIL import Image

from tests.gauntlet.bases import Base
from tests.gauntlet.cases import Spoiled
from vision.pipeline import read_photo
from vision.reading import InstrumentReading, PhotoReading

ALONG, ACROSS = ("length_mm", "working_part_mm", "pitch_mm"), ("d0_mm", "d16_mm", "shank_width_mm")
FAR = 3.0  # u by which an error makes a number confidently wrong
SURE = 0.9
NO_PRINTS = Path("no-print-checks.json")


@dataclass(frozen=True)
class Outcome:
    """``error``: kind of a refusal. ``wrong``: every confident error in words. ``read``: sized at all. ``notes``: its warnings."""

    error: str | None
    wrong: tuple[str, ...]
    read: bool
    notes: tuple[str, ...]


def outcome(base: Base, spoiled: Spoiled, folder: Path) -> Outcome:
    """Write the photo as a file with its record, read it, compare with the truth."""
    path = folder / "photo.png"
    Image.fromarray(np.ascontiguousarray(spoiled.rgb)).save(path, exif=_record(base, spoiled.f35), compress_level=1)
    reading = read_photo(path, given=None, prints=NO_PRINTS, held=base.pose == "flat")
    if reading.error is not None:
        return Outcome(reading.error[0], (), read=False, notes=(reading.error[1],))
    return _compared(base, spoiled, reading)


def _record(base: Base, f35: int | None) -> bytes:
    exif = Image.Exif()
    exif.load(base.exif)
    if f35 == 0:
        return b""
    if f35 is not None:
        exif.get_ifd(0x8769)[0xA405] = f35
    return exif.tobytes()


def _compared(base: Base, spoiled: Spoiled, reading: PhotoReading) -> Outcome:
    """The reading with most of a size counts as the instrument's; every other must not be sure of being one."""
    mine = max(reading.instruments, key=lambda one: (one.d0_mm is not None, one.length_mm.value if one.length_mm else 0.0))
    wrong = _numbers(base, spoiled, mine) + _names(base, spoiled, mine)
    for other in reading.instruments:
        if other is not mine and max(other.family.probability, other.size.probability) >= SURE and other.family.value:
            wrong.append(f"a second {other.family.value} at {other.family.probability:.2f}")
    notes = (*reading.notes, *mine.notes)
    return Outcome(None, tuple(wrong), read=mine.d0_mm is not None and mine.family.value is not None, notes=notes)


def _numbers(base: Base, spoiled: Spoiled, mine: InstrumentReading) -> list[str]:
    found = []
    for name in (*ALONG, *ACROSS):
        quantity, truth = getattr(mine, name), base.truth.get(name)
        if quantity is None or truth is None:
            continue
        error = quantity.value - truth * (spoiled.along if name in ALONG else spoiled.across)
        if abs(error) > FAR * quantity.u:
            found.append(f"{name} {quantity.value:.3f} is off by {error:+.3f}, {abs(error) / quantity.u:.1f} u")
    return found


def _names(base: Base, spoiled: Spoiled, mine: InstrumentReading) -> list[str]:
    found = []
    for name in ("family", "size"):
        choice = getattr(mine, name)
        if name == "size" and spoiled.across != 1.0:
            continue  # the copied sheet makes another instrument of it, of no nominal size
        if choice.value is not None and choice.probability >= SURE and choice.value != base.truth[name]:
            found.append(f"{name} {choice.value} at {choice.probability:.2f} is {base.truth[name]}")
    return found
