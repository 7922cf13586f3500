"""EXIF (TIFF structure, CIPA DC-008) with place, maker notes, names and serial numbers zeroed; its length stays the same."""

from __future__ import annotations

import struct

_GPS, _SUB, _INTEROP = 0x8825, 0x8769, 0xA005
# Description, artist, copyright, comment, maker note, owner, serial numbers of body and lens, Windows' title to subject,
# XMP, host computer, IPTC, resources of picture editors.
_PRIVATE = frozenset(
    {0x010E, 0x013B, 0x8298, 0x9286, 0x927C, 0xA430, 0xA431, 0xA435, 0x9C9B, 0x9C9C, 0x9C9D, 0x9C9E, 0x9C9F, 0x02BC,
     0x013C, 0x83BB, 0x8649}
)
_SIZES = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8}


def blanked(tiff: bytes) -> bytes:
    """Return the block with private values zeroed. One that cannot be followed is zeroed as a whole."""
    data = bytearray(tiff)
    order = {b"II": "<", b"MM": ">"}.get(tiff[:2])
    if order is None:
        return bytes(len(tiff))
    try:
        (first,) = struct.unpack_from(f"{order}I", data, 4)
        _follow(data, order, first, wipe=False, seen=set())
    except (struct.error, IndexError):
        return bytes(len(tiff))
    return bytes(data)


def _follow(data: bytearray, order: str, at: int, *, wipe: bool, seen: set[int]) -> None:
    """Go through a directory and those it leads to; ``wipe`` zeroes all its values."""
    if at in seen or not at:
        return
    seen.add(at)
    (count,) = struct.unpack_from(f"{order}H", data, at)
    for number in range(count):
        entry = at + 2 + 12 * number
        tag, kind, values, offset = struct.unpack_from(f"{order}HHII", data, entry)
        if tag in (_SUB, _INTEROP, _GPS):
            _follow(data, order, offset, wipe=wipe or tag == _GPS, seen=seen)
        if wipe or tag in _PRIVATE or tag == _GPS:
            _zero(data, entry, offset, _SIZES.get(kind, 1) * values)
    (following,) = struct.unpack_from(f"{order}I", data, at + 2 + 12 * count)
    _follow(data, order, following, wipe=True, seen=seen)
    _thumbnail_off(data, at + 2 + 12 * count, following)


def _zero(data: bytearray, entry: int, offset: int, size: int) -> None:
    """Zero a value where it lies, then its entry's count and value; tag and type stay, so that order is kept."""
    if size > 4:
        data[offset : offset + size] = bytes(len(data[offset : offset + size]))
    data[entry + 4 : entry + 12] = bytes(8)


def _thumbnail_off(data: bytearray, pointer: int, following: int) -> None:
    """Cut the link to the next directory: it is the small preview, which may show what the photo no longer does."""
    if following:
        data[pointer : pointer + 4] = bytes(4)
