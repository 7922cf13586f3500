"""Noise and blocks of a picture against what was put into it: a Gaussian's standard deviation, and the steps of ITU-T T.81."""

from pathlib import Path

import cv2
import numpy as np
import pytest

from vision.errors import PhotoError
from vision.exif import CameraInfo
from vision.grain import block_step, noise_share, refuse_grain
from vision.photo import Photo

LEVEL = 180.0


def paper(noise: float = 0.0, slope: float = 8.0) -> np.ndarray:
    """Even paper that grows a little brighter from left to right, with noise in every channel alike."""
    ramp = np.broadcast_to(np.linspace(-slope, slope, 640), (512, 640))
    grey = LEVEL + ramp + np.random.default_rng(5).normal(0.0, noise, ramp.shape)
    return np.repeat(np.clip(np.rint(grey), 0, 255).astype(np.uint8)[..., None], 3, axis=2)


def coded(rgb: np.ndarray, quality: int) -> np.ndarray:
    _, data = cv2.imencode(".jpg", rgb, [cv2.IMWRITE_JPEG_QUALITY, quality])
    return cv2.imdecode(data, cv2.IMREAD_COLOR)


def photo(rgb: np.ndarray) -> Photo:
    return Photo(Path("p.jpg"), rgb, CameraInfo())


@pytest.mark.parametrize("noise", [4.0, 12.0])
def test_the_noise_is_that_which_was_added(noise: float) -> None:
    assert noise_share(paper(noise)) == pytest.approx(noise / LEVEL, rel=0.06)


@pytest.mark.parametrize("quality", [6, 10, 20])
def test_blocks_step_by_the_coder_s_own_unit(quality: int) -> None:
    """A block's level is coded in units of the first table entry over 8: 16 at quality 50, more by 5000 / quality % below it
    (ITU-T T.81, annex K, table K.1; the scaling is common practice of its free coder, from memory)."""
    unit = np.floor((16 * np.floor(5000 / quality) + 50) / 100) / 8.0

    assert block_step(coded(paper(1.0, slope=40.0), quality)) == pytest.approx(unit, abs=1.0)
    assert block_step(np.rot90(coded(paper(1.0, slope=40.0), quality))[3:, 5:]) == pytest.approx(unit, abs=1.0)


def test_ordinary_paper_passes_in_any_usual_coding() -> None:
    for quality in (60, 75, 90):
        refuse_grain(photo(coded(paper(2.0), quality)))
    refuse_grain(photo(paper(8.0)))


def test_noise_and_blocks_are_told_apart_with_both_numbers() -> None:
    with pytest.raises(PhotoError, match=r"grainy by 1[0-9] %.*at most 10 %") as noisy:
        refuse_grain(photo(paper(26.0)))
    with pytest.raises(PhotoError, match=r"stand out by 1[5-7] of 255.*at most 8") as blocks:
        refuse_grain(photo(coded(paper(1.0, slope=40.0), 6)))

    assert (noisy.value.kind, blocks.value.kind) == ("grainy", "blocky")


def test_too_little_paper_says_nothing() -> None:
    assert noise_share(paper()[:100, :100]) == 0.0
