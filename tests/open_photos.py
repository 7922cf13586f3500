"""Looks whether photographs from open collections come out as their list states: ``python -m tests.open_photos FOLDER``.

The photographs are no part of the project. FOLDER holds ``orientation``, ``heic``, ``odd`` and ``foreign_sheet``, of the test
collections of exif-orientation-examples, pillow_heif, Pillow and camera-as-scanner-data; each is free to use. One line a
file; status 1 when one comes out otherwise. What the suite checks instead are pictures of the same forms that it makes itself.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
from PIL import Image

import vision.photo
from vision.errors import PhotoError
from vision.photo import load_photo
from vision.pipeline import read_photo

Check = tuple[str, bool, str]  # what, whether it came out so, what was found
# Kinds of error that are right; '' where the file must be decoded.
HEIC = {
    "arrow.heic": "", "cat.hif": "", "RGB_10__128x128.heif": "too-small", "corrupted.heic": "truncated", "empty.heic": "not-a-picture",
    "truncated.heic": "too-small truncated",
}  # fmt: skip
ODD = {
    "16bit.cropped.tif": "too-small", "exif-72dpi-int.jpg": "", "exif.avif": "", "flower.webp": "", "frozenpond.mpo": "",
    "icc_profile_big.jpg": "too-small", "invalid-exif.jpg": "too-small", "junk_jpeg_header.jpg": "", "pil_sample_cmyk.jpg": "too-small",
    "tiff_strip_cmyk_jpeg.tif": "too-small", "truncated_app14.jpg": "too-small", "truncated_image.png": "truncated",
    "truncated_jpeg.jpg": "too-small truncated", "xmp_tags_orientation.png": "too-small",
}  # fmt: skip
CMYK = ("pil_sample_cmyk.jpg", "tiff_strip_cmyk_jpeg.tif", "truncated_app14.jpg")


def checks(folder: Path) -> Iterator[Check]:
    """Go through all that is stated."""
    yield from _alike(folder / "orientation", "Landscape", (1200, 1800))
    yield from _alike(folder / "orientation", "Portrait", (1800, 1200))
    for name, wanted in HEIC.items():
        yield _as_stated(folder / "heic" / name, wanted)
    yield _arrow(folder / "heic" / "arrow.heic")
    for name, wanted in ODD.items():
        yield _as_stated(folder / "odd" / name, wanted)
    for name in CMYK:
        yield _small(lambda name=name: _red_on_black(folder / "odd" / name))  # type: ignore[misc]
    yield _small(lambda: _gradient(folder / "heic" / "RGB_10__128x128.heif"))
    for path in sorted((folder / "foreign_sheet").iterdir()):
        error = read_photo(path, given=None, prints=Path("no-print-checks.json"), held=False).error
        yield f"{path.name} is refused as somebody else's sheet", error is not None and error[0] == "foreign-sheet", str(error)


def _alike(folder: Path, name: str, shape: tuple[int, int]) -> Iterator[Check]:
    """All upright and of that shape, and alike; each bears a number of its own, so not quite."""
    pictures = {path.name: load_photo(path).rgb for path in sorted(folder.glob(f"{name}_*.jpg"))}
    small = [np.asarray(Image.fromarray(rgb).resize((90, 90)), dtype=float).ravel() for rgb in pictures.values()]
    for (file, rgb), one in zip(pictures.items(), small, strict=True):
        like = float(np.corrcoef(one, small[0])[0, 1])
        yield f"{file} is upright", rgb.shape[:2] == shape and like > 0.95, f"{rgb.shape}, {like:.3f} alike"


def _as_stated(path: Path, wanted: str) -> Check:
    found = _error(path)
    return f"{path.name}: {wanted or 'decoded'}", found in wanted.split() if wanted else found == "", found or "decoded"


def _error(path: Path) -> str:
    try:
        load_photo(path)
    except PhotoError as error:
        return error.kind
    return ""


def _arrow(path: Path) -> Check:
    """The dark strokes of its head, in the upper half, reach further to both sides than those of its shaft."""
    rgb = load_photo(path).rgb
    dark = rgb[::12, ::12].max(axis=2) < 90
    upper, lower = (float(np.ptp(np.nonzero(half)[1])) for half in (dark[: len(dark) // 2], dark[len(dark) // 2 :]))
    return "the arrow points up", rgb.shape == (4032, 3024, 3) and upper > 1.5 * lower, f"{rgb.shape}, {upper} over {lower}"


def _red_on_black(path: Path) -> Check:
    rgb = load_photo(path).rgb.reshape(-1, 3)
    bright = rgb[rgb.max(axis=1) > 150].mean(axis=0)
    return f"{path.name} is red on black", bool(bright[0] > 180 and bright[1:].max() < 90), str(bright.round())


def _gradient(path: Path) -> Check:
    """Ten bits a channel: smooth, so that neighbours differ by little."""
    rgb = load_photo(path).rgb.astype(int)
    step = float(np.percentile(np.abs(np.diff(rgb, axis=1)), 90))
    return f"{path.name} is a smooth gradient", int(np.ptp(rgb)) > 200 and step <= 8, f"range {np.ptp(rgb)}, steps {step}"


def _small(check: Callable[[], Check]) -> Check:
    """Look at a picture that is too small to be measured."""
    usual = vision.photo.MIN_SIDE_PX
    vision.photo.MIN_SIDE_PX = 8
    try:
        return check()
    finally:
        vision.photo.MIN_SIDE_PX = usual


def main() -> int:
    """Print a line a check; return 1 if one failed."""
    parser = argparse.ArgumentParser(prog="python -m tests.open_photos", description=__doc__)
    parser.add_argument("folder", type=Path)
    passed = []
    for what, fine, found in checks(parser.parse_args().folder):
        print(f"{'ok  ' if fine else 'MISS'} {what} ({found})")
        passed.append(fine)
    print(f"{sum(passed)} of {len(passed)} as stated")
    return 0 if all(passed) else 1


if __name__ == "__main__":
    sys.exit(main())
