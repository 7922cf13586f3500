"""A view from far aside is refused with both angles; the tilt is that of the camera that took the photo."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from test_scale import NOWHERE, View, photograph

from vision.errors import PhotoError
from vision.findscale import find_scale
from vision.fitness import JUDGE_PX_PER_MM, MOST_TILT_DEG, judging_doubts, refuse_none, refuse_slanted
from vision.tip import Tip


def test_the_second_of_two_views_may_lean_and_a_view_from_the_side_may_not() -> None:
    scale = find_scale(photograph(View(40.0, tilt_deg=30.0)), given=None, prints=NOWHERE)
    refuse_slanted(scale)
    side = replace(scale, camera=replace(scale.camera, tilt_deg=MOST_TILT_DEG + 8.0))

    assert scale.camera.tilt_deg == pytest.approx(30.0, abs=2.0)
    with pytest.raises(PhotoError, match="slant of 53 deg, at most 45") as caught:
        refuse_slanted(side)
    assert caught.value.kind == "slanted"
    refuse_slanted(replace(side, sheet=None))  # a stated scale says nothing of the view


def test_what_falls_short_never_reads_as_if_it_met_the_limit() -> None:
    sharp = SimpleNamespace(blur_px=1.5, spread_px=0.5, doubt_px=0.0)
    short = np.nextafter(JUDGE_PX_PER_MM, 0.0)

    assert judging_doubts(short, sharp, Tip(200.0, 1.0, None, None)) == ("needs 14 px/mm to judge condition, has 13.9: move closer",)
    assert judging_doubts(JUDGE_PX_PER_MM, sharp, Tip(200.0, 1.0, None, None)) == ()


def test_a_photo_without_the_tip_is_unfit_to_judge_it() -> None:
    sharp = SimpleNamespace(blur_px=1.5, spread_px=0.5, doubt_px=0.0)

    assert judging_doubts(70.0, sharp, Tip(200.0, 1.0, None, None)) == ()
    assert judging_doubts(70.0, sharp, Tip(None, 0.0, None, None)) == (
        "the tip is outside the frame: whether a piece of it is missing cannot be told; photograph the whole working part",
    )
    (covered,) = judging_doubts(70.0, sharp, Tip(None, 0.0, None, None, "something lies at the tip: its end is not seen"))
    assert covered.startswith("something lies at the tip: its end is not seen: whether")


@pytest.mark.parametrize("stated", [True, False])
@pytest.mark.parametrize(("found", "kind"), [((), "no-instrument"), ((None,), "no-outline")])
def test_a_stated_scale_knows_no_print_and_says_so(stated: bool, found: tuple[None, ...], kind: str) -> None:
    photo = SimpleNamespace(rgb=np.full((40, 40, 3), 200, np.uint8))

    with pytest.raises(PhotoError) as caught:
        refuse_none((), found, photo, stated=stated)

    assert caught.value.kind == kind
    assert ("leave --px-per-mm out" in str(caught.value)) is stated
