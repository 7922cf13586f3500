"""Stage 1 of 9: file -> Photo, an upright 8-bit sRGB picture with what its camera recorded; linear grey on demand.

Pixels: the centre of the top-left pixel is (0, 0), x right, y down, after the recorded orientation is applied.
"""

from __future__ import annotations

import io
import struct
import warnings
import zlib
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pillow_heif
from numpy.typing import NDArray
from PIL import Image, ImageCms, JpegImagePlugin, PngImagePlugin

from vision.errors import PhotoError
from vision.exif import CameraInfo, recorded

# JPEG covers MPO, the JPEG with a second picture that some phones write.
FORMATS = (
    JpegImagePlugin.JpegImageFile.format,
    PngImagePlugin.PngImageFile.format,
    pillow_heif.HeifImageFile.format,
)
# What the decoders raise on damaged data; anything else is a fault of ours and must show as one.
_DAMAGE = (
    OSError,
    SyntaxError,
    ValueError,
    EOFError,
    RuntimeError,
    IndexError,
    OverflowError,
    struct.error,
    zlib.error,
)
MIN_SIDE_PX = 320
MAX_MEGAPIXELS = 64  # rounded, as makers count: their '64 megapixel' photos have up to 64.4 million pixels
BLACK_CODE = 16  # sensor noise under a lens cap stays below this sRGB code
BLACK_SHARE = 0.995
_MAGIC = (b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n")

# EXIF orientation -> what brings the stored picture upright (CIPA DC-008, tag 0x0112).
_UPRIGHT = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}


@dataclass(frozen=True)
class Photo:
    """An upright picture: ``rgb`` is (height, width, 3) uint8, sRGB."""

    path: Path
    rgb: NDArray[np.uint8]
    camera: CameraInfo

    @property
    def width_px(self) -> int:
        """Width of the upright picture, px."""
        return int(self.rgb.shape[1])

    @property
    def height_px(self) -> int:
        """Height of the upright picture, px."""
        return int(self.rgb.shape[0])


def load_photo(path: Path) -> Photo:
    """Read a JPEG, PNG or HEIC photo of up to 64 megapixels, upright and in sRGB.

    Raises PhotoError of kind 'no-file', 'not-a-picture', 'truncated', 'too-small', 'too-large' or 'all-black'. The size
    is checked before anything is decoded. Known limit: a JPEG damaged inside its data, not cut at its end, decodes
    without complaint.
    """
    data = _read(path)
    with warnings.catch_warnings():
        # Damaged EXIF and pictures past Pillow's own size warning are judged here, in words, not by its warnings.
        warnings.simplefilter("ignore")
        image = _open(path, data)
        _refuse_bad_size(path, image.width, image.height)
        camera, orientation = recorded(image)
        upright = _upright(_decode(path, image), orientation)
    rgb = np.asarray(upright, dtype=np.uint8)
    _refuse_black(path, rgb)
    return Photo(path, rgb, camera)


# Linear light of an sRGB code, IEC 61966-2-1 (from memory; checked in the tests against scikit-image).
_CODES = np.arange(256) / 255.0
LINEAR = np.where(_CODES <= 0.04045, _CODES / 12.92, ((_CODES + 0.055) / 1.055) ** 2.4)
# Luminance weights of the sRGB primaries, ITU-R BT.709 (from memory).
_RED, _GREEN, _BLUE = (np.asarray(weight * LINEAR, dtype=np.float32) for weight in (0.2126, 0.7152, 0.0722))


def linear_grey(photo: Photo, x0: int, y0: int, x1: int, y1: int) -> NDArray[np.float32]:
    """Return the crop x0 <= x < x1, y0 <= y < y1 (whole px) as relative luminance, 0 black to 1 white, linear in light.

    Shape (y1 - y0, x1 - x0). Only the crop is converted, so a 64 megapixel photo costs no full-size float copy.
    Raises ValueError when the crop is empty or reaches outside the photo.
    """
    if not (0 <= x0 < x1 <= photo.width_px and 0 <= y0 < y1 <= photo.height_px):
        raise ValueError(
            f"linear_grey needs a crop inside 0..{photo.width_px} x 0..{photo.height_px}, got {x0}..{x1} x {y0}..{y1}"
        )
    crop = photo.rgb[y0:y1, x0:x1]
    grey = _RED[crop[..., 0]]
    grey += _GREEN[crop[..., 1]]
    grey += _BLUE[crop[..., 2]]
    return grey


def _read(path: Path) -> bytes:
    try:
        if not path.exists():
            raise PhotoError("no-file", f"found no file {path}: check the name and the folder")
        if not path.is_file():
            raise PhotoError("not-a-picture", f"{path} is a folder or a device: name the photo itself")
        return path.read_bytes()
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "no such name is possible"
        raise PhotoError("no-file", f"{path} cannot be read ({reason}): check the name and its permissions") from error


def _open(path: Path, data: bytes) -> Image.Image:
    pillow_heif.register_heif_opener()
    try:
        return Image.open(io.BytesIO(data), formats=FORMATS)
    except Image.DecompressionBombError as error:
        megapixels = _pixels_named_in(str(error)) / 1e6
        raise _too_large(path, megapixels) from error
    except _DAMAGE as error:
        if data and _looks_like_a_photo(data):
            raise _truncated(path) from error
        found = "is empty" if not data else "holds no JPEG, PNG or HEIC picture"
        raise PhotoError("not-a-picture", f"{path.name} {found}: choose a photo, or save it as JPEG or PNG") from error


def _pixels_named_in(message: str) -> int:
    """Pillow names the size only in its message: 'Image size (200000000 pixels) exceeds limit of ...'."""
    digits = message.partition("(")[2].partition(" ")[0]
    return int(digits) if digits.isdigit() else 2 * int(Image.MAX_IMAGE_PIXELS or 0)


def _looks_like_a_photo(data: bytes) -> bool:
    heic = data[4:8] == b"ftyp" and data[8:12] in {b"heic", b"heix", b"mif1", b"msf1", b"hevc", b"hevx"}
    return heic or data.startswith(_MAGIC)


def _refuse_bad_size(path: Path, width: int, height: int) -> None:
    if round(width * height / 1e6) > MAX_MEGAPIXELS:
        raise _too_large(path, width * height / 1e6)
    if min(width, height) < MIN_SIDE_PX:
        raise PhotoError(
            "too-small",
            f"{path.name} has {width} × {height} px, needs at least {MIN_SIDE_PX} px a side: use the camera's original "
            "file, not a preview",
        )


def _too_large(path: Path, megapixels: float) -> PhotoError:
    return PhotoError(
        "too-large",
        f"{path.name} has {megapixels:.0f} megapixels, at most {MAX_MEGAPIXELS} can be read: choose a smaller picture "
        "size in the camera, or crop the photo around sheet and instrument",
    )


def _truncated(path: Path) -> PhotoError:
    return PhotoError("truncated", f"{path.name} is damaged or cut short: copy the whole file from the camera again")


def _decode(path: Path, image: Image.Image) -> Image.Image:
    """Decode to 8-bit RGB in sRGB; transparency is laid on white."""
    try:
        image.load()
    except _DAMAGE as error:
        raise _truncated(path) from error
    profile = image.info.get("icc_profile")
    return _to_srgb(_to_rgb(image) if image.mode != "CMYK" or not profile else image, profile)


def _to_rgb(image: Image.Image) -> Image.Image:
    if image.mode in ("I", "I;16", "I;16B", "I;16L", "I;16N"):
        deep = np.asarray(image.convert("I"))  # 16 bits a pixel
        return Image.fromarray((np.clip(deep, 0, 65535) >> 8).astype(np.uint8)).convert("RGB")
    if "A" in image.getbands() or "transparency" in image.info:
        layer = image.convert("RGBA")
        paper = Image.new("RGBA", layer.size, "white")
        return Image.alpha_composite(paper, layer).convert("RGB")
    return image.convert("RGB")


def _to_srgb(image: Image.Image, profile: bytes | None) -> Image.Image:
    """Apply an embedded colour profile; without a usable one the picture counts as sRGB, as the web does."""
    if not profile:
        return image.convert("RGB")
    try:
        source = ImageCms.getOpenProfile(io.BytesIO(profile))
        if "srgb" in ImageCms.getProfileDescription(source).lower():
            return image.convert("RGB")
        target = ImageCms.createProfile("sRGB")
        converted = ImageCms.profileToProfile(
            image, source, target, renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC, outputMode="RGB"
        )
    except (ImageCms.PyCMSError, OSError, ValueError, TypeError):
        return image.convert("RGB")
    return converted or image.convert("RGB")


def _upright(image: Image.Image, orientation: int) -> Image.Image:
    turn = _UPRIGHT.get(orientation)
    return image if turn is None else image.transpose(turn)


def _refuse_black(path: Path, rgb: NDArray[np.uint8]) -> None:
    step = max(1, min(rgb.shape[:2]) // 512)
    share = float((rgb[::step, ::step].max(axis=2) <= BLACK_CODE).mean())
    if share >= BLACK_SHARE:
        raise PhotoError(
            "all-black",
            f"{path.name} is black in {100 * share:.1f} % of its pixels, needs a lit one: uncover the lens or add "
            "light and photograph again",
        )
