"""Stage 1c: a file's bytes -> is it built to take longer than any photo does? Two forms let a few bytes cost minutes.

A progressive JPEG may go over its picture as often as it likes (ITU-T T.81, annex G), and a PNG may hold any number of empty
chunks (ISO/IEC 15948, 5.3). Real ones keep far below the limits here. Tables in TIFF and EXIF that point at the same bytes
again and again are Pillow's matter: from version 13 on it reads no more than the file holds.
"""

from __future__ import annotations

import re
import struct

# Cameras write 1 scan, or 10 with progression; encoders that search for the smallest file stay below 40.
MOST_SCANS = 100
# A 64 megapixel PNG in chunks of 8 kB, the smallest in common use, has about 25 000.
MOST_CHUNKS = 60_000
_JPEG, _PNG = b"\xff\xd8", b"\x89PNG\r\n\x1a\n"
_SOS, _EOI = 0xDA, 0xD9
_MARKER = re.compile(rb"\xff[\x01-\xcf\xd8-\xfe]")  # within coded data FF 00 is data, FF D0 to D7 a restart


def excess(data: bytes) -> str | None:
    """Return in words what a JPEG or PNG has far too much of; None for all else, damaged files included."""
    if data.startswith(_JPEG) and _scans(data) > MOST_SCANS:
        return f"goes over its picture more than {MOST_SCANS} times"
    if data.startswith(_PNG) and _chunks(data) > MOST_CHUNKS:
        return f"is cut into more than {MOST_CHUNKS} pieces"
    return None


def _scans(data: bytes) -> int:
    """Count the scans of the first picture; stops one past the limit or at its end."""
    at, scans = 2, 0
    while scans <= MOST_SCANS and at + 4 <= len(data):
        if data[at] != 0xFF:  # decoders pass over what stands between segments
            following = _MARKER.search(data, at)
            if following is None:
                break
            at = following.start()
            continue
        marker = data[at + 1]
        if marker == _EOI:
            break
        if marker in {0xFF, 0x01} or 0xD0 <= marker <= 0xD8:  # fill byte, or a marker without a length
            at += 1 if marker == 0xFF else 2
            continue
        at += 2 + max(int.from_bytes(data[at + 2 : at + 4], "big"), 2)
        if marker == _SOS:
            scans += 1
            following = _MARKER.search(data, at)
            at = following.start() if following else len(data)
    return scans


def _chunks(data: bytes) -> int:
    at, chunks = len(_PNG), 0
    while chunks <= MOST_CHUNKS and at + 8 <= len(data):
        (length,) = struct.unpack_from(">I", data, at)
        at, chunks = at + 12 + length, chunks + 1
    return chunks
