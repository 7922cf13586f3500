"""What lies beside a shaft is its shadow where it is dull and soft, and metal where it glints or has sharp edges."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import cv2
import numpy as np
import pytest

from vision.find import Candidate
from vision.pipeline import _left_out
from vision.shadow import like_a_shadow


def piece(dark: float, blur_px: float, glint: float = 0.0, print_: float = 1.0) -> tuple[np.ndarray, Any, Candidate]:
    """A line of 12 px, as dark over paper as said, with soft edges, perhaps with a glint every 20 px."""
    light = np.ones((80, 400), np.float32)
    light[34:46, 40:360] = dark
    light[38:42, 40:360:20] += glint
    light = cv2.GaussianBlur(light, (0, 0), blur_px)
    thin = np.zeros((80, 400), bool)
    thin[34:46, 40:360] = True
    none = np.zeros_like(thin)
    plane = SimpleNamespace(printed=np.full((100, 440), print_, np.float32))
    relative = np.ones((100, 440, 3), np.float32)
    relative[10:90, 20:420] = light[..., None]
    return relative, plane, Candidate(thin, thin, none, none, (20, 10), False)


@pytest.mark.parametrize(
    ("made", "shadow"),
    [(piece(0.5, 2.5), True), (piece(0.8, 1.0), True), (piece(0.5, 0.6), False), (piece(0.6, 1.2, glint=6.0), False),
     (piece(0.5, 0.6, print_=0.0), True)],
    ids=["soft and dark", "pale", "sharp edges", "glints", "all over print, where nothing can be told"],
)  # fmt: skip
def test_light_tells_a_shadow_from_metal(made: tuple[np.ndarray, Any, Candidate], shadow: bool) -> None:
    assert like_a_shadow(*made) == shadow


def test_what_is_left_out_is_said() -> None:
    assert _left_out(0) == ()
    assert _left_out(2)[0].startswith("not counted: 2 lines beside an instrument, without a handle")
