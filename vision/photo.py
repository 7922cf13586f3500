"""Stage 1 of 9: file -> Photo, an upright 8-bit sRGB picture with what its camera recorded; linear grey on demand.

Pixels: the centre of the top-left pixel is (0, 0), x right, y down, after the recorded orientation is applied.
"""

from __future__ import annotations

import errno
import io
import os
import stat
import struct
import warnings
import zlib
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import pillow_heif
from numpy.typing import NDArray
from PIL import Image, ImageCms

from vision.bands import bands
from vision.channels import greatest
from vision.errors import PhotoError
from vision.excess import excess
from vision.exif import CameraInfo, recorded

# JPEG covers MPO, the JPEG with a second picture that some phones write. Nothing else is tried: fewer decoders, less to attack.
FORMATS = ("JPEG", "PNG", "HEIF", "AVIF", "TIFF", "WEBP", "BMP")
NAMED = "JPEG, PNG, HEIC, AVIF, TIFF, WebP or BMP"
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
MAX_MEGABYTES = 400  # 64 megapixels of 3 × 16 bits, stored plainly, are 387
BLACK_CODE = 16  # sensor noise under a lens cap stays below this sRGB code
BLACK_SHARE = 0.995
_MAGIC = (b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n", b"II*\x00", b"MM\x00*")
_BRANDS = {b"heic", b"heix", b"mif1", b"msf1", b"hevc", b"hevx", b"avif", b"avis"}
# What a colour profile speaks of (ICC.1, 7.2.6) -> the form of pixels it is applied to.
_PROFILED = {"RGB": ("RGB",), "GRAY": ("L",), "CMYK": ("CMYK",), "Lab": ("LAB",)}
_PROBE = np.stack(np.meshgrid(*[np.arange(0, 256, 51, dtype=np.uint8)] * 3, indexing="ij"), axis=-1).reshape(6, 36, 3)

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
    """Read a photo of up to 64 megapixels and 400 megabytes in one of FORMATS, upright and in sRGB.

    Raises PhotoError of kind 'no-file', 'not-a-picture', 'truncated', 'too-small', 'too-large' or 'all-black'. The size
    is checked before anything is decoded; a file of several pictures gives its first. Known limit: a JPEG damaged inside
    its data, not cut at its end, decodes without complaint.
    """
    data = _read(path)
    with warnings.catch_warnings():
        # Damaged EXIF and pictures past Pillow's own size warning are judged here, in words, not by its warnings.
        warnings.simplefilter("ignore")
        image = _open(path, data)
        _refuse_bad_size(path, image.width, image.height)
        camera, orientation = recorded(image)
        rgb = _plain_jpeg(path, data, image) if orientation == 1 else None
        if rgb is None:
            rgb = np.ascontiguousarray(_upright(_decode(path, image), orientation), dtype=np.uint8)
    _refuse_black(path, rgb)
    return Photo(path, rgb, camera)


# Linear light of an sRGB code, IEC 61966-2-1 (from memory; checked in the tests against scikit-image).
_CODES = np.arange(256) / 255.0
LINEAR = np.where(_CODES <= 0.04045, _CODES / 12.92, ((_CODES + 0.055) / 1.055) ** 2.4)
# Luminance weights of the sRGB primaries, ITU-R BT.709 (from memory).
_SHARES = np.stack([np.asarray(weight * LINEAR, dtype=np.float32) for weight in (0.2126, 0.7152, 0.0722)], axis=-1)[:, None]


def linear_grey(photo: Photo, x0: int, y0: int, x1: int, y1: int) -> NDArray[np.float32]:
    """Return the crop x0 <= x < x1, y0 <= y < y1 (whole px) as relative luminance, 0 black to 1 white, linear in light.

    Shape (y1 - y0, x1 - x0). Only the crop is converted, so a 64 megapixel photo costs no full-size float copy.
    Raises ValueError when the crop is empty or reaches outside the photo.
    """
    if not (0 <= x0 < x1 <= photo.width_px and 0 <= y0 < y1 <= photo.height_px):
        raise ValueError(
            f"linear_grey needs a crop inside 0..{photo.width_px} x 0..{photo.height_px}, got {x0}..{x1} x {y0}..{y1}"
        )
    grey = np.empty((y1 - y0, x1 - x0), dtype=np.float32)
    for band in bands(grey.shape, 0):
        red, green, blue = cv2.split(cv2.LUT(np.ascontiguousarray(photo.rgb[y0:y1, x0:x1][band.place]), _SHARES))
        grey[band.place] = cv2.add(cv2.add(red, green), blue)
    return grey


def _read(path: Path) -> bytes:
    try:
        # Opened so that a pipe without a writer does not wait for one; judged by what was opened, not by what lay there before.
        handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
        with os.fdopen(handle, "rb") as file:
            found = os.fstat(file.fileno())
            if not stat.S_ISREG(found.st_mode):
                raise _no_file_itself(path)
            data = file.read(MAX_MEGABYTES * 10**6 + 1) if found.st_size <= MAX_MEGABYTES * 10**6 else b""
            if found.st_size > MAX_MEGABYTES * 10**6 or len(data) > MAX_MEGABYTES * 10**6:
                raise PhotoError(
                    "too-large",
                    f"{path.name} has more than the {MAX_MEGABYTES} megabytes that can be read: save it as JPEG, or choose "
                    "a smaller picture size in the camera",
                )
            return data
    except FileNotFoundError as error:
        raise PhotoError("no-file", f"found no file {path}: check the name and the folder") from error
    except (OSError, ValueError) as error:
        raise _unreadable(path, error) from error


def _no_file_itself(path: Path) -> PhotoError:
    if path.is_dir():
        whole = f"'flutegauge measure {path} --out RESULTS' reads all of it"
        return PhotoError("not-a-picture", f"{path} is a folder: name the photos in it; {whole}")
    return PhotoError("not-a-picture", f"{path} is a device: name the photo itself")


def _unreadable(path: Path, error: OSError | ValueError) -> PhotoError:
    if isinstance(error, OSError) and error.errno in (errno.EISDIR, errno.ENXIO):
        return _no_file_itself(path)
    if isinstance(error, OSError) and error.errno == errno.ELOOP:
        return PhotoError("no-file", f"{path} is a link that leads back to itself: name the photo itself")
    reason = getattr(error, "strerror", None) or "no such name is possible"
    return PhotoError("no-file", f"{path} cannot be read ({reason}): check the name and its permissions")


def _open(path: Path, data: bytes) -> Image.Image:
    pillow_heif.register_heif_opener()
    much = excess(data)
    if much is not None:
        raise PhotoError("not-a-picture", f"{path.name} {much}, as no photo does: use the camera's original file")
    try:
        return Image.open(io.BytesIO(data), formats=FORMATS)
    except Image.DecompressionBombError as error:
        megapixels = _pixels_named_in(str(error)) / 1e6
        raise _too_large(path, megapixels) from error
    except _DAMAGE as error:
        if data and _looks_like_a_photo(data):
            raise _truncated(path) from error
        found = "is empty" if not data else f"holds no {NAMED} picture"
        raise PhotoError("not-a-picture", f"{path.name} {found}: choose a photo, or save it as JPEG or PNG") from error


def _pixels_named_in(message: str) -> int:
    """Pillow names the size only in its message: 'Image size (200000000 pixels) exceeds limit of ...'."""
    digits = message.partition("(")[2].partition(" ")[0]
    return int(digits) if digits.isdigit() else 2 * int(Image.MAX_IMAGE_PIXELS or 0)


def _looks_like_a_photo(data: bytes) -> bool:
    boxed = data[4:8] == b"ftyp" and data[8:12] in _BRANDS
    webp = data.startswith(b"RIFF") and data[8:12] == b"WEBP"
    return boxed or webp or data.startswith(_MAGIC)


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


def _plain_jpeg(path: Path, data: bytes, image: Image.Image) -> NDArray[np.uint8] | None:
    """The pixels of an upright RGB JPEG without a colour profile, by OpenCV: the same as by Pillow (one library decodes for both) in three
    quarters of the time and a third of the memory; None for whatever else.

    OpenCV reads a damaged stream, and at most libjpeg writes a line to standard error. So Pillow passes over it first, an eighth of the
    size: all of the stream is read for that too, and what it would refuse in full it refuses then.
    """
    if image.format != "JPEG" or image.mode != "RGB" or image.info.get("icc_profile"):
        return None
    small = Image.open(io.BytesIO(data), formats=["JPEG"])
    small.draft("RGB", (image.width // 8, image.height // 8))
    try:
        small.load()
    except _DAMAGE as error:
        raise _truncated(path) from error
    try:
        decoded = cv2.imdecode(np.frombuffer(data, dtype=np.uint8), cv2.IMREAD_COLOR_RGB | cv2.IMREAD_IGNORE_ORIENTATION)
    except cv2.error:
        return None
    if decoded is None or decoded.shape != (image.height, image.width, 3):
        return None
    return np.ascontiguousarray(decoded, dtype=np.uint8)


def _decode(path: Path, image: Image.Image) -> Image.Image:
    """Decode to 8-bit RGB in sRGB; transparency is laid on white."""
    try:
        image.load()
    except _DAMAGE as error:
        raise _truncated(path) from error
    try:
        return _to_srgb(image, image.info.get("icc_profile"))
    except ValueError as error:  # no way from there to RGB
        raise PhotoError(
            "not-a-picture", f"{path.name} keeps its colours in a way ({image.mode}) that no camera does: save it as JPEG or PNG"
        ) from error


def _to_rgb(image: Image.Image) -> Image.Image:
    if image.mode == "F":
        raise ValueError("numbers without a range are no light")
    if image.mode.startswith("I"):
        deep = np.asarray(image.convert("I"))  # 16 bits a pixel
        return Image.fromarray((np.clip(deep, 0, 65535) >> 8).astype(np.uint8)).convert("RGB")
    if "A" in image.getbands() or "transparency" in image.info:
        layer = image.convert("RGBA")
        paper = Image.new("RGBA", layer.size, "white")
        return Image.alpha_composite(paper, layer).convert("RGB")
    if image.mode == "LAB":
        return _converted(image, ImageCms.ImageCmsProfile(ImageCms.createProfile("LAB")))
    return image if image.mode == "RGB" else image.convert("RGB")  # Pillow would copy one that is so already


def _to_srgb(image: Image.Image, profile: bytes | None) -> Image.Image:
    """Apply an embedded colour profile; without a usable one the picture counts as sRGB, as the web does."""
    if not profile:
        return _to_rgb(image)
    try:
        source = ImageCms.getOpenProfile(io.BytesIO(profile))
        modes = _PROFILED.get(source.profile.xcolor_space.strip(), ())
        if image.mode in modes:
            return _converted(image, source)
        return _converted(_to_rgb(image), source) if modes == _PROFILED["RGB"] else _to_rgb(image)
    except (ImageCms.PyCMSError, OSError, ValueError, TypeError):
        return _to_rgb(image)


def _converted(image: Image.Image, source: ImageCms.ImageCmsProfile) -> Image.Image:
    """Bring a picture to sRGB; left alone where that would move no colour by more than rounding."""
    turn = ImageCms.buildTransform(
        source, ImageCms.createProfile("sRGB"), image.mode, "RGB", renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC
    )
    if image.mode == "RGB":
        moved = np.asarray(ImageCms.applyTransform(Image.fromarray(_PROBE), turn), dtype=int)
        if np.abs(moved - _PROBE).max() <= 1:
            return image
    converted = ImageCms.applyTransform(image, turn)
    return image.convert("RGB") if converted is None else converted


def _upright(image: Image.Image, orientation: int) -> Image.Image:
    turn = _UPRIGHT.get(orientation)
    return image if turn is None else image.transpose(turn)


def _refuse_black(path: Path, rgb: NDArray[np.uint8]) -> None:
    step = max(1, min(rgb.shape[:2]) // 512)
    share = float((greatest(np.ascontiguousarray(rgb[::step, ::step])) <= BLACK_CODE).mean())
    if share >= BLACK_SHARE:
        raise PhotoError(
            "all-black",
            f"{path.name} is black in {100 * share:.1f} % of its pixels, needs a lit one: uncover the lens or add "
            "light and photograph again",
        )
