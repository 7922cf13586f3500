"""Stage 1: every way a phone stores a picture comes out upright in sRGB; every bad file gives one plain sentence."""

from __future__ import annotations

import io
import os
from pathlib import Path

import numpy as np
import pillow_heif
import pytest
from PIL import Image, ImageCms
from skimage.color import rgb2lab, rgb2xyz

from vision.errors import PhotoError
from vision.exif import CameraInfo
from vision.photo import LINEAR, MAX_MEGAPIXELS, Photo, linear_grey, load_photo

WIDTH, HEIGHT = 480, 360
KINDS = {".jpg": "JPEG", ".png": "PNG", ".heic": "HEIF", ".avif": "AVIF", ".tif": "TIFF", ".webp": "WEBP", ".bmp": "BMP"}
LOSSLESS = ("PNG", "TIFF", "BMP")
CORNERS = {"red": (255, 0, 0), "green": (0, 160, 0), "blue": (0, 0, 255), "white": (255, 255, 255)}
# CIPA DC-008 (EXIF 2.3), tag 0x0112: where the stored row 0 and the stored column 0 lie in the upright picture.
STORED_AT = {
    1: ("top", "left"),
    2: ("top", "right"),
    3: ("bottom", "right"),
    4: ("bottom", "left"),
    5: ("left", "top"),
    6: ("right", "top"),
    7: ("right", "bottom"),
    8: ("left", "bottom"),
}


def scene() -> np.ndarray:
    """An upright scene whose four corners differ: red, green / blue, white, read like text."""
    picture = np.full((HEIGHT, WIDTH, 3), 128, np.uint8)
    picture[:100, :100], picture[:100, -100:] = CORNERS["red"], CORNERS["green"]
    picture[-100:, :100], picture[-100:, -100:] = CORNERS["blue"], CORNERS["white"]
    return picture


def stored_as(upright: np.ndarray, orientation: int) -> np.ndarray:
    """The pixels as a file of that orientation stores them, from the standard's own wording by indexing alone."""
    row0, column0 = STORED_AT[orientation]
    picture = upright.transpose(1, 0, 2) if row0 in ("left", "right") else upright
    if row0 in ("bottom", "right"):
        picture = picture[::-1]
    if column0 in ("bottom", "right"):
        picture = picture[:, ::-1]
    return np.ascontiguousarray(picture)


def exif_bytes(orientation: int = 1, **more: object) -> bytes:
    exif = Image.Exif()
    exif[0x0112] = orientation
    exif[0x010F], exif[0x0110] = "Invented", "Model 1\x00"
    exif.get_ifd(0x8769).update({0xA405: 26, 0x920A: 6.8, 0xA002: WIDTH, 0xA003: HEIGHT, **more.get("sub", {})})  # type: ignore[dict-item]
    return exif.tobytes()


def saved(path: Path, picture: np.ndarray, **options: object) -> Path:
    pillow_heif.register_heif_opener()
    kind = KINDS[path.suffix]
    if kind == "BMP":
        options = {}
    Image.fromarray(picture).save(path, kind, **({"quality": 95} if kind not in LOSSLESS else {}), **options)
    return path


def error_of(path: Path) -> PhotoError:
    with pytest.raises(PhotoError) as caught:
        load_photo(path)
    message = caught.value.message
    assert "\n" not in message
    assert message.count(". ") == 0, "one sentence"
    assert ":" in message, "it names the next step after a colon"
    return caught.value


@pytest.mark.parametrize(("suffix", "orientation"), [(s, n) for s in KINDS for n in range(1, 9 if s != ".bmp" else 2)])
def test_every_orientation_comes_out_upright_exactly_once(tmp_path: Path, suffix: str, orientation: int) -> None:
    path = saved(tmp_path / f"a{suffix}", stored_as(scene(), orientation), exif=exif_bytes(orientation))

    photo = load_photo(path)

    assert (photo.width_px, photo.height_px) == (WIDTH, HEIGHT)
    difference = np.abs(photo.rgb.astype(int) - scene())
    assert np.percentile(difference, 95) <= 12  # JPEG and HEVC ring at the patches' borders
    for y, x in [(50, 50), (50, -50), (-50, 50), (-50, -50)]:
        assert np.abs(photo.rgb[y, x].astype(int) - scene()[y, x]).max() <= 12


def test_stored_forms_agree_with_pillows_own_reading_of_the_tag() -> None:
    for orientation in range(1, 9):
        file = io.BytesIO()
        Image.fromarray(stored_as(scene(), orientation)).save(file, "PNG", exif=exif_bytes(orientation))
        from PIL import ImageOps  # noqa: PLC0415 - the outside judge of this one test

        upright = ImageOps.exif_transpose(Image.open(file))

        assert np.array_equal(np.asarray(upright), scene())


def test_heic_pixels_are_turned_by_the_file_itself(tmp_path: Path) -> None:
    """The HEIC of the orientation test really carries a rotation box, so turning by EXIF as well would show."""
    path = saved(tmp_path / "a.heic", stored_as(scene(), 6), exif=exif_bytes(6))

    assert b"irot" in path.read_bytes()


def test_camera_record(tmp_path: Path) -> None:
    camera = load_photo(saved(tmp_path / "a.jpg", scene(), exif=exif_bytes())).camera

    assert camera == CameraInfo("Invented", "Model 1", 26.0, pytest.approx(6.8), None, (WIDTH, HEIGHT))


def test_zero_focal_length_means_unknown(tmp_path: Path) -> None:
    path = saved(tmp_path / "a.jpg", scene(), exif=exif_bytes(sub={0xA405: 0, 0xA404: 0}))

    assert load_photo(path).camera.f35_mm is None
    assert load_photo(path).camera.digital_zoom is None


def test_damaged_exif_does_not_stop_a_photo(tmp_path: Path) -> None:
    broken = bytearray(exif_bytes(6))
    broken[10:] = b"\xff" * (len(broken) - 10)
    photo = load_photo(saved(tmp_path / "a.jpg", scene(), exif=bytes(broken)))

    assert photo.camera == CameraInfo()
    assert photo.rgb.shape == (HEIGHT, WIDTH, 3)


def test_no_record_at_all(tmp_path: Path) -> None:
    assert load_photo(saved(tmp_path / "a.png", scene())).camera == CameraInfo()


@pytest.mark.parametrize(
    ("mode", "value", "expected"),
    [
        ("L", 200, 200),
        ("1", 1, 255),
        ("RGBA", (10, 10, 10, 0), 255),
        ("LA", (90, 255), 90),
        ("I;16", 200 * 257, 200),
        ("P", 3, None),
    ],
)
def test_other_pixel_forms_become_rgb(tmp_path: Path, mode: str, value: object, expected: int | None) -> None:
    image = Image.new(mode, (400, 330), value)  # type: ignore[arg-type]
    if mode == "P":
        image.putpalette([v for i in range(256) for v in (i, 2 * i % 256, 99)])
    image.save(tmp_path / "a.png")

    pixel = load_photo(tmp_path / "a.png").rgb[100, 100].tolist()

    assert pixel == ([expected] * 3 if expected is not None else [3, 6, 99])


def test_cmyk_jpeg_becomes_rgb(tmp_path: Path) -> None:
    Image.new("CMYK", (400, 330), (0, 255, 255, 0)).save(tmp_path / "a.jpg", quality=95)

    red, green, blue = load_photo(tmp_path / "a.jpg").rgb[100, 100].tolist()

    assert red > 180
    assert max(green, blue) < 90


def test_embedded_profile_is_brought_to_srgb(tmp_path: Path) -> None:
    """A profile that calls red green and green red must swap the two; scikit-image's a* judges the colour's side."""
    colour = np.array([[[180, 60, 40]]], np.uint8)
    picture = np.broadcast_to(colour, (330, 400, 3))
    swap = _profile_with_swapped_primaries()

    plain = load_photo(saved(tmp_path / "plain.png", np.ascontiguousarray(picture))).rgb[5, 5]
    moved = load_photo(saved(tmp_path / "moved.png", np.ascontiguousarray(picture), icc_profile=swap)).rgb[5, 5]

    assert plain.tolist() == [180, 60, 40]
    assert np.abs(moved.astype(int) - [60, 180, 40]).max() <= 2
    assert rgb2lab(moved[None, None] / 255.0)[0, 0, 1] < 0 < rgb2lab(colour / 255.0)[0, 0, 1]  # red became green


def _profile_with_swapped_primaries() -> bytes:
    """An sRGB profile whose red and green primaries change places (ICC.1: tags rXYZ and gXYZ), under another name."""
    data = bytearray(ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes())
    red, green = data.find(b"rXYZ", 128), data.find(b"gXYZ", 128)
    data[red : red + 4], data[green : green + 4] = b"gXYZ", b"rXYZ"
    name = data.find("sRGB".encode("utf-16-be"), 128)
    while name >= 0:
        data[name : name + 8] = "test".encode("utf-16-be")
        name = data.find("sRGB".encode("utf-16-be"), 128)
    return bytes(data)


def test_broken_profile_counts_as_srgb(tmp_path: Path) -> None:
    photo = load_photo(saved(tmp_path / "a.png", scene(), icc_profile=b"no profile at all"))

    assert np.array_equal(photo.rgb, scene())


def test_jpeg_with_a_second_picture_is_read(tmp_path: Path) -> None:
    first, second = Image.fromarray(scene()), Image.new("RGB", (WIDTH, HEIGHT), "gray")
    first.save(tmp_path / "a.jpg", "MPO", save_all=True, append_images=[second], quality=95)

    assert np.abs(load_photo(tmp_path / "a.jpg").rgb[50, 50].astype(int) - CORNERS["red"]).max() <= 12


def test_no_file(tmp_path: Path) -> None:
    assert error_of(tmp_path / "gone.jpg").kind == "no-file"
    assert error_of(tmp_path / ("x" * 5000)).kind == "no-file"
    assert error_of(Path("a\x00b.jpg")).kind == "no-file"


def test_folder_and_device_are_not_pictures(tmp_path: Path) -> None:
    assert error_of(tmp_path).kind == "not-a-picture"
    os.mkfifo(tmp_path / "pipe.jpg")
    assert error_of(tmp_path / "pipe.jpg").kind == "not-a-picture"


@pytest.mark.parametrize("content", [b"", b"GIF89a", b"%PDF-1.7 and so on", b"\x00" * 5000, "häßlich".encode()])
def test_not_a_picture(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "a.jpg").write_bytes(content)

    assert error_of(tmp_path / "a.jpg").kind == "not-a-picture"


@pytest.mark.parametrize("suffix", [".jpg", ".png", ".heic", ".avif", ".tif", ".webp", ".bmp"])
@pytest.mark.parametrize("kept", [0.03, 0.5, 0.9])
def test_truncated(tmp_path: Path, suffix: str, kept: float) -> None:
    noise = np.random.default_rng(1).integers(0, 255, (HEIGHT, WIDTH, 3), dtype=np.uint8)
    whole = saved(tmp_path / f"a{suffix}", noise).read_bytes()
    (tmp_path / f"b{suffix}").write_bytes(whole[: int(len(whole) * kept)])

    assert error_of(tmp_path / f"b{suffix}").kind == "truncated"


@pytest.mark.parametrize("progressive", [False, True])
def test_what_is_spoilt_inside_is_refused_when_pillow_refuses_it_and_read_as_pillow_reads_it(tmp_path: Path, progressive: bool) -> None:
    """Zeros or noise over some of the data, and cut ends: two decoders share the work, and the outcome is that of Pillow alone."""
    stream, rng = io.BytesIO(), np.random.default_rng(5)
    noisy = np.clip(scene() + rng.normal(0.0, 12.0, (HEIGHT, WIDTH, 3)), 0, 255).astype(np.uint8)
    Image.fromarray(noisy).save(stream, "JPEG", quality=90, progressive=progressive)
    whole, refused = stream.getvalue(), 0
    for k in range(36):
        data = bytearray(whole)
        at = int(rng.integers(700, len(data) - 300))
        data[at : at + 200] = [bytes(200), rng.bytes(200), data[at : at + 200]][k % 3]
        spoilt = tmp_path / "spoilt.jpg"
        spoilt.write_bytes(bytes(data[:at] if k % 3 == 2 and k % 2 else data))
        try:
            with Image.open(spoilt) as image:
                expected = np.asarray(image.convert("RGB"))
        except OSError:
            refused += 1
            assert error_of(spoilt).kind == "truncated"
        else:
            assert np.array_equal(load_photo(spoilt).rgb, expected)

    assert 6 <= refused <= 30


def test_header_alone_is_truncated(tmp_path: Path) -> None:
    (tmp_path / "b.jpg").write_bytes(b"\xff\xd8\xff\xe0\x00\x10")

    assert error_of(tmp_path / "b.jpg").kind == "truncated"


@pytest.mark.parametrize("size", [(1, 1), (319, 1000), (1000, 319)])
def test_too_small_says_both_sizes(tmp_path: Path, size: tuple[int, int]) -> None:
    Image.new("RGB", size, "white").save(tmp_path / "a.png")

    error = error_of(tmp_path / "a.png")

    assert error.kind == "too-small"
    assert f"{size[0]} × {size[1]} px" in error.message
    assert "320 px" in error.message


@pytest.mark.parametrize(("size", "named"), [((20000, 10000), "200"), ((10000, 9000), "90"), ((9300, 7000), "65")])
def test_too_large_is_refused_before_decoding(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, size: tuple[int, int], named: str
) -> None:
    Image.new("1", size, 1).save(tmp_path / "a.png")
    monkeypatch.setattr("PIL.PngImagePlugin.PngImageFile.load", lambda _: pytest.fail("decoded a refused picture"))

    error = error_of(tmp_path / "a.png")

    assert error.kind == "too-large"
    assert f"{named} megapixels" in error.message
    assert str(MAX_MEGAPIXELS) in error.message


def test_64_megapixels_are_read_fully(tmp_path: Path) -> None:
    Image.new("L", (9248, 6936), 200).save(tmp_path / "a.jpg", exif=exif_bytes(6))

    assert load_photo(tmp_path / "a.jpg").rgb.shape == (9248, 6936, 3)


@pytest.mark.parametrize(("level", "refused"), [(0, True), (9, True), (40, False)])
def test_all_black(tmp_path: Path, level: int, refused: bool) -> None:
    dark = np.random.default_rng(2).normal(level, 2, (HEIGHT, WIDTH, 3)).clip(0, 255).astype(np.uint8)
    dark[:4, :4] = 255  # a hot pixel or two do not light a picture
    path = saved(tmp_path / "a.png", dark)

    if refused:
        assert error_of(path).kind == "all-black"
    else:
        assert load_photo(path).rgb.max() == 255


def test_a_dark_picture_with_a_lit_strip_is_not_black(tmp_path: Path) -> None:
    dark = np.zeros((HEIGHT, WIDTH, 3), np.uint8)
    dark[:, 100:110] = 220

    assert load_photo(saved(tmp_path / "a.png", dark)).height_px == HEIGHT


def test_linear_grey_agrees_with_scikit_image() -> None:
    """Y of CIE XYZ by scikit-image, an implementation of its own.

    It carries the luminance weights with six decimals (0.212671, 0.715160, 0.072169), the standard with four.
    """
    rgb = np.random.default_rng(3).integers(0, 256, (37, 53, 3), dtype=np.uint8)
    photo = Photo(Path("a"), rgb, CameraInfo())

    grey = linear_grey(photo, 5, 3, 50, 30)

    assert grey.dtype == np.float32
    assert grey.shape == (27, 45)
    assert np.abs(grey - rgb2xyz(rgb[3:30, 5:50])[..., 1]).max() < 8e-5


def test_linear_light_of_known_codes() -> None:
    """IEC 61966-2-1: 0 and 255 are black and white; code 188 is close to half the light (0.5028, by the formula)."""
    assert LINEAR[[0, 255]].tolist() == [0.0, 1.0]
    assert LINEAR[188] == pytest.approx(((188 / 255 + 0.055) / 1.055) ** 2.4)
    assert LINEAR[188] == pytest.approx(0.5, abs=0.005)
    assert (np.diff(LINEAR) > 0).all()


@pytest.mark.parametrize("crop", [(-1, 0, 5, 5), (0, 0, 54, 5), (5, 5, 5, 9), (0, 0, 5, 38)])
def test_linear_grey_refuses_a_crop_outside(crop: tuple[int, int, int, int]) -> None:
    photo = Photo(Path("a"), np.zeros((37, 53, 3), np.uint8), CameraInfo())

    with pytest.raises(ValueError, match=r"0\.\.53 x 0\.\.37"):
        linear_grey(photo, *crop)
