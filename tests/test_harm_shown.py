"""How much of a harm a photo shows: pictures that differ where the harm is, and scenes from which it is taken."""

from __future__ import annotations

import numpy as np
import pytest

from samples.scene import Scene
from tests.study.damage_cases import DIRTY, Case, scene_of
from tests.study.harm_shown import shown_px


def picture(grey: int, patch: int, size: int) -> np.ndarray:
    """A grey picture with a square of another grey."""
    made = np.full((120, 120, 3), grey, np.uint8)
    made[50 : 50 + size, 50 : 50 + size] = patch
    return made


@pytest.mark.parametrize(("patch", "size", "least", "most"), [(200, 12, 100, 200), (122, 12, 0, 0), (200, 1, 0, 0)])
def test_what_differs_by_little_or_in_one_px_is_not_seen(patch: int, size: int, least: int, most: int) -> None:
    """Greys of 120 and 200 lie 30 of CIEDE2000 apart, 120 and 122 less than one."""
    scene = scene_of(Case("crest-chipped", 91029))

    assert least <= shown_px(scene, picture(120, patch, size), lambda _: picture(120, 120, size)) <= most


@pytest.mark.parametrize("case", [Case("barbs-folded", 91036), Case("crest-chipped", 91029), Case(DIRTY, 91001)])
def test_it_is_compared_with_the_whole_and_clean_one(case: Case) -> None:
    def rendered(scene: Scene) -> np.ndarray:
        one = scene.laid[0].instrument
        assert not one.damage
        assert not any(barb.folded or barb.missing for barb in one.barbs)
        assert not any(mark.kind == "debris" for mark in one.marks)
        return picture(120, 120, 1)

    assert shown_px(scene_of(case), picture(120, 120, 1), rendered) == 0.0
