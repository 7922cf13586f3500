"""The live coach: looks made by hand judged one by one, and one rendered sample photo seen as a frame."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from test_scale import View, photograph

from vision.errors import PhotoError
from vision.held_signs import edge_widths
from vision.lifted import ENOUGH_PARALLAX
from vision.live.guide import GOOD_FRAMES, Run, ended, next_step, taken, watch
from vision.live.judge import ORDER, RIM_HIDES, Check, Wanted, all_right, judge, least_width_px, px_per_mm_needed
from vision.live.look import Look, frame_of, look_at, look_from
from vision.live.steady import held_still, seen_across_deg, touched
from vision.markers import glance

PHOTOS = Path(__file__).resolve().parent.parent / "samples" / "photos"
PX_PER_MM = 50.0


def page_to_px(shift_px: tuple[float, float] = (0.0, 0.0)) -> tuple[float, ...]:
    return (PX_PER_MM, 0.0, shift_px[0], 0.0, PX_PER_MM, shift_px[1], 0.0, 0.0, 1.0)


GOOD = Look(
    1920, 1080, markers=8, sheet="A4-1", homography=page_to_px(), px_per_mm=PX_PER_MM, tilt_deg=2.0, foot_mm=(19.0, 11.0),
    camera_mm=40.0, things=1, axis_px=((300.0, 500.0), (1500.0, 500.0)), seen_mm=24.0, margin_mm=6.0, whole=True, blur_px=1.2,
    sheet_blur_px=1.3, paper=0.6, clipped=0.0, glare=0.0,
)  # fmt: skip


def wrong(look: Look, *, still: bool | None = True, finer: float = 1.0) -> list[tuple[str, str]]:
    return [(one.name, one.how) for one in judge(look, Wanted(finer), still=still) if one.state != "right"]


def test_a_good_frame_that_holds_still_is_right_in_everything() -> None:
    checks = judge(GOOD, Wanted(), still=True)

    assert tuple(one.name for one in checks) == ORDER
    assert all_right(checks)
    assert not all_right(())


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"px_per_mm": 39.0}, ("scale", "coarse")),
        ({"tilt_deg": 9.0}, ("tilt", "tilted")),
        ({"things": 0}, ("instrument", "none")),
        ({"things": 2}, ("instrument", "several")),
        ({"margin_mm": 0.4}, ("inside", "tip")),
        ({"seen_mm": 11.0}, ("inside", "short")),
        ({"paper": 0.09}, ("exposure", "dark")),
        ({"paper": 0.97}, ("exposure", "bright")),
        ({"clipped": 0.2}, ("exposure", "clipped")),
        ({"glare": 0.06}, ("glare", "mirrors")),
        ({"blur_px": 3.5, "sheet_blur_px": 3.4}, ("focus", "soft")),
        ({"blur_px": 3.5, "sheet_blur_px": 1.2}, ("focus", "on_paper")),
        ({"blur_px": 2.0, "sheet_blur_px": 1.1}, ("focus", "on_paper")),  # soft by little, and yet plainly softer than the sheet
        ({"sheet_blur_px": 3.5}, ("focus", "sheet_soft")),
    ],
)
def test_each_fault_is_named_alone(change: dict[str, float], said: tuple[str, str]) -> None:
    assert wrong(replace(GOOD, **change)) == [said]


def test_focus_is_judged_at_the_instrument_not_on_the_sheet() -> None:
    on_paper = replace(GOOD, blur_px=4.0, sheet_blur_px=0.9)
    on_instrument = replace(GOOD, blur_px=1.0, sheet_blur_px=2.2)

    assert wrong(on_paper) == [("focus", "on_paper")]
    assert wrong(on_instrument) == []


def test_a_photo_finer_than_the_frame_counts_with_its_own_scale() -> None:
    live = replace(GOOD, px_per_mm=21.0)

    assert wrong(live) == [("scale", "coarse")]
    assert wrong(live, finer=2.0) == []


@pytest.mark.parametrize(
    ("blur_px", "width_px", "finer", "needed"),
    [
        (0.7, 1920, 1.0, 40.0),  # sharper than its own pixels: the least that sizes an instrument
        (1.5, 1920, 1.0, 36.0 * 1.5),
        (1.8, 1920, 1.0, 36.0 * 1.8),
        (2.5, 1920, 1.0, 1080 / 16.0),  # a lane with markers on both sides
        (2.5, 1280, 1.0, 1280 / 21.0),  # a working part of 16 mm and 5 mm around it fill the frame
        (1.5, 1920, 2.0, 36.0 * np.hypot(2.0 * np.sqrt(1.5**2 - 0.9**2), 0.9)),  # the photo shares what is not the frame's own pixels
    ],
)
def test_the_softer_a_picture_the_finer_it_must_be_to_measure_by(blur_px: float, width_px: int, finer: float, needed: float) -> None:
    assert px_per_mm_needed(replace(GOOD, blur_px=blur_px, sheet_blur_px=blur_px, width_px=width_px), finer) == pytest.approx(needed)


def test_a_dark_line_narrower_than_the_blur_reads_as_sharp_as_two_thirds_of_it() -> None:
    """Closed form: of a thin line blurred by a Gaussian the height over the steepest slope is sigma sqrt(e)."""
    x, sigma = np.arange(-40.0, 40.0), 6.0
    line, step = 1.0 - np.exp(-0.5 * (x / sigma) ** 2), 0.5 * (1.0 + np.vectorize(math.erf)(x / (sigma * np.sqrt(2.0))))
    of_line, of_step = edge_widths(np.stack([line, step]))

    assert of_step == pytest.approx(sigma, rel=0.02)
    assert of_line * RIM_HIDES == pytest.approx(sigma, rel=0.02)


@pytest.mark.parametrize(
    ("sheet_blur_px", "needed"),
    [(1.2, 36.0 * 1.4), (1.6, 36.0 * 1.6), (1.7, 60.0 * 1.7), (2.4, 60.0 * 1.4 * RIM_HIDES), (None, 36.0 * 1.4)],
)
def test_where_the_sheet_is_softer_than_the_instrument_narrow_rims_hide_the_blur(sheet_blur_px: float | None, needed: float) -> None:
    look = replace(GOOD, blur_px=1.4, sheet_blur_px=sheet_blur_px, width_px=3840, height_px=2160)

    assert px_per_mm_needed(look, 1.0) == pytest.approx(needed)


def test_a_soft_picture_is_fine_enough_to_look_at_but_not_to_measure_by() -> None:
    soft = replace(GOOD, blur_px=1.8)
    scale = next(one for one in judge(soft, Wanted(measured=1.0), still=True) if one.name == "scale")

    assert wrong(soft) == []
    assert (scale.state, scale.how, scale.seen, scale.needed) == ("wrong", "soft", 50.0, pytest.approx(64.8))
    assert all_right(judge(replace(soft, px_per_mm=69.0), Wanted(measured=1.0), still=True))


def test_without_the_sheet_nothing_else_is_claimed() -> None:
    checks = judge(Look(1280, 720, paper=0.5), Wanted(), still=None)

    assert (checks[0].name, checks[0].state) == ("sheet", "wrong")
    assert {one.state for one in checks[1:]} == {"unknown"}
    assert Check("exposure", "wrong", "dark", pytest.approx(3.0), 15.0) in judge(Look(1280, 720, paper=0.03), Wanted(), still=None)


def test_a_camera_of_640_px_cannot_show_a_working_part_finely_enough() -> None:
    small = replace(GOOD, width_px=640, height_px=480, px_per_mm=17.0)

    assert 640 < least_width_px() < 1280
    assert wrong(small) == [("scale", "small")]  # nearer it would not fit
    assert wrong(small, finer=2.0) == [("scale", "coarse")]


@pytest.mark.parametrize(("shift_px", "still"), [((0.0, 0.0), True), ((3.0, 2.0), True), ((7.0, 0.0), False), ((0.0, 30.0), False)])
def test_stillness_is_told_from_the_sheet(shift_px: tuple[float, float], still: bool) -> None:
    axis = tuple((x + shift_px[0], y + shift_px[1]) for x, y in GOOD.axis_px)

    assert held_still(GOOD, replace(GOOD, homography=page_to_px(shift_px), axis_px=axis)) is still
    assert held_still(GOOD, Look(1920, 1080)) is None


def test_an_instrument_that_was_taken_up_is_noticed() -> None:
    turned = replace(GOOD, axis_px=((300.0, 500.0), (1490.0, 600.0)))
    aside = replace(GOOD, axis_px=((300.0, 600.0), (1500.0, 600.0)))
    gone = replace(GOOD, axis_px=(), things=0)

    assert [touched(GOOD, one) for one in (turned, aside, gone)] == [True, True, True]
    assert not touched(GOOD, replace(GOOD, homography=page_to_px((200.0, 0.0)), axis_px=((500.0, 500.0), (1700.0, 500.0))))
    assert not touched(GOOD, Look(1920, 1080))  # the camera looks away: nothing is known


def test_the_angle_is_counted_round_the_instruments_axis() -> None:
    """A camera 40 mm above a sheet on which the axis lies 1 mm beside its foot: 1/40, then 22/40, from the closed form."""
    aside = replace(GOOD, foot_mm=(30.0, 32.0))

    assert seen_across_deg(GOOD, replace(GOOD, foot_mm=(49.0, 11.0))) == pytest.approx(0.0, abs=1e-9)
    assert seen_across_deg(GOOD, aside) == pytest.approx(np.degrees(np.arctan(22.0 / 40.0) - np.arctan(1.0 / 40.0)))
    assert seen_across_deg(replace(GOOD, axis_px=()), aside) is None
    assert seen_across_deg(GOOD, replace(aside, camera_mm=None)) is None


def shown(run: Run, look: Look, times: int) -> tuple[Run, list[bool]]:
    fired = []
    for _ in range(times):
        run, advice = watch(run, look)
        fired.append(advice.shoot)
    return run, fired


def test_the_photo_is_taken_once_three_good_frames_held_still() -> None:
    run, fired = shown(Run("one"), GOOD, GOOD_FRAMES + 1)

    assert fired == [False] * GOOD_FRAMES + [True]  # the first frame has none before it to be still against
    assert taken(run, GOOD).complete
    _, after = shown(taken(run, GOOD), GOOD, 6)
    assert not any(after)


def test_one_bad_frame_begins_the_count_anew() -> None:
    run, _ = shown(Run("one"), GOOD, GOOD_FRAMES)
    run, fired = shown(run, replace(GOOD, blur_px=5.0), 1)
    _, later = shown(run, GOOD, GOOD_FRAMES)

    assert fired == [False]
    assert later == [False, False, True]


def test_height_wants_the_instrument_seen_from_elsewhere_and_may_then_look_from_the_side() -> None:
    run = taken(Run("height"), GOOD)
    _, fired = shown(run, GOOD, 8)
    _, near = shown(run, replace(GOOD, foot_mm=(19.0, 19.0), tilt_deg=12.0), 8)
    _, later = shown(run, replace(GOOD, foot_mm=(19.0, 33.0), tilt_deg=24.0), 4)

    assert not any(fired)
    assert not any(near)
    assert np.tan(np.radians(next_step(run, GOOD).needed or 0.0)) == pytest.approx(ENOUGH_PARALLAX, rel=0.03)
    assert later[-1]


def test_two_views_of_a_soft_picture_are_taken_only_from_nearer() -> None:
    soft = replace(GOOD, blur_px=1.9)

    fired = [any(shown(Run(plan), soft, 8)[1]) for plan in ("one", "turns", "height")]
    _, near = shown(Run("height"), replace(soft, px_per_mm=70.0), 8)

    aside = replace(soft, px_per_mm=62.0, foot_mm=(19.0, 33.0), tilt_deg=24.0)
    _, coarser = shown(taken(Run("height"), soft), aside, 8)
    _, too_coarse = shown(taken(Run("height"), soft), replace(aside, px_per_mm=60.0), 8)

    assert fired == [True, True, False]
    assert any(near)
    assert any(coarser)  # 67.5 px/mm are asked for from straight above, nine tenths of it from aside
    assert not any(too_coarse)


def test_a_run_that_was_ended_takes_nothing_more_by_itself() -> None:
    run = ended(taken(taken(Run("turns"), GOOD), GOOD))
    run, _ = shown(run, replace(GOOD, axis_px=(), things=0), 1)
    _, fired = shown(run, GOOD, 8)

    assert run.complete
    assert not any(fired)


def test_turns_want_the_instrument_taken_up_between_photos_and_then_the_camera_moved_across() -> None:
    run = taken(Run("turns"), GOOD)
    run, fired = shown(run, GOOD, 8)
    run, _ = shown(run, replace(GOOD, axis_px=(), things=0), 1)
    run, second = shown(run, GOOD, 4)
    run = taken(run, GOOD)
    run, third = shown(run, GOOD, 8)
    run, _ = shown(run, replace(GOOD, axis_px=(), things=0), 1)
    run, turned = shown(run, GOOD, 4)
    run = taken(run, GOOD)
    run, above = shown(run, GOOD, 8)
    aside = replace(GOOD, foot_mm=(19.0, 33.0), tilt_deg=24.0)
    _, last = shown(run, aside, 4)

    assert not any(fired)
    assert any(second)
    assert not any(third)
    assert any(turned)
    assert not any(above)
    assert next_step(run, GOOD).name == "across"
    assert any(last)
    assert not run.complete
    run = taken(run, aside)
    assert run.complete
    assert run.lays == (0, 1, 2, 2)


def test_a_look_survives_its_way_as_plain_values() -> None:
    import json  # noqa: PLC0415

    assert look_from(json.loads(json.dumps(GOOD.as_json()))) == GOOD
    assert look_from(json.loads(json.dumps(Look(640, 480).as_json()))) == Look(640, 480)


@pytest.mark.parametrize("data", [b"", b"GIF89a", b"\xff\xd8\xff\xe0 cut"])
def test_what_is_no_jpeg_is_refused_in_words(data: bytes) -> None:
    with pytest.raises(PhotoError, match="send it again"):
        frame_of(data)


def test_a_frame_of_the_wrong_size_is_refused_before_it_is_decoded() -> None:
    thin = cv2.imencode(".jpg", np.zeros((16, 4000, 3), np.uint8))[1].tobytes()

    with pytest.raises(PhotoError, match="4000 × 16 px"):
        frame_of(thin)


@pytest.fixture(scope="module")
def sample() -> NDArray[np.uint8]:
    """A sample photo as a camera of 1920 px would show it."""
    whole = cv2.imread(str(PHOTOS / "k-file-25-flat.jpg"))
    return np.asarray(cv2.resize(whole, (1920, 1440), interpolation=cv2.INTER_AREA), dtype=np.uint8)


def seen(picture: NDArray[np.uint8]) -> Look:
    return look_at(frame_of(bytes(cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, 85])[1])))


def test_a_sample_photo_is_seen_as_its_truth_has_it(sample: NDArray[np.uint8]) -> None:
    import json  # noqa: PLC0415

    truth = json.loads((PHOTOS / "k-file-25-flat.json").read_text())
    shrink = truth["image"]["width"] / 1920.0

    look = seen(sample)

    assert look.sheet == truth["sheet"]
    assert look.px_per_mm == pytest.approx(truth["camera"]["px_per_mm"] / shrink, rel=0.02)
    assert look.things == 1
    tip = np.array(truth["instruments"][0]["tip_px"]) / shrink
    assert np.linalg.norm(np.array(look.axis_px[0]) - tip) < 0.5 * look.px_per_mm
    assert wrong(look, finer=shrink) == []


def test_blur_is_measured_in_px(sample: NDArray[np.uint8]) -> None:
    """Blurs add in squares (two Gaussians after one another)."""
    sharp, soft = seen(sample), seen(cv2.GaussianBlur(sample, (0, 0), 3.0))

    assert sharp.blur_px is not None
    assert soft.blur_px == pytest.approx(float(np.hypot(sharp.blur_px, 3.0)), rel=0.2)
    assert ("focus", "soft") in wrong(soft, finer=2.1)


def test_the_sheet_seen_last_is_looked_for_first_and_another_one_is_found_all_the_same() -> None:
    grey = np.asarray(cv2.cvtColor(photograph(View(45.0)).rgb, cv2.COLOR_RGB2GRAY), dtype=np.uint8)
    ids = {one.id for one in glance(grey)}

    assert len(ids) >= 3
    assert {one.id for one in glance(grey, "A4-1")} == ids
    assert {one.id for one in glance(grey, "LETTER-1")} == ids
