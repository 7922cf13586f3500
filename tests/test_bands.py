"""Pictures taken piece by piece give what the whole picture gives, to the last bit; and a strip across a photo's corners as well."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import cv2
import numpy as np
import pytest

from vision import strip
from vision.bands import BAND_PX, TILE_PX, Piece, bands, tiles
from vision.channels import farthest
from vision.exif import CameraInfo
from vision.foreground import _bridged
from vision.offsheet import RIM_MM, rim
from vision.photo import LINEAR, Photo, linear_grey
from vision.screen import _block_means

SHAPE = (2 * TILE_PX + 37, 3 * TILE_PX + 11)
CHANCE = np.random.default_rng(5)


def blobs(share: float) -> Any:
    """A mask of irregular patches."""
    noise = cv2.GaussianBlur(CHANCE.standard_normal(SHAPE).astype(np.float32), (0, 0), 12)
    return noise > np.quantile(noise, 1.0 - share)


@pytest.mark.parametrize("pieces", [list(bands(SHAPE, 9)), list(tiles(SHAPE, 9))], ids=["bands", "tiles"])
def test_pieces_cover_everything_once(pieces: list[Piece]) -> None:
    count = np.zeros(SHAPE, dtype=int)
    where = np.arange(SHAPE[0] * SHAPE[1]).reshape(SHAPE)
    for piece in pieces:
        count[piece.place] += 1
        assert np.array_equal(where[piece.outer][piece.inner], where[piece.place])
    assert (count == 1).all()
    assert len(pieces) > SHAPE[0] // max(BAND_PX, TILE_PX)


def test_bands_within_a_view_cover_all_of_it() -> None:
    view = blobs(0.2)
    view[:BAND_PX] = False
    covered = np.zeros(SHAPE, dtype=bool)
    for piece in bands(SHAPE, 0, view):
        covered[piece.place] = True
    assert covered[view].all()
    assert not covered[:BAND_PX].any()
    assert not covered[:, ~view.any(axis=0)].all()


def test_smoothing_by_bands_is_smoothing() -> None:
    picture = CHANCE.random((*SHAPE, 3), dtype=np.float32)
    result = np.empty_like(picture)
    for band in bands(SHAPE, 8):
        result[band.place] = cv2.GaussianBlur(np.ascontiguousarray(picture[band.outer]), (0, 0), 1.0)[band.inner]
    assert np.array_equal(result, cv2.GaussianBlur(picture, (0, 0), 1.0))


def test_the_rim_and_the_bridges_over_it_are_those_of_the_whole_picture() -> None:
    plane: Any = SimpleNamespace(px_per_mm=24.0, inside=np.ones(SHAPE, dtype=bool))
    table, seen = blobs(0.4), blobs(0.2)
    near = RIM_MM * plane.px_per_mm
    away = [cv2.distanceTransform(one.astype(np.uint8), cv2.DIST_L2, 5) for one in (~table, table)]
    border = (away[0] <= near) & (away[1] <= near)
    assert np.array_equal(rim(plane, table), border)

    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (39, 39))  # 0.8 mm on either side
    clear = seen & ~border
    joined = cv2.morphologyEx(clear.astype(np.uint8), cv2.MORPH_CLOSE, kernel).astype(bool)
    assert np.array_equal(_bridged(seen, border, plane), clear | (joined & border))
    assert (joined & border & ~clear).any()


def test_colours_grey_and_means_are_those_of_plain_arithmetic() -> None:
    rgb = CHANCE.integers(0, 256, (256, 400, 3), dtype=np.uint8)
    weights = [np.asarray(weight * LINEAR, dtype=np.float32) for weight in (0.2126, 0.7152, 0.0722)]
    grey = weights[0][rgb[..., 0]] + weights[1][rgb[..., 1]] + weights[2][rgb[..., 2]]
    assert np.array_equal(linear_grey(Photo(Path("a"), rgb, CameraInfo()), 10, 20, 390, 250), grey[20:250, 10:390])

    floats, colour = rgb.astype(np.float32) / np.float32(255.0), np.array([0.2, 0.5, 0.7], dtype=np.float32)
    assert np.array_equal(farthest(floats, colour), np.abs(floats - colour).max(axis=2))

    green = rgb[:128, :384, 1].reshape(8, 16, 3, 8, 16).mean(axis=(1, 4)).transpose(1, 0, 2).reshape(3, 64)
    assert np.array_equal(_block_means(rgb[:128, :384]), green)


def test_a_strip_across_the_corners_is_read_in_parts_alike(monkeypatch: pytest.MonkeyPatch) -> None:
    """Against the same strip from one crop; positions are rounded otherwise by some 1e-4 px, which OpenCV makes 1/32 px at times."""
    smooth = cv2.GaussianBlur(CHANCE.integers(0, 256, (900, 1300, 3), dtype=np.uint8), (0, 0), 3.0)
    photo = Photo(Path("a"), np.asarray(smooth, dtype=np.uint8), CameraInfo())
    along = np.linspace(0.0, 1.0, 1400)[:, None]
    axis = (1.0 - along) * [60.0, 50.0] + along * [1230.0, 840.0]
    whole = [strip.straighten(photo, axis, 40).values, strip.straighten_rgb(photo, axis, 40).values]
    monkeypatch.setattr(strip, "MOST_PX", 500_000)
    assert strip.light_nearby(photo, axis, 40.0).rgb is None
    parts = [strip.straighten(photo, axis, 40).values, strip.straighten_rgb(photo, axis, 40).values]
    for once, by_parts in zip(whole, parts, strict=True):
        assert once.shape == by_parts.shape
        assert np.abs(once - by_parts).max() < 0.1 * once.std()
        assert np.abs(once - by_parts).mean() < 2e-4
