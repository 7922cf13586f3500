"""A photo's bytes without place and names: GPS, maker notes, owner, serial numbers, comments and XMP are taken out.

Pixels are never coded again, and orientation, focal length, camera and time stay, since a reading needs them. JPEG: segments
of ITU-T T.81 and CIPA DC-008; PNG: chunks of ISO/IEC 15948; WebP: chunks of RFC 9649; HEIC, AVIF and TIFF: the same bytes blanked in
place (all from memory, checked in the tests by reading the result with Pillow). A BMP records nothing.
"""

from __future__ import annotations

import io
import struct
import zlib

import pillow_heif

from vision.errors import PhotoError
from vision.excess import excess
from vision.photo import NAMED
from vision.records.strip_exif import blanked

_EXIF, _JPEG, _PNG = b"Exif\x00\x00", b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n"
_SOS, _EOI, _APP0, _APP2, _APP14, _COMMENT = 0xDA, 0xD9, 0xE0, 0xE2, 0xEE, 0xFE
_PNG_KEPT = {b"IHDR", b"PLTE", b"IDAT", b"IEND", b"tRNS", b"gAMA", b"cHRM", b"sRGB", b"iCCP", b"sBIT", b"pHYs", b"cICP"}
_TIFF, _XMP_FLAG = (b"II*\x00", b"MM\x00*"), 0x04
_WEBP_KEPT = {b"VP8 ", b"VP8L", b"VP8X", b"ALPH", b"ANIM", b"ANMF", b"ICCP"}


def stripped(data: bytes) -> tuple[bytes, str]:
    """Return the bytes without place and names, and the ending that suits them ('jpg', 'png', 'heic' ...).

    Raises PhotoError of kind 'not-a-picture' or 'truncated'.
    """
    much = excess(data)
    if much is not None:
        raise PhotoError("not-a-picture", f"the file {much}, as no photo does: use the camera's original file")
    try:
        if data.startswith(_JPEG):
            return _jpeg(data), "jpg"
        if data.startswith(_PNG):
            return _png(data), "png"
        if data[4:8] == b"ftyp":
            return _heic(data), "avif" if data[8:12] in (b"avif", b"avis") else "heic"
        if data.startswith(b"RIFF") and data[8:12] == b"WEBP":
            return _webp(data), "webp"
        if data.startswith(_TIFF):
            return blanked(data), "tif"
        if data.startswith(b"BM") and len(data) > 54:
            return data, "bmp"
    except (struct.error, IndexError, ValueError, OSError, SyntaxError, EOFError, RuntimeError) as error:
        raise PhotoError(
            "truncated", "the photo is damaged or cut short: copy the whole file from the camera again"
        ) from error
    raise PhotoError(
        "not-a-picture", f"this file holds no {NAMED} picture: choose a photo, or save it as JPEG or PNG"
    )


def _jpeg(data: bytes) -> bytes:
    """Keep JFIF, colour profile, Adobe and cleaned EXIF of the application segments, and the first picture alone."""
    out, at = bytearray(b"\xff\xd8"), 2
    while True:
        while data[at : at + 2] == b"\xff\xff":  # fill bytes
            at += 1
        if data[at] != 0xFF:
            raise ValueError(f"no marker at byte {at}")
        marker = data[at + 1]
        if marker == _EOI:
            return bytes(out + b"\xff\xd9")
        (length,) = struct.unpack_from(">H", data, at + 2)
        body, end = data[at + 4 : at + 2 + length], at + 2 + length
        if len(body) != length - 2:
            raise ValueError("a segment is cut short")
        kept = _segment(marker, body)
        if kept is not None:
            out += b"\xff" + bytes([marker]) + struct.pack(">H", len(kept) + 2) + kept
        at = end
        if marker == _SOS:
            end = _scan_end(data, at)
            out += data[at:end]
            at = end


def _segment(marker: int, body: bytes) -> bytes | None:
    if marker == _APP0 + 1:
        return _EXIF + blanked(body[6:]) if body.startswith(_EXIF) else None
    if marker == _APP2:
        return body if body.startswith(b"ICC_PROFILE\x00") else None  # not the list of further pictures in the file
    if _APP0 < marker < _APP0 + 16 and marker != _APP14:
        return None
    return None if marker == _COMMENT else body


def _scan_end(data: bytes, at: int) -> int:
    """Return where the coded data of a scan ends: at the next marker that is neither stuffing nor a restart."""
    while True:
        at = data.find(b"\xff", at)
        if at < 0 or at + 1 >= len(data):
            return len(data) if at < 0 else at  # cut short: the decoder will say so
        if data[at + 1] == 0 or 0xD0 <= data[at + 1] <= 0xD7:
            at += 2
        elif data[at + 1] == 0xFF:
            at += 1
        else:
            return at


def _png(data: bytes) -> bytes:
    out, at = bytearray(_PNG), 8
    while at < len(data):
        length, kind = struct.unpack_from(">I4s", data, at)
        body = data[at + 8 : at + 8 + length]
        if len(body) != length:
            raise ValueError("a chunk is cut short")
        if kind == b"eXIf":
            body = blanked(body)
        if kind in _PNG_KEPT or kind == b"eXIf":
            out += struct.pack(">I4s", length, kind) + body + struct.pack(">I", zlib.crc32(kind + body))
        at += 12 + length
        if kind == b"IEND":
            return bytes(out)
    raise ValueError("no end of the picture")


def _webp(data: bytes) -> bytes:
    out, at = bytearray(b"WEBP"), 12
    while at + 8 <= len(data):
        kind, length = struct.unpack_from("<4sI", data, at)
        body = data[at + 8 : at + 8 + length]
        if len(body) != length:
            raise ValueError("a chunk is cut short")
        if kind == b"EXIF":
            body = _EXIF + blanked(body[6:]) if body.startswith(_EXIF) else blanked(body)
        if kind == b"VP8X" and body:
            body = bytes([body[0] & ~_XMP_FLAG]) + body[1:]
        if kind in _WEBP_KEPT or kind == b"EXIF":
            out += struct.pack("<4sI", kind, length) + body + bytes(length % 2)
        at += 8 + length + length % 2
    return b"RIFF" + struct.pack("<I", len(out)) + bytes(out)


def _heic(data: bytes) -> bytes:
    """Blank EXIF's private parts and all of XMP where they lie; the file's length and its tables stay as they are."""
    recorded = pillow_heif.open_heif(
        io.BytesIO(data)
    ).info  # as they stand in the file; Pillow's plugin turns some of it
    exif, xmp = recorded.get("exif"), recorded.get("xmp")
    for block, clean in ((_tiff(exif), blanked), (bytes(xmp or b""), _spaces)):
        if not block:
            continue
        if data.count(block) == 0:
            raise ValueError("what the camera recorded is not where the file says")
        data = data.replace(block, clean(block))
    return data


def _tiff(exif: bytes | None) -> bytes:
    data = exif or b""
    return data[6:] if data.startswith(_EXIF) else data


def _spaces(block: bytes) -> bytes:
    return b" " * len(block)
