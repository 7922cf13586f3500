"""Published sizes, colours and limits, each with its source. They name and judge an instrument, and never enter a measurement.

Sources: JIS T 5419:1995 (finger pluggers; read) uses the same size system as files and reamers. ISO 3630-1 itself was
not read: what rests on it is marked 'from memory'.
"""

from __future__ import annotations

from dataclasses import dataclass

from vision.reading import Bound

# ISO size number = projected tip diameter in 1/100 mm. 015 to 140: JIS T 5419:1995, table 1 (read); 06 to 10: from memory.
SIZES = (6, 8, 10, 15, 20, 25, 30, 35, 40, 45, 50, 55, 60, 70, 80, 90, 100, 110, 120, 130, 140)
# Broach sizes: from memory; nobody here has read the table.
BROACH_SIZES = (20, 25, 30, 35, 40, 50, 60)
TAPER = 0.02  # mm per mm; D16 = D0 + 0.32, JIS T 5419:1995 (read)
OLDER_RISE_MM = 0.30  # older rule for the end of the flutes: common practice, no source
LENGTHS_MM = (21.0, 25.0, 28.0, 31.0)  # JIS T 5419:1995 (read)

_RING = ("white", "yellow", "red", "blue", "green", "black")
_SMALL = {6: "pink", 8: "grey", 10: "purple"}
# Published colour tables agree for 06 to 140 (two independent teaching texts, read); orange also met for 06.
COLOUR_OF_SIZE = _SMALL | {size: _RING[i % 6] for i, size in enumerate(s for s in SIZES if s >= 15)}
COLOURS = ("pink", "grey", "purple", *_RING)
# Half sizes of the trade: colour of the size below with a gold mark. Public tables (one read); rarer than whole sizes.
HALF_SIZES = {12: "purple", 17: "white", 22: "yellow", 27: "red", 32: "blue", 37: "green"}


def sizes_of_colour(colour: str | None) -> tuple[int, ...]:
    """Return the ISO sizes that carry a handle colour, ascending; empty for None or a colour that is no size colour."""
    return tuple(size for size, name in COLOUR_OF_SIZE.items() if name == colour)


def half_sizes_of_colour(colour: str | None) -> tuple[int, ...]:
    """Return the half sizes that carry a handle colour, ascending."""
    return tuple(size for size, name in HALF_SIZES.items() if name == colour)


@dataclass(frozen=True)
class Limit:
    """A tolerance about nominal: what 'within' must keep and what 'outside' must clear; two texts may differ."""

    within: Bound
    outside: Bound


PLUGGER = "JIS T 5419:1995, table 1, finger pluggers of the same size system"
LATER_FILES = "later editions of ISO 3630-1, files above size 60"
TIP_SHAPES = "a teaching summary on tip shapes"
WIDER_ABOVE = 60  # the size above which texts differ


def diameter_limit(size: int) -> Limit:
    """Return the tolerance of D0 and D16, mm.

    ±0.02 mm is read for pluggers of every size; for files above size 60 a later text is remembered with ±0.04 mm, so
    there 'within' needs the tighter and 'outside' the wider.
    """
    read = Bound(0.02, PLUGGER, read=True)
    return Limit(read, read if size <= WIDER_ABOVE else Bound(0.04, LATER_FILES, read=False))


def length_limit() -> Limit:
    """Return the tolerance of the length from tip to handle: ±0.5 mm."""
    return Limit(Bound(0.5, PLUGGER, read=True), Bound(0.5, PLUGGER, read=True))


TIP_ANGLE_DEG = 75.0


def tip_angle_limit() -> Limit:
    """Return the tolerance of the included tip angle about 75 deg: ±15 deg."""
    return Limit(Bound(15.0, TIP_SHAPES, read=True), Bound(15.0, TIP_SHAPES, read=True))
