"""Stage 1 against files that mean harm or came to harm: one sentence each, and never more than a few seconds or bytes."""

from __future__ import annotations

import io
import os
import struct
import time
import zlib
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageCms
from test_photo import CORNERS, error_of, exif_bytes, saved, scene, stored_as

from vision.excess import MOST_CHUNKS, MOST_SCANS, excess
from vision.photo import load_photo


def jpeg(size: tuple[int, int] = (400, 330), **options: object) -> bytes:
    target = io.BytesIO()
    Image.radial_gradient("L").resize(size).save(target, "JPEG", **options)
    return target.getvalue()


def written(path: Path, data: bytes) -> Path:
    path.write_bytes(data)
    return path


# What costs more than it should.


def repeated_scans(times: int, between: bytes = b"") -> bytes:
    """A progressive JPEG that goes over its picture again and again: its last scan, many times."""
    data = jpeg((8000, 7900), progressive=True)
    start, end = data.rfind(b"\xff\xda"), data.rfind(b"\xff\xd9")
    return data[:end] + (between + data[start:end]) * times + data[end:]


@pytest.mark.parametrize("between", [b"", b"\xff\xfe\x00\x02\x00"], ids=["one by one", "a comment and a stray byte between"])
def test_a_jpeg_of_endless_scans_is_refused_before_it_is_decoded(tmp_path: Path, between: bytes) -> None:
    """Decoded, each scan of these few bytes costs a fifth of a second."""
    path = written(tmp_path / "a.jpg", repeated_scans(300, between))
    began = time.process_time()
    error = error_of(path)

    assert time.process_time() - began < 5.0
    assert error.kind == "not-a-picture"
    assert f"more than {MOST_SCANS} times" in error.message


def test_a_png_of_endless_pieces_is_refused_before_it_is_decoded(tmp_path: Path) -> None:
    whole = saved(tmp_path / "a.png", scene()).read_bytes()
    piece = struct.pack(">I4sI", 0, b"abCd", zlib.crc32(b"abCd"))
    began = time.process_time()
    error = error_of(written(tmp_path / "b.png", whole[:33] + piece * 1_000_000 + whole[33:]))

    assert time.process_time() - began < 5.0
    assert f"more than {MOST_CHUNKS} pieces" in error.message


@pytest.mark.parametrize("options", [{}, {"progressive": True}, {"progressive": True, "restart_marker_blocks": 1}])
def test_real_jpegs_are_not_excessive(options: dict[str, object]) -> None:
    noise = np.random.default_rng(4).integers(0, 255, (600, 800, 3), dtype=np.uint8)
    target = io.BytesIO()
    Image.fromarray(noise).save(target, "JPEG", quality=95, comment=b"\xff\xda" * 5000, **options)

    assert excess(target.getvalue()) is None
    assert excess(target.getvalue() + os.urandom(2_000_000)) is None  # as when a film follows the picture


def test_tables_that_point_at_the_same_bytes_cost_nothing(tmp_path: Path) -> None:
    """A TIFF of 1.6 MB whose 5000 entries each claim the same 1.6 MB: 8 GB, if each were read."""
    entries = [(256, 3, 1, 400), (257, 3, 1, 400), (258, 3, 1, 8), (259, 3, 1, 1), (262, 3, 1, 1), (277, 3, 1, 1), (278, 3, 1, 400)]
    claims = [(40000 + k, 5, 200_000, 8) for k in range(5000)]
    pixels_at = 10 + 12 * (len(entries) + 2 + len(claims)) + 4
    table = sorted([*entries, (273, 4, 1, pixels_at), (279, 4, 1, 160_000)]) + claims
    data = b"II*\x00" + struct.pack("<IH", 8, len(table)) + b"".join(struct.pack("<HHII", *one) for one in table) + bytes(4)
    data += b"\xc0" * 160_000
    began = time.process_time()
    photo = load_photo(written(tmp_path / "a.tif", data + bytes(1_600_100 - len(data))))

    assert time.process_time() - began < 5.0
    assert photo.rgb.shape == (400, 400, 3)


def test_text_that_swells_is_refused(tmp_path: Path) -> None:
    """A PNG of a few hundred kB with 400 MB of text."""
    whole = saved(tmp_path / "a.png", scene()).read_bytes()
    body = b"Comment\x00\x00" + zlib.compress(bytes(100_000_000), 9)
    piece = struct.pack(">I4s", len(body), b"zTXt") + body + struct.pack(">I", zlib.crc32(b"zTXt" + body))
    began = time.process_time()
    path = written(tmp_path / "b.png", whole[:33] + 4 * piece + whole[33:])

    assert error_of(path).kind in ("truncated", "not-a-picture")
    assert time.process_time() - began < 5.0


def test_a_file_too_large_to_be_a_photo_is_not_read(tmp_path: Path) -> None:
    path = written(tmp_path / "a.jpg", jpeg())
    os.truncate(path, 50 * 10**9)  # a hole: 50 GB that lie nowhere
    began = time.process_time()
    error = error_of(path)

    assert error.kind == "too-large"
    assert "400 megabytes" in error.message
    assert time.process_time() - began < 1.0


@pytest.mark.parametrize("form", ["PNG", "TIFF", "BMP"])
def test_more_pixels_than_the_cap_are_refused_in_every_form(tmp_path: Path, form: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("PIL.ImageFile.ImageFile.load", lambda _: pytest.fail("decoded a refused picture"))
    Image.new("1", (9300, 7000)).save(tmp_path / "a", form, **({"compression": "tiff_lzw"} if form == "TIFF" else {}))

    assert error_of(tmp_path / "a").kind == "too-large"


def test_34_bytes_of_webp_with_268_megapixels(tmp_path: Path) -> None:
    """What Pillow writes losslessly for a black picture of 16383 × 16383."""
    data = bytes.fromhex("524946461a000000574542505650384c0e0000002ffebfff0f071011fd0f4444ff03")

    assert "268 megapixels" in error_of(written(tmp_path / "a.webp", data)).message


# Names, links and things that are no files.


def test_a_link_that_leads_back_to_itself(tmp_path: Path) -> None:
    (tmp_path / "a.jpg").symlink_to(tmp_path / "b.jpg")
    (tmp_path / "b.jpg").symlink_to(tmp_path / "a.jpg")

    assert "leads back to itself" in error_of(tmp_path / "a.jpg").message


@pytest.mark.parametrize("device", ["/dev/zero", "/dev/null", "/dev/tty", "/proc/self"])
def test_devices_are_no_photos(device: str) -> None:
    assert error_of(Path(device)).kind in ("not-a-picture", "no-file")


def test_a_file_that_may_not_be_read(tmp_path: Path) -> None:
    path = written(tmp_path / "a.jpg", jpeg())
    path.chmod(0)
    if os.access(path, os.R_OK):
        pytest.skip("this user may read everything")

    assert "Permission denied" in error_of(path).message


def test_a_name_that_is_no_text(tmp_path: Path) -> None:
    path = Path(os.fsdecode(os.fsencode(tmp_path) + b"/\xff\xfe.jpg"))
    assert load_photo(written(path, jpeg())).width_px == 400
    assert error_of(written(path, b"")).kind == "not-a-picture"


def test_a_link_to_a_photo_is_the_photo(tmp_path: Path) -> None:
    (tmp_path / "a.jpg").symlink_to(written(tmp_path / "b.jpg", jpeg()))

    assert load_photo(tmp_path / "a.jpg").width_px == 400


# Files that are two things at once.


@pytest.mark.parametrize("tail", [b"PK\x03\x04" + bytes(50), b"<script>alert(1)</script>", b"%PDF-1.7\n", b"#!/bin/sh\n"])
def test_what_follows_a_picture_is_not_looked_at(tmp_path: Path, tail: bytes) -> None:
    assert load_photo(written(tmp_path / "a.jpg", jpeg() + tail)).width_px == 400


@pytest.mark.parametrize("head", [b"%PDF-1.7\n", b"PK\x03\x04", b"<svg xmlns='http://www.w3.org/2000/svg'/>", b"GIF89a", b"MZ"])
def test_a_picture_behind_something_else_is_no_picture(tmp_path: Path, head: bytes) -> None:
    assert error_of(written(tmp_path / "a.jpg", head + jpeg())).kind == "not-a-picture"


def test_the_name_does_not_decide_the_form(tmp_path: Path) -> None:
    assert load_photo(written(tmp_path / "a.png", jpeg())).width_px == 400


@pytest.mark.parametrize("form", ["GIF", "PPM", "TGA", "ICO", "PCX", "JPEG2000"])
def test_other_forms_are_not_even_tried(tmp_path: Path, form: str) -> None:
    Image.new("RGB", (400, 330), "red").save(tmp_path / "a.jpg", form)

    assert error_of(tmp_path / "a.jpg").kind == "not-a-picture"


# Colours.


def test_deep_pictures_become_their_upper_eight_bits(tmp_path: Path) -> None:
    deep = np.full((330, 400), 40_000, np.uint16)
    for ending in ("png", "tif"):
        Image.fromarray(deep).save(tmp_path / f"a.{ending}")
        assert load_photo(tmp_path / f"a.{ending}").rgb[9, 9].tolist() == [40_000 >> 8] * 3


def test_numbers_without_a_range_are_no_photo(tmp_path: Path) -> None:
    Image.fromarray(np.full((330, 400), 0.5, np.float32)).save(tmp_path / "a.tif")

    assert "keeps its colours in a way (F)" in error_of(tmp_path / "a.tif").message


def test_lab_becomes_rgb(tmp_path: Path) -> None:
    """CIE L* 53.4 without a* and b* is the middle grey of sRGB, code 128 (IEC 61966-2-1 and CIE 15, by the formulas)."""
    Image.new("LAB", (400, 330), (136, 128, 128)).save(tmp_path / "a.tif")

    assert np.abs(load_photo(tmp_path / "a.tif").rgb[9, 9].astype(int) - 128).max() <= 2


def test_progressive_cmyk_and_mpo_come_out_alike(tmp_path: Path) -> None:
    for name, form, options in [("p", "JPEG", {"progressive": True}), ("m", "MPO", {"save_all": True})]:
        Image.fromarray(stored_as(scene(), 8)).save(tmp_path / name, form, quality=95, exif=exif_bytes(8), **options)
        assert np.abs(load_photo(tmp_path / name).rgb[50, 50].astype(int) - CORNERS["red"]).max() <= 12


def test_a_wide_gamut_is_brought_to_srgb(tmp_path: Path) -> None:
    """Display P3: its (200, 100, 100) is (213, 96, 97) in sRGB, by the matrices of SMPTE EG 432-1 and IEC 61966-2-1 (from memory)."""
    p3 = np.array([[0.4865709, 0.2656677, 0.1982173], [0.2289746, 0.6917385, 0.0792869], [0.0, 0.0451134, 1.0439444]])
    srgb = np.array([[0.4123908, 0.3575843, 0.1804808], [0.2126390, 0.7151687, 0.0721923], [0.0193308, 0.1191948, 0.9505322]])
    code = np.array([200.0, 100.0, 100.0])
    linear = ((code / 255 + 0.055) / 1.055) ** 2.4
    wanted = 255 * (1.055 * (np.linalg.inv(srgb) @ p3 @ linear) ** (1 / 2.4) - 0.055)
    picture = np.broadcast_to(code.astype(np.uint8), (330, 400, 3))

    for ending in ("png", "tif", "webp", "avif"):
        lossless = {"lossless": True} if ending == "webp" else {"quality": 100} if ending == "avif" else {}
        Image.fromarray(picture).save(tmp_path / f"a.{ending}", icc_profile=_display_p3(), **lossless)
        assert np.abs(load_photo(tmp_path / f"a.{ending}").rgb[9, 9] - wanted).max() <= 2.5, ending


def _display_p3() -> bytes:
    """An sRGB profile with the primaries of Display P3, adapted to D50 (ICC.1, tags rXYZ, gXYZ and bXYZ)."""
    data = bytearray(ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes())
    for tag, xyz in (
        (b"rXYZ", (0.51512, 0.24120, -0.00105)),
        (b"gXYZ", (0.29198, 0.69225, 0.04189)),
        (b"bXYZ", (0.15710, 0.06657, 0.78407)),
    ):
        (offset,) = struct.unpack_from(">I", data, data.find(tag, 128) + 4)
        struct.pack_into(">3i", data, offset + 8, *(round(value * 65536) for value in xyz))
    return bytes(data)


def test_a_profile_of_srgb_changes_no_pixel(tmp_path: Path) -> None:
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()

    assert np.array_equal(load_photo(saved(tmp_path / "a.png", scene(), icc_profile=profile)).rgb, scene())
