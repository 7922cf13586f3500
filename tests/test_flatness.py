"""A sheet that is bowed, printed unequally or shown on a screen gives itself away; a good one does not."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image
from test_scale import CENTRE_PX, F35_MM, HEIGHT_PX, NOWHERE, WIDTH_PX, View, photograph, scale_of

from calib.prints import UNCHECKED_U, PrintCheck, save
from vision.errors import PhotoError
from vision.findscale import find_scale
from vision.flatness import stretch, unevenness
from vision.photo import load_photo
from vision.pipeline import read_photo
from vision.scale import GivenScale
from vision.screen import MOST_SHARE, refuse_screen, regularity

NEAR = View(45.0, tilt_deg=4.0, k1=0.0)
SIZE = (WIDTH_PX, HEIGHT_PX)
SAMPLES = sorted((Path(__file__).parents[1] / "samples" / "photos").glob("*.jpg"))


def bowed(photo, height_mm, over):
    """The photo of a sheet that stands ``height_mm`` of ``over`` (x, y from -1 to 1) above the table: nearer, so larger."""
    y, x = np.indices(photo.rgb.shape[:2], dtype=np.float32)
    cx, cy = CENTRE_PX
    nearer = 1.0 - height_mm * over(x / cx - 1.0, y / cy - 1.0) / NEAR.distance_mm
    picture = cv2.remap(
        photo.rgb,
        (cx + (x - cx) * nearer).astype(np.float32),
        (cy + (y - cy) * nearer).astype(np.float32),
        cv2.INTER_CUBIC,
        borderMode=cv2.BORDER_REPLICATE,
    )
    return replace(photo, rgb=picture)


@pytest.mark.parametrize("view", [NEAR, View(36.0, tilt_deg=-9.0, turn_deg=140.0, k1=0.01), View(60.0, tilt_deg=0.5)], ids=str)
@pytest.mark.parametrize("across", [1.0, 1.03])
def test_the_ratio_of_both_scales_comes_back(view, across):
    """Within 3 u of the print that was drawn, whatever the tilt, also when the camera records no focal length."""
    scale = scale_of(replace(view, stretch=(across, 1.0)))

    for f35_mm in (F35_MM, None):
        ratio = stretch(scale, f35_mm, SIZE)
        assert abs(ratio.value - across) < 3.0 * ratio.u
    assert stretch(scale, F35_MM, SIZE).u < 0.01


def test_an_unequal_copy_is_said_and_carried():
    along = scale_of(replace(NEAR, stretch=(1.0, 1.03)))
    across = scale_of(replace(NEAR, stretch=(1.03, 1.0)))
    usual = scale_of(replace(NEAR, stretch=(1.01, 0.995)))

    assert "% longer along the page than across" in along.warnings[0]
    assert "% longer across the page than along" in across.warnings[0]
    assert "which every u carries: measure its check lines" in across.warnings[0]
    assert min(*along.print_u, *across.print_u) > 0.03
    assert usual.warnings == ()
    assert usual.print_u == pytest.approx((UNCHECKED_U, UNCHECKED_U), rel=0.02)


def test_a_check_of_another_print_is_noticed(tmp_path):
    """The check lines of a good print, taken for one that is 1.5 % longer across."""
    check = PrintCheck("A4-1", "desk", 140.0, 140.0, 0.03, np.datetime64("2026-01-01").astype(object), "callipers")
    path = save(check, tmp_path / "prints.json")

    good = find_scale(photograph(NEAR), given=None, prints=path)
    other = find_scale(photograph(replace(NEAR, stretch=(1.015, 1.0))), given=None, prints=path)

    assert good.warnings == ()
    assert max(good.print_u) < 0.001
    assert "longer across" in other.warnings[0]
    assert "this seems another print: measure this one's check lines" in other.warnings[0]
    assert min(other.print_u) > 0.014


@pytest.mark.parametrize(
    "over",
    [lambda u, v: 1.0 - v**2 + 0.0 * u, lambda u, v: np.maximum(u + 0.5 * v, 0.0), lambda u, v: np.sin(4.0 * u) * np.cos(3.0 * v)],
    ids=["rolled", "creased", "wavy"],
)
def test_a_sheet_that_is_not_flat_is_said_and_carried(over):
    """What is carried is no less than the error of the local scale in the picture's middle part."""
    bent = find_scale(bowed(photograph(NEAR), 2.0, over), given=None, prints=NOWHERE)

    assert any("does not lie flat" in warning for warning in bent.warnings)
    assert min(bent.print_u) > UNCHECKED_U
    assert unevenness(bent) > 0.003
    assert unevenness(scale_of(NEAR)) < 0.0005


def test_warnings_reach_the_reading(tmp_path):
    picture = bowed(photograph(NEAR), 2.0, lambda u, v: np.sin(4.0 * u) * np.cos(3.0 * v)).rgb.copy()
    cv2.line(picture, (300, 480), (980, 500), (90, 90, 95), 26)
    Image.fromarray(picture).save(tmp_path / "a.png")
    reading = read_photo(tmp_path / "a.png", given=None, prints=NOWHERE, held=True)

    assert reading.error is not None or any("does not lie flat" in note for note in reading.notes)


def dotted(rgb, pitch_px, strength):
    """Stripes of red, green and blue light, as between the dark bars of a screen."""
    columns = np.arange(rgb.shape[1])[None, :, None] + 0.4 * np.arange(rgb.shape[0])[:, None, None]
    stripes = 1.0 + strength * np.cos(2.0 * np.pi * (columns / pitch_px - np.arange(3) / 3.0))
    return np.clip(0.8 * rgb * stripes, 0, 255).astype(np.uint8)


@pytest.mark.parametrize(("pitch_px", "strength"), [(11.0, 0.2), (4.3, 0.2), (2.3, 0.2), (7.0, 0.05), (6.3, 0.012)])
def test_a_sheet_on_a_screen_is_refused(pitch_px, strength):
    photo = photograph(NEAR)
    shown = replace(photo, rgb=dotted(photo.rgb, pitch_px, strength))

    with pytest.raises(PhotoError, match="dots of a screen") as caught:
        refuse_screen(shown, scale_of(NEAR))
    assert caught.value.kind == "screen"
    refuse_screen(shown, find_scale(shown, given=GivenScale(45.0, 0.4), prints=None))  # no sheet, nothing to say


@pytest.mark.parametrize("path", SAMPLES[::3], ids=lambda path: path.stem)
def test_paper_is_no_screen(path):
    """Half of the limit at most, also after coarse coding, sharpening and noise."""
    rgb = load_photo(path).rgb[500:1700, 500:2500]
    _, data = cv2.imencode(".jpg", rgb[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 25])
    soft = cv2.GaussianBlur(rgb, (0, 0), 2.0).astype(float)
    noise = np.random.default_rng(3).normal(0.0, 30.0, rgb.shape)

    assert regularity(rgb) < 0.5 * MOST_SHARE
    assert regularity(cv2.imdecode(data, cv2.IMREAD_COLOR)[..., ::-1]) < MOST_SHARE
    assert regularity(np.clip(rgb + 2.0 * (rgb - soft), 0, 255).astype(np.uint8)) < MOST_SHARE
    assert regularity(np.clip(rgb + noise, 0, 255).astype(np.uint8)) < MOST_SHARE
