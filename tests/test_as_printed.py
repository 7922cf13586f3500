"""What looks as printed is print; metal, a handle, and whatever lies there besides do not."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from vision.as_printed import print_alone

THIN, HANDLE, NONE = np.zeros((60, 200), bool), np.zeros((60, 200), bool), np.zeros((60, 200), bool)
THIN[28:32, 10:120], HANDLE[15:45, 120:190] = True, True
INK = np.zeros((60, 200), bool)
INK[50:58, 120:190] = True
BAND = np.zeros((60, 200), bool)
BAND[52:55, 112:198] = True


def page() -> Any:
    """A white page of 80 x 240 px with a checkered band, seen by a part that begins at (20, 10)."""
    printed = np.ones((80, 240), np.float32)
    printed[36:44, 30:230:20] = 0.0
    printed[36:44, 31:230:20] = 0.0
    printed[58:70, 130:220] = 0.0
    return SimpleNamespace(printed=printed, px_per_mm=8.0, inside=np.ones(printed.shape, bool))


def light(over: np.ndarray | None = None, value: float = 0.5, aside: int = 1, ink: float = 0.08) -> np.ndarray:
    """Light over paper's as the print gives it, a px aside, with something of ``value`` over it."""
    seen = ink + (1.0 - ink) * np.roll(page().printed, aside, axis=1)
    if over is not None:
        seen[10:70, 20:220][over] = value
    return np.repeat(seen[:, :, None], 3, axis=2).astype(np.float32)


def test_print_a_little_aside_is_print() -> None:
    assert print_alone(page(), light(), THIN, INK, (20, 10))
    assert print_alone(page(), light(), THIN, NONE, (20, 10))


def test_print_aside_by_what_a_page_that_is_not_flat_moves_it_is_print() -> None:
    assert print_alone(page(), light(aside=3), THIN, INK, (20, 10))
    assert print_alone(page(), light(aside=-3), THIN, NONE, (20, 10))


def test_a_handle_as_white_as_the_paper_is_not() -> None:
    assert not print_alone(page(), light(), THIN, HANDLE, (20, 10))


@pytest.mark.parametrize(("over", "value"), [(THIN, 0.5), (THIN, 1.6), (INK, 0.6)])
def test_metal_or_a_handle_over_it_is_not(over: np.ndarray, value: float) -> None:
    assert not print_alone(page(), light(over, value), THIN, INK, (20, 10))
    assert print_alone(page(), light(over, value), THIN, NONE, (20, 10)) == (over is INK)


def test_ink_that_shines_under_a_lamp_is_print() -> None:
    assert print_alone(page(), light(ink=0.33), THIN, INK, (20, 10))
    assert print_alone(page(), light(ink=0.33), BAND, NONE, (20, 10))


@pytest.mark.parametrize("value", [0.7, 1.2])
def test_what_lies_on_shining_ink_is_not(value: float) -> None:
    assert not print_alone(page(), light(BAND, value, ink=0.33), BAND, NONE, (20, 10))


def test_what_is_as_light_as_shining_ink_is_no_print_where_the_ink_beside_it_is_dark() -> None:
    assert not print_alone(page(), light(BAND, 0.33), BAND, NONE, (20, 10))
