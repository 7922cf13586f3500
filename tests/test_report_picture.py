"""The pictures: the photo turned but never mirrored, marks where the measurement is, text that fits and can be read."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from invented_readings import ANGLE_RAD, PX_PER_MM, TIP_PX, k_file, quiet_reamer, reading
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from PIL import Image
from skimage.transform import SimilarityTransform, warp

from vision.exif import CameraInfo
from vision.photo import Photo
from vision.reading import InstrumentReading, PhotoReading, Trace
from vision.report import style
from vision.report.closeup import closeup
from vision.report.overlay import axis_positions_mm
from vision.report.overview import overview
from vision.report.picture import draw, drawn_before
from vision.report.view import View, picture, view_of

WIDTH, HEIGHT = 2000, 1500


@pytest.fixture(autouse=True)
def coarse(monkeypatch: pytest.MonkeyPatch) -> None:
    """Draw at a lower resolution than in earnest: the layout is in points, and the suite is quicker."""
    monkeypatch.setattr(style, "DPI", 90)


def graded_photo() -> Photo:
    """Red grows with x, green with y, so that each pixel tells where it is."""
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH]
    rgb = np.stack([x * 255 / WIDTH, y * 255 / HEIGHT, np.full_like(x, 128)], axis=2).astype(np.uint8)
    return Photo(Path("macro-01.jpg"), rgb, CameraInfo())


def reversed_instrument() -> InstrumentReading:
    """The same instrument with its tip at the right-hand side, pointing down."""
    one = k_file()
    turn = np.radians(200.0)
    matrix = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])

    def moved(points: np.ndarray) -> np.ndarray:
        return (points - TIP_PX) @ matrix + [1800.0, 1200.0]

    t = one.trace
    shape = replace(
        t,
        axis_px=moved(t.axis_px),
        upper_px=moved(t.upper_px),
        lower_px=moved(t.lower_px),
        crests_px=moved(t.crests_px),
    )
    return replace(one, trace=shape)


def texts_of(figure: Figure) -> list:
    figure.canvas.draw()
    return [t for t in (*figure.texts, *(t for axes in figure.axes for t in axes.texts)) if t.get_text()]


def test_view_goes_there_and_back() -> None:
    view = View((812.5, 640.25), (np.cos(2.1), np.sin(2.1)), 84.2)
    points = np.random.default_rng(5).uniform(0, 2000, (50, 2))

    assert np.abs(view.to_px(view.to_uv(points)) - points).max() < 1e-9


def test_view_is_a_turn_and_a_shrink_without_a_mirror() -> None:
    """Against scikit-image's similarity transform with the same turn, scale and origin."""
    view = View((100.0, 50.0), (np.cos(0.7), np.sin(0.7)), 60.0)
    points = np.random.default_rng(6).uniform(0, 2000, (20, 2))
    outside = SimilarityTransform(scale=1 / 60.0, rotation=-0.7) + SimilarityTransform()
    expected = outside(points - [100.0, 50.0])

    assert np.allclose(view.to_uv(points), expected)
    assert np.linalg.det(view.to_uv(np.array([[101.0, 50.0], [100.0, 51.0]]))) > 0


@pytest.mark.parametrize("make", [k_file, reversed_instrument])
def test_tip_comes_to_the_left_and_the_axis_level(make: object) -> None:
    one = make()  # type: ignore[operator]
    uv = view_of(one).to_uv(one.trace.axis_px)

    assert np.allclose(uv[0], 0.0)
    assert uv[-1, 0] == pytest.approx(25.0, abs=0.1)
    assert uv[-1, 1] == pytest.approx(0.0, abs=1e-9)


def test_window_shows_the_right_pixels() -> None:
    """Each output pixel's colour tells where it was taken; compared with the view's own mapping of its centre."""
    photo, view = graded_photo(), View((700.0, 600.0), (np.cos(ANGLE_RAD), np.sin(ANGLE_RAD)), PX_PER_MM)
    shown = picture(photo, view, (1.0, 6.0), (-2.0, 1.5), 1000)
    per_mm = shown.shape[1] / 5.0
    row, column = np.array([10, 340, 690]), np.array([5, 500, 990])
    centres = np.column_stack([1.0 + (column + 0.5) / per_mm, -2.0 + (row + 0.5) / per_mm])
    expected = view.to_px(centres) * [255 / WIDTH, 255 / HEIGHT]

    assert shown.shape[:2] == (700, 1000)
    assert np.abs(shown[row, column, :2].astype(float) - expected).max() < 1.2


def test_window_agrees_with_scikit_image_to_a_fraction_of_a_pixel() -> None:
    rng = np.random.default_rng(7)
    smooth = np.asarray(Image.fromarray(rng.integers(0, 255, (60, 80), dtype=np.uint8)).resize((800, 600), 3))
    photo = Photo(Path("a"), np.repeat(smooth[..., None], 3, axis=2), CameraInfo())
    view = View((150.0, 100.0), (np.cos(0.4), np.sin(0.4)), 50.0)
    mine = picture(photo, view, (0.0, 6.0), (-1.0, 2.0), 300)[..., 0]
    grid = SimilarityTransform(scale=1 / 50.0, translation=((0.5 / 50.0), -1.0 + 0.5 / 50.0))
    back = grid + SimilarityTransform(scale=50.0, rotation=0.4, translation=(150.0, 100.0))
    theirs = warp(smooth, back, output_shape=(150, 300), order=3, preserve_range=True)

    assert np.abs(mine - theirs)[3:-3, 3:-3].mean() < 1.0


def test_outside_of_the_photo_is_grey() -> None:
    shown = picture(graded_photo(), View((0.0, 0.0), (1.0, 0.0), 60.0), (-3.0, -1.0), (-2.0, -1.0), 100)

    assert (shown == 128).all()


def test_axis_positions_without_recorded_ones_follow_the_arc() -> None:
    one = k_file()
    bare = replace(one, trace=replace(one.trace, axis_x_mm=np.empty(0)))

    assert axis_positions_mm(bare)[-1] == pytest.approx(25.0, abs=0.01)


@pytest.mark.parametrize("make", [k_file, quiet_reamer, reversed_instrument])
def test_all_text_lies_inside_the_figure(make: object) -> None:
    one = replace(make(), notes=("a note that is long enough to be broken over several lines " * 4,))  # type: ignore[operator]
    for figure in (
        closeup(graded_photo(), "a$x_1$b.jpg", one),
        overview(graded_photo(), replace(reading(), file="$x_1$.jpg", instruments=(one,))),
    ):
        page = figure.bbox
        for text in texts_of(figure):
            box = text.get_window_extent()
            assert box.x0 >= page.x0, text
            assert box.x1 <= page.x1, text
            assert box.y0 >= page.y0, text
            assert box.y1 <= page.y1, text
        for axes in figure.axes:
            frame = axes.get_tightbbox()
            assert frame.x0 >= page.x0
            assert frame.x1 <= page.x1


@pytest.mark.parametrize("letter", ["x", "W", "m", "i"])
def test_a_very_long_name_stays_on_the_page(letter: str) -> None:
    name = f"{200 * letter}.jpg"
    for figure in (closeup(graded_photo(), name, k_file()), overview(graded_photo(), PhotoReading(name, None, None))):
        for shown in texts_of(figure):
            assert shown.get_window_extent().x1 <= figure.bbox.x1


def test_text_blocks_do_not_run_into_pictures() -> None:
    figure = closeup(graded_photo(), "a.jpg", k_file())
    figure.canvas.draw()
    frames = [axes.get_tightbbox() for axes in figure.axes]

    assert not any(frame.overlaps(text.get_window_extent()) for frame in frames for text in figure.texts)
    ordered = sorted(frames, key=lambda frame: -frame.y1)
    assert all(above.y0 >= below.y1 - 1 for above, below in pairwise(ordered))


def test_limits_are_never_smaller_or_lighter_than_the_call() -> None:
    for one in (k_file(), quiet_reamer()):
        texts = closeup(graded_photo(), "a.jpg", one).texts
        call = next(t for t in texts if t.get_text().startswith("Call:"))
        limits = next(t for t in texts if t.get_text().startswith("Limits: this photo cannot clear it"))
        within = [t for t in texts if "within" in t.get_text()]

        assert limits.get_fontsize() >= call.get_fontsize()
        assert limits.get_weight() == call.get_weight()
        assert all(t.get_fontsize() <= limits.get_fontsize() for t in within)


def test_text_is_large_enough_for_a_phone() -> None:
    """12 points on a 7 inch page fill 9.5 CSS px on a phone 400 px wide; tick labels may be a little smaller."""
    sizes = [text.get_fontsize() for text in texts_of(closeup(graded_photo(), "a.jpg", k_file()))]

    assert min(sizes) * 400 / (style.WIDTH_IN * 72) >= 9.0


@pytest.mark.parametrize("name", ["INK", "OUTLINE", "QUIET"])
def test_marks_stand_out_from_white_without_colour(name: str) -> None:
    """Contrast by W3C WCAG 2.2, 1.4.3: at least 4.5 to 1 for text; relative luminance is black-and-white by itself."""
    codes = np.array(to_rgb(getattr(style, name)))
    linear = np.where(codes <= 0.04045, codes / 12.92, ((codes + 0.055) / 1.055) ** 2.4)
    luminance = float(linear @ [0.2126, 0.7152, 0.0722])

    assert 1.05 / (luminance + 0.05) >= 4.5


def test_no_green_anywhere() -> None:
    for name in ("INK", "OUTLINE", "QUIET"):
        red, green, _ = to_rgb(getattr(style, name))
        assert green <= red


def test_findings_are_lettered_in_picture_plots_and_words() -> None:
    figure = closeup(graded_photo(), "a.jpg", k_file())

    assert sum(t.get_text() == "A" for axes in figure.axes for t in axes.texts) == 5  # whole, piece, crop, two plots
    assert any(t.get_text().startswith("A  unwound: 205") for t in figure.texts)


@pytest.mark.parametrize("zone_mm", [(2.1, 4.6), (9.9, 10.1), (0.0, 0.1)])
def test_letters_of_findings_stand_in_the_picture_clear_of_the_metal(zone_mm: tuple[float, float]) -> None:
    """Two findings at one place: neither letter lies over the outline, over the other letter, or beyond the frame."""
    one = k_file()
    found = replace(one.condition.findings[0], from_mm=zone_mm[0], to_mm=zone_mm[1])
    one = replace(one, condition=replace(one.condition, findings=(found, replace(found, kind="kinked"))))
    figure = closeup(graded_photo(), "a.jpg", one)
    figure.canvas.draw()
    lower = view_of(one).to_uv(one.trace.lower_px)

    seen = 0
    for axes in [axes for axes in figure.axes if axes.images]:
        frame = axes.get_window_extent()
        discs = [t.get_bbox_patch().get_window_extent() for t in axes.texts if t.get_text() in ("A", "B")]
        metal = axes.transData.transform(lower)
        seen += len(discs)
        for disc in discs:
            over = metal[(metal[:, 0] > disc.x0) & (metal[:, 0] < disc.x1)]
            assert (over[:, 1] > disc.y1).all()
            assert disc.y0 > frame.y0
        assert all(not a.overlaps(b) for a, b in pairwise(discs))
    assert seen >= 4


def test_marks_stand_where_the_measurement_is() -> None:
    one = k_file()
    whole = closeup(graded_photo(), "a.jpg", one).axes[0]
    drawn = [line.get_xydata() for line in whole.lines]

    assert any(
        len(d) == len(one.trace.upper_px) and np.allclose(d, view_of(one).to_uv(one.trace.upper_px)) for d in drawn
    )


def test_plots_show_pitch_and_trend() -> None:
    one = k_file()
    pitch = closeup(graded_photo(), "a.jpg", one).axes[-1]

    assert np.array_equal(pitch.lines[0].get_xydata(), one.trace.pitch_mm_of_x)
    assert [text.get_text() for text in pitch.get_legend().get_texts()] == ["measured", "healthy trend"]


def test_a_slip_in_the_pitch_neither_sets_the_scale_nor_vanishes() -> None:
    one = k_file()
    rows = one.trace.pitch_mm_of_x.copy()
    rows[-1, 1], rows[-2, 1] = -35.0, 90.0
    pitch = closeup(graded_photo(), "a.jpg", replace(one, trace=replace(one.trace, pitch_mm_of_x=rows))).axes[-1]
    low, high = pitch.get_ylim()

    assert (low, high) == (0.0, pytest.approx(1.3 * 3 * 0.58))
    assert "off the scale" in [text.get_text() for text in pitch.get_legend().get_texts()]
    assert pitch.lines[-1].get_ydata().tolist() == [high, low]


def test_draw_writes_an_overview_and_a_figure_each(tmp_path: Path) -> None:
    paths = draw(graded_photo(), reading(), tmp_path / "new" / "folder")

    assert [path.name for path in paths] == [
        "macro-01-overview.png",
        "macro-01-instrument-1.png",
        "macro-01-instrument-2.png",
    ]
    for path in paths:
        with Image.open(path) as drawn:
            assert drawn.width == round(style.WIDTH_IN * style.DPI)


def test_draw_overwrites_only_when_asked(tmp_path: Path) -> None:
    alone = replace(reading(), instruments=(quiet_reamer(1),))
    foreign = tmp_path / "macro-01-instrument-notes.png"
    foreign.write_bytes(b"mine")
    draw(graded_photo(), replace(reading(), instruments=(quiet_reamer(1), quiet_reamer(2))), tmp_path)
    before = (tmp_path / "macro-01-overview.png").read_bytes()

    with pytest.raises(FileExistsError):
        draw(graded_photo(), alone, tmp_path)
    assert (tmp_path / "macro-01-overview.png").read_bytes() == before

    draw(graded_photo(), alone, tmp_path, overwrite=True)
    assert [path.name for path in drawn_before(tmp_path, "macro-01")] == [
        "macro-01-instrument-1.png",
        "macro-01-overview.png",
    ], "the second instrument of the earlier reading is gone"
    assert foreign.read_bytes() == b"mine"


def test_a_name_the_font_lacks_does_not_stop_the_drawing(tmp_path: Path) -> None:
    odd = replace(reading(), file="写真\u0001$.jpg", instruments=(quiet_reamer(1),))

    assert len(draw(graded_photo(), odd, tmp_path)) == 2


def test_gaps_in_the_measurement_are_drawn_as_gaps() -> None:
    one = k_file()
    holes = {
        name: np.where(np.arange(len(value))[:, None] % 7 == 0, np.nan, value)
        for name, value in vars(one.trace).items()
        if name in ("upper_px", "lower_px", "axis_px", "crests_px", "pitch_mm_of_x", "trend_mm_of_x", "profile_mm_of_x")
    }
    holed = replace(one, trace=replace(one.trace, **holes))
    figure = closeup(graded_photo(), "a.jpg", holed)
    figure.canvas.draw()
    drawn = [line.get_xydata() for line in figure.axes[0].lines if len(line.get_xydata()) == 1500]

    assert np.isfinite(figure.get_size_inches()).all()
    assert any(np.isnan(edge).any() for edge in drawn)
    assert overview(graded_photo(), replace(reading(), instruments=(holed,))).axes[0].patches


def test_a_bare_trace_and_a_broach_without_pitch_are_drawn(tmp_path: Path) -> None:
    one = k_file()
    no_pitch = replace(one, trace=replace(one.trace, pitch_mm_of_x=np.empty((0, 2)), trend_mm_of_x=np.empty((0, 2))))
    empty = np.empty((0, 2))
    two_points = replace(one, trace=Trace(np.array([[10.0, 10.0], [900.0, 30.0]]), empty, empty, empty))
    outside = replace(quiet_reamer(3), box_px=(-50, -20, 5000, 4000))
    several: PhotoReading = replace(reading(), instruments=(no_pitch, replace(two_points, id=2), outside))

    assert len(draw(graded_photo(), several, tmp_path)) == 4


def test_two_columns_never_run_into_one_another() -> None:
    """A verdict makes a text longer than half the page: the right column moves over, or there is but one."""
    short, long = "pitch: 0.4527 mm (u 0.0069)", "D16: 0.5427 mm (u 0.0086), undecided"

    moved, alone = style.in_columns([long, short]), style.in_columns([long, long])

    assert [(line.text, line.right) for line in moved] == [(long, short)]
    assert moved[0].right_in > style.MARGIN_IN + len(long) * style.CHARACTER * style.BODY_PT / 72
    assert moved[0].right_in + len(short) * style.CHARACTER * style.BODY_PT / 72 < style.WIDTH_IN
    assert [(line.text, line.right) for line in alone] == [(long, ""), (long, "")]
