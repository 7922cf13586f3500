"""Stage 1b: what a camera recorded of itself in the file (EXIF, CIPA DC-008), cleaned of nonsense."""

from __future__ import annotations

from dataclasses import dataclass

from PIL import Image

# EXIF 2.3 tags (CIPA DC-008).
_ORIENTATION, _MAKE, _MODEL, _SUB_IFD = 0x0112, 0x010F, 0x0110, 0x8769
TURNED = ("HEIF", "TIFF")  # forms whose decoder turns the picture itself
_FOCAL, _ZOOM, _F35, _LENS, _WIDTH, _HEIGHT = 0x920A, 0xA404, 0xA405, 0xA434, 0xA002, 0xA003


@dataclass(frozen=True)
class CameraInfo:
    """What the camera wrote into the file; None where it wrote nothing usable.

    ``f35_mm`` is the 35 mm equivalent focal length of the uncropped picture; ``recorded_px`` its width and height as
    recorded (either way up). They differ from the photo's own size when somebody cropped or shrank it.
    ``orientation``: how the sensor's rows lie in the upright photo (EXIF values); 1 also where it is not known.
    """

    make: str | None = None
    model: str | None = None
    f35_mm: float | None = None
    focal_mm: float | None = None
    digital_zoom: float | None = None
    recorded_px: tuple[int, int] | None = None
    lens: str | None = None
    orientation: int = 1


def recorded(image: Image.Image) -> tuple[CameraInfo, int]:
    """Return what the camera recorded, and the orientation that is still to be applied.

    HEIC and TIFF: the decoder has already turned the pixels; in a HEIC by its own 'irot' and 'imir' boxes, which rule over EXIF
    (ISO/IEC 23008-12, from memory), and pillow-heif reports EXIF orientation 1; nothing is left to apply.
    """
    try:
        exif = image.getexif()
        sub = exif.get_ifd(_SUB_IFD)
        orientation = 1 if image.format in TURNED else int(exif.get(_ORIENTATION, 1))
    except Exception:  # damaged EXIF breaks Pillow's reader in many ways; a photo is fine without
        return CameraInfo(), 1
    size = (_number(sub.get(_WIDTH)), _number(sub.get(_HEIGHT)))
    info = CameraInfo(
        make=_text(exif.get(_MAKE)),
        model=_text(exif.get(_MODEL)),
        f35_mm=_number(sub.get(_F35)),
        focal_mm=_number(sub.get(_FOCAL)),
        digital_zoom=_number(sub.get(_ZOOM)),
        recorded_px=(int(size[0]), int(size[1])) if size[0] and size[1] else None,
        lens=_text(sub.get(_LENS)),
        orientation=_turned(exif.get(_ORIENTATION, 1), image.info.get("original_orientation")),
    )
    return info, orientation


def _turned(stated: object, before_decoding: object) -> int:
    """The orientation that the camera stated; the HEIC decoder sets it to 1 and keeps the original aside."""
    for value in (before_decoding, stated):
        if isinstance(value, int) and 1 <= value <= 8:
            return value
    return 1


def _text(value: object) -> str | None:
    cleaned = "".join(c for c in str(value or "") if c.isprintable()).strip()
    return cleaned[:64] or None


def _number(value: object) -> float | None:
    """Return a positive finite number, or None: 0 means 'unknown' in EXIF, 0/0 is met in the wild."""
    try:
        number = float(value)  # type: ignore[arg-type]  # whatever the file holds; the except clause judges it
    except (TypeError, ValueError, ZeroDivisionError):
        return None
    return number if 0.0 < number < 1e6 else None
