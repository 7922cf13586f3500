"""`measure --same`: what is asked, refused, printed, written and drawn; invented readings, no measuring."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from command_line import status_of, usage_error
from invented_readings import condition, failed, k_file, quiet_reamer, reading
from PIL import Image

from vision.merging import merge_conditions, merge_findings
from vision.quantity import Quantity
from vision.reading import Choice, CombinedReading, Finding, InstrumentReading
from vision.report.combined_figure import combined_figure
from vision.report.document import document, text
from vision.together import combine
from vision.together_words import contradiction


def combined(mode: str = "untouched", names: tuple[str, ...] = ("one.jpg", "two$x$.jpg"), **more: object) -> CombinedReading:
    x = np.linspace(0.0, 25.0, 51)
    curve = np.column_stack([x, 0.15 + 0.07 * x, np.full(51, 0.04)]) if mode == "untouched" else np.empty((0, 3))
    each = tuple(Quantity(0.2531 + 0.002 * k, 0.004) for k in range(len(names)))
    one = replace(k_file(), condition=replace(condition(), photos=len(names)))
    return CombinedReading(names, mode, one, each, curve, **more)  # type: ignore[arg-type]


@pytest.fixture
def photos(tmp_path: Path) -> list[Path]:
    paths = [tmp_path / name for name in ("one.png", "two.png")]
    for light, path in enumerate(paths, 200):
        Image.fromarray(np.full((900, 1800, 3), light, np.uint8)).save(path)
    return paths


@pytest.fixture
def _invented(monkeypatch: pytest.MonkeyPatch) -> None:
    """Replace the measuring of photos and their combination by invented readings."""

    def read_photo(path: Path, **_: object) -> object:
        return failed(path.name) if not path.exists() else replace(reading(path.name), instruments=(quiet_reamer(1),))

    monkeypatch.setattr("vision.commands.measure.read_photo", read_photo)
    monkeypatch.setattr("vision.commands.same.combine", lambda *_, **__: (combined(), ()))


def test_one_photo_is_not_enough(photos: list[Path], capsys: pytest.CaptureFixture[str]) -> None:
    assert "at least two photos" in usage_error(capsys, "measure", "--same", photos[0])


@pytest.mark.usefixtures("_invented")
def test_one_photo_given_twice_is_refused_because_it_would_make_u_smaller(photos: list[Path], capsys: pytest.CaptureFixture[str]) -> None:
    copy = photos[0].with_name("copy.png")
    copy.write_bytes(photos[0].read_bytes())

    assert "is named twice" in usage_error(capsys, "measure", "--same", photos[0], photos[0])
    assert "one and the same photo" in usage_error(capsys, "measure", "--same", *photos, copy)


@pytest.mark.usefixtures("_invented")
def test_table_json_and_figure(photos: list[Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    target, folder = tmp_path / "out.json", tmp_path / "pictures"

    assert status_of("measure", "--same", *photos, "--json", target, "--picture", folder) == 0
    out = capsys.readouterr().out
    assert "Together: 2 photos of one instrument, untouched between the photos, camera moved" in out
    assert "these photos cannot clear it: they show" in " ".join(out.split())
    with Image.open(folder / "together.png") as figure:
        assert figure.size[0] > 1000
    made = json.loads(target.read_text(encoding="utf-8"))["combined"]
    assert len(made) == 1
    assert made[0]["photos"] == ["one.jpg", "two$x$.jpg"]
    assert made[0]["mode"] == "untouched"
    assert "exists already" in usage_error(capsys, "measure", "--same", *photos, "--picture", folder)


def test_a_combined_reading_has_an_instruments_fields_first() -> None:
    made = document([reading()], None, (combined(),))
    one, single = made["combined"][0], made["photos"][0]["instruments"][0]

    assert list(one)[: len(single)] == list(single)
    assert list(one)[len(single) :] == ["photos", "mode", "d0_each_mm", "axis_height_mm", "disagreements"]
    assert one["box_px"] is None
    assert one["d0_each_mm"][1] == {"value": 0.2551, "u": 0.004}
    assert one["axis_height_mm"]["at_tip"] == {"value": 0.15, "u": 0.04}
    assert json.loads(text(made)) == made
    re_laid = document([reading()], None, (combined("re-laid"),))["combined"][0]
    assert re_laid["axis_height_mm"] == {"at_tip": None, "at_front": None}


def test_the_figure_says_when_no_height_was_triangulated() -> None:
    words = [t.get_text() for axes in combined_figure(combined("re-laid")).axes for t in axes.texts]

    assert any("not triangulated" in one for one in words)


def test_every_label_of_the_figure_lies_on_the_page() -> None:
    figure = combined_figure(combined(names=tuple(f"a-rather-long-name-of-a-photo-{k}.jpg" for k in range(5))))
    figure.canvas.draw()
    page = figure.bbox
    for axes in figure.axes:
        for label in [*axes.get_yticklabels(), axes.xaxis.label, axes.yaxis.label]:
            box = label.get_window_extent()
            assert box.x0 >= page.x0 - 1
            assert box.x1 <= page.x1 + 1


def test_nothing_to_combine_is_said() -> None:
    made, problems = combine([], down=False)

    assert made is None
    assert "needs at least two" in problems[-1]


@pytest.mark.parametrize(
    ("other", "words"),
    [
        (replace(k_file(), family=Choice("hedstroem-file", 0.97)), "hedstroem-file"),
        (replace(k_file(), size=Choice(40, 0.95)), "size 40"),
        (replace(k_file(), length_mm=Quantity(31.1, 0.1)), "31.1 mm"),
    ],
)
def test_two_different_instruments_are_named(other: InstrumentReading, words: str) -> None:
    told = contradiction(["a.jpg", "b.jpg"], [k_file(), other])

    assert told is not None
    assert words in told
    assert "a.jpg" in told
    assert "b.jpg" in told


def test_an_undecided_family_contradicts_nothing() -> None:
    assert contradiction(["a.jpg", "b.jpg"], [k_file(), replace(k_file(), family=Choice(None, 0.5))]) is None


def test_a_finding_in_any_view_counts() -> None:
    quiet, loud = condition("nothing seen"), condition("discard")
    made = merge_conditions([quiet, loud], ["a.jpg", "b.jpg"], 0.8, ())

    assert made.call == "discard"
    assert made.findings == loud.findings
    assert made.seen_share == 0.8
    assert made.photos == 2


def test_findings_are_matched_by_kind_and_place() -> None:
    def one(kind: str, low: float, high: float, p: float) -> Finding:
        return Finding(kind, low, high, Quantity(100.0, 10.0), "deg", p)

    first = [one("unwound", 2.0, 4.0, 0.7)]
    second = [one("unwound", 2.3, 4.4, 0.95), one("unwound", 9.0, 10.0, 0.6), one("kinked", 2.5, 3.0, 0.8)]
    merged = merge_findings([first, second])

    assert [(f.kind, f.from_mm) for f in merged] == [("unwound", 2.3), ("kinked", 2.5), ("unwound", 9.0)]


def test_one_fit_photo_is_enough_to_judge() -> None:
    unfit = replace(condition("look again"), findings=(), reasons=("blurred",))
    quiet = replace(condition("nothing seen"), reasons=())

    assert merge_conditions([unfit, quiet], ["a.jpg", "b.jpg"], 0.5, ()).call == "nothing seen"
    assert merge_conditions([unfit, unfit], ["a.jpg", "b.jpg"], 0.5, ()).call == "look again"
    assert merge_conditions([quiet, quiet], ["a.jpg", "b.jpg"], 0.5, ("THE PHOTOS DISAGREE",)).call == "look again"
