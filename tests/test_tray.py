"""Finding among many, numbering, sorting, lists and checks; the pictures are drawn by hand and tiny."""

from __future__ import annotations

import json
import tomllib
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pypdfium2
import pytest
from invented_readings import quiet_reamer
from shapely.geometry import LineString, Point

import vision.desk
from vision.order import reading_order
from vision.reading import Choice, PhotoReading
from vision.report.cautions import BROACH, SHORT
from vision.shafts import Ground, trace_shaft
from vision.tray.check import check_tray
from vision.tray.check_page import check_lines, check_story, common_faults
from vision.tray.groups import lines, sort_tray
from vision.tray.kit import Item, Kit, parse_kit
from vision.tray.looked import TrayPhoto
from vision.tray.merged import Seen, merge
from vision.tray.pages import write_pages
from vision.tray.places import label_places
from vision.tray.told import Told, tell
from vision.tray.told_json import tray_from, tray_json
from vision.tray.warned import cautions
from vision.twice import NOT_COUNTED

PPM = 15.0


def told(number: int, family: str | None = "k-file", size: int | None = 25, **more: object) -> Told:
    usual = Told(
        number, "a.jpg", "named", family, size, (), 25.0, 0.2, (20.0 * number, 50.0), 0.0, number, 20.0, "red"
    )
    return replace(usual, **more)  # type: ignore[arg-type]


def seen(*all_told: Told) -> list[Seen]:
    return [Seen(one, (one,)) for one in all_told]


def crossing(angle_deg: float) -> tuple[Ground, np.ndarray, np.ndarray]:
    """Two straight shafts that cross; returns the ground, the first one's start and direction."""
    canvas = np.zeros((600, 900), np.uint8)
    cv2.line(canvas, (100, 300), (500, 300), 1, 6)
    away = np.array([np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))])
    middle = np.array([350.0, 300.0])
    a, b = (tuple(int(v) for v in middle + f * away) for f in (-220, 420))
    cv2.line(canvas, a, b, 1, 6)
    return Ground(canvas.astype(bool), np.ones(canvas.shape, bool), PPM), np.array([97.0, 300.0]), np.array([1.0, 0.0])


@pytest.mark.parametrize("angle_deg", [20.0, 40.0, 75.0])
def test_a_shaft_is_followed_straight_through_one_that_crosses_it(angle_deg: float) -> None:
    ground, start, direction = crossing(angle_deg)

    shaft = trace_shaft(ground, start, direction)

    assert shaft is not None
    drawn = LineString([(100, 300), (500, 300)])
    assert max(drawn.distance(Point(*spot)) for spot in shaft.line_px) < 0.3 * PPM
    assert shaft.line_px[-1, 0] == pytest.approx(500, abs=0.6 * PPM)


def test_print_that_hides_a_shaft_is_bridged_and_bare_paper_ends_it() -> None:
    ground, start, direction = crossing(75.0)
    metal, known = ground.metal.copy(), ground.known.copy()
    metal[:, 200:245], known[:, 200:245] = False, False  # print: 3 mm
    metal[:, 420:460] = False  # bare paper: 2.7 mm

    shaft = trace_shaft(Ground(metal, known, PPM), start, direction)

    assert shaft is not None
    assert shaft.line_px[-1, 0] == pytest.approx(420, abs=0.6 * PPM)


def test_no_shaft_leaves_a_handle_where_there_is_no_metal() -> None:
    ground = Ground(np.zeros((300, 900), bool), np.ones((300, 900), bool), PPM)

    assert trace_shaft(ground, np.array([50.0, 150.0]), np.array([1.0, 0.0])) is None


def test_numbers_run_from_left_to_right_then_down() -> None:
    points = np.array([[300.0, 22.0], [10.0, 20.0], [150.0, 5.0], [400.0, 90.0], [20.0, 95.0]])

    assert reading_order(points, 30.0) == [1, 2, 0, 4, 3]


def test_numerals_stand_clear_of_all_metal_and_of_one_another() -> None:
    bodies = [np.column_stack([np.linspace(200, 900, 60), np.full(60, 200.0 + 90 * k)]) for k in range(6)]
    radius = 30.0

    places = label_places(bodies, radius, (1200, 900))

    metal = [LineString(body) for body in bodies]
    assert min(line.distance(Point(*place)) for line in metal for place in places) > radius
    apart = [Point(*p).distance(Point(*q)) for k, p in enumerate(places) for q in places[:k]]
    assert min(apart) > 2 * radius


def test_groups_come_in_the_order_of_putting_away_and_damage_stands_apart() -> None:
    hurt = told(4, kind="damaged", why=("tip lost 3 mm",))
    open_ = told(5, None, None, kind="undecided", why=("dim",))
    tray = sort_tray(seen(told(1, "reamer", 30), told(2, size=40), told(3, size=15), hurt, open_))

    assert [group.name for group in tray.groups] == ["K-file 15", "K-file 40", "reamer 30"]
    assert tray.total == 5
    said = "\n".join(lines(tray))
    assert "take a close-up of number 5: dim" in said
    assert "set apart number 4" in said


def photo(name: str, *all_told: Told, sheet: str = "A4-1") -> TrayPhoto:
    reading = PhotoReading(name, None, None)
    return TrayPhoto(reading, tuple(replace(one, photo=name) for one in all_told), sheet, None)


def test_a_sorted_tray_says_what_no_overview_shows() -> None:
    said = lines(sort_tray(seen(told(1))))

    assert said[0] == "1 instrument"
    assert "no bend toward or away from the camera" in said[1]
    assert "look at each one closely before it is put away" in said[1]


def test_the_caution_on_broach_sizes_comes_where_one_lies_or_is_asked_for() -> None:
    asked = Kit("box (invented)", (Item("barbed-broach", 40, None, 1),))

    assert cautions([told(1)]) == SHORT
    assert cautions([told(1)], asked) == (*SHORT, BROACH)
    assert cautions([told(1, "barbed-broach", 40)]) == (*SHORT, BROACH)
    assert cautions([told(1, None, None, family_shares={"barbed-broach": 0.2})]) == (*SHORT, BROACH)


def test_what_was_not_counted_is_kept_and_printed() -> None:
    note = f"{NOT_COUNTED}1 line beside an instrument"
    seen_so = TrayPhoto(PhotoReading("a.jpg", None, None, notes=("another note", note)), (), "A4-1", None)
    again = tray_from(json.loads(json.dumps(tray_json(seen_so))), "b.jpg", None)
    story = check_story(check_tray(Kit("none (invented)", ()), []), "Tray check", "a.jpg", None, seen_so.left_out)

    assert seen_so.left_out == (f"a.jpg: {note}",)
    assert again.left_out == (f"b.jpg: {note}",)
    assert any(f"a.jpg: {note}" in getattr(one, "text", "") for one in story)


def test_what_two_overlapping_photos_show_counts_once_and_the_close_up_decides() -> None:
    far = photo("far.jpg", told(1, size=None, kind="undecided", why=("far",)), told(2))
    near = photo("near.jpg", told(1, place_mm=(21.0, 51.0), axis_deg=181.0, px_per_mm=60.0), told(2, place_mm=(90.0, 50.0)))

    joined = merge([far, near])

    assert len(joined) == 3
    assert joined[0].best.kind == "named"
    assert joined[0].numbers == "1 (far.jpg), 1 (near.jpg)"
    assert [one.numbers for one in joined[1:]] == ["2 (far.jpg)", "2 (near.jpg)"]  # a number alone would not say which
    assert [one.numbers for one in merge([far])] == ["1", "2"]
    assert len(merge([far, near], relaid=True)) == 4
    assert len(merge([far, photo("near.jpg", told(1), sheet="LETTER-1")])) == 3


def test_photos_that_contradict_each_other_decide_nothing() -> None:
    joined = merge([photo("a.jpg", told(1, size=25)), photo("b.jpg", told(1, size=30, px_per_mm=60.0))])

    assert joined[0].best.kind == "undecided"
    assert "K-file 25 or K-file 30" in joined[0].best.why[0]


def test_an_open_family_is_undecided_with_what_it_may_be() -> None:
    reading = replace(quiet_reamer(), family=Choice(None, 0.6, {"k-file": 0.6, "reamer": 0.4}))

    one = tell(reading, "a.jpg")

    assert one.kind in ("undecided", "damaged")
    assert any("K-file 60 % or reamer 40 %" in why for why in one.why)


KIT = b"""name = "tray A"
[[item]]
family = "k-file"
size = 25
length_mm = 25
count = 2
slots = [1, 2]
[[item]]
family = "reamer"
size = 30
"""


def outcomes(kit_bytes: bytes, *all_told: Told) -> list[str]:
    return [row.outcome for row in check_tray(parse_kit(kit_bytes, ".toml", "x"), seen(*all_told)).rows]


def test_a_correct_tray_matches_everywhere() -> None:
    assert outcomes(KIT, told(1), told(2), told(3, "reamer", 30)) == ["matches list"] * 3


@pytest.mark.parametrize(
    ("fault", "outcome"),
    [
        (told(2, size=30), "wrong size"),
        (told(2, "hedstroem-file"), "wrong family"),
        (told(2, length_mm=21.0), "wrong size"),
        (told(2, lane=7), "wrong slot"),
        (told(2, kind="damaged", why=("kinked",)), "damaged"),
        (told(2, None, kind="undecided", why=("dim",)), "undecided"),
        (told(2, length_mm=None, length_u=None), "undecided"),
    ],
)
def test_every_fault_has_its_outcome_and_none_matches(fault: Told, outcome: str) -> None:
    rows = check_tray(parse_kit(KIT, ".toml", "x"), seen(told(1), fault, told(3, "reamer", 30))).rows

    assert [row.outcome for row in rows] == ["matches list", outcome, "matches list"]


@pytest.mark.parametrize(("share", "outcome"), [(0.7, "matches list"), (0.55, "matches list"), (0.4, "undecided"), (0.0, "wrong family")])
def test_an_open_name_counts_where_the_list_asks_for_just_that_and_it_is_likely(share: float, outcome: str) -> None:
    """From even chances on; what the photo makes less likely than not is looked at closely, and only what it rules out is a fault."""
    open_ = told(2, None, kind="undecided", why=("reamer or K-file",), family_shares={"k-file": share, "reamer": 1.0 - share})

    rows = check_tray(parse_kit(KIT, ".toml", "x"), seen(told(1), open_, told(3, "reamer", 30))).rows

    assert [row.outcome for row in rows] == ["matches list", outcome, "matches list"]


@pytest.mark.parametrize(("share", "outcome"), [(0.4, "undecided"), (0.1, "undecided"), (0.005, "wrong family")])
def test_a_name_that_was_decided_otherwise_never_matches_and_contradicts_only_where_it_leaves_no_chance(share: float, outcome: str) -> None:
    other = told(2, "reamer", family_shares={"reamer": 1.0 - share, "k-file": share})

    rows = check_tray(parse_kit(KIT, ".toml", "x"), seen(told(1), other, told(3, "reamer", 30))).rows

    assert [row.outcome for row in rows] == ["matches list", outcome, "matches list"]


def test_a_right_one_in_another_slot_is_in_the_wrong_slot_though_its_size_is_open() -> None:
    moved = told(2, "k-file", None, kind="undecided", why=("size 25 or 27",), size_shares={"25": 0.75, "27": 0.2}, lane=9)

    assert outcomes(KIT, told(1), moved, told(3, "reamer", 30)) == ["matches list", "wrong slot", "matches list"]


def test_what_could_not_be_looked_at_for_damage_does_not_match() -> None:
    hidden = replace(quiet_reamer(), tip_px=None, length_mm=None, family=Choice("k-file", 0.9, {}), size=Choice(25, 0.9, {}))

    one = replace(tell(hidden, "a.jpg"), number=2, kind="named", in_doubt=False, lane=2, length_mm=25.0, length_u=0.2)

    assert one.unexamined is not None
    assert outcomes(KIT, told(1), one, told(3, "reamer", 30)) == ["matches list", "undecided", "matches list"]


def test_two_open_names_are_not_both_believed() -> None:
    open_ = told(2, None, None, kind="undecided", why=("dim",), family_shares={"k-file": 0.7}, size_shares={"25": 0.75})

    assert outcomes(KIT, told(1), open_, told(3, "reamer", 30)) == ["matches list", "undecided", "matches list"]


def test_whatever_else_is_open_leaves_a_likely_name_undecided() -> None:
    cut = told(2, None, kind="undecided", why=("cut by the frame",), family_shares={"k-file": 0.9}, in_doubt=True)

    assert outcomes(KIT, told(1), cut, told(3, "reamer", 30)) == ["matches list", "undecided", "matches list"]


def test_another_thing_in_another_slot_is_extra_and_leaves_the_position_missing() -> None:
    kit = b'[[item]]\nfamily = "reamer"\nsize = 15\nslots = [21]\n[[item]]\nfamily = "k-file"\nsize = 25\nslots = [1]\n'

    rows = check_tray(parse_kit(kit, ".toml", "x"), seen(told(1), told(8, "reamer", 45, lane=8))).rows

    assert [row.outcome for row in rows] == ["missing", "matches list", "extra"]


@pytest.mark.parametrize(("share", "outcome"), [(0.14, "undecided"), (0.005, "extra")])
def test_what_may_be_the_missing_one_is_no_extra_one(share: float, outcome: str) -> None:
    """Named a reamer, it may be the K-file that is not in its slot: a close-up tells, the list alone does not."""
    kit = b'[[item]]\nfamily = "k-file"\nsize = 25\nslots = [5]\n'
    other = told(1, "reamer", lane=9, family_shares={"reamer": 1.0 - share, "k-file": share})

    rows = check_tray(parse_kit(kit, ".toml", "x"), seen(other)).rows

    assert [row.outcome for row in rows] == ["missing", outcome]
    assert ("slot 5" in rows[1].why) == (outcome == "undecided")


def test_what_may_be_the_missing_one_and_is_damaged_is_said_to_be_damaged() -> None:
    kit = b'[[item]]\nfamily = "k-file"\nsize = 25\nslots = [5]\n'
    shares = {"reamer": 0.86, "k-file": 0.14}
    hurt = told(1, "reamer", lane=9, family_shares=shares, kind="damaged", why=("unwound by 400 deg",), certain=True)

    row = check_tray(parse_kit(kit, ".toml", "x"), seen(hurt)).rows[1]

    assert row.outcome == "undecided"
    assert row.why.endswith("damaged as well: unwound by 400 deg")


def test_missing_and_extra_and_a_wrong_tray_are_said() -> None:
    kit = parse_kit(KIT, ".toml", "tray A")

    assert [row.outcome for row in check_tray(kit, seen(told(1), told(2))).rows] == ["matches list", "matches list", "missing"]
    extra = check_tray(kit, seen(told(1), told(2), told(3, "reamer", 30), told(4, "barbed-broach", 40, lane=9)))
    assert [row.outcome for row in extra.rows][-1] == "extra"
    other = check_tray(kit, seen(told(5, "barbed-broach", 40), told(6, "barbed-broach", 50), told(7, "spreader", 20)))
    assert "is this the tray of the list tray A?" in check_lines(other)[0]
    empty = check_tray(kit, [])
    assert "no instrument was found on this tray" in check_lines(empty)[0]
    assert common_faults([check_tray(kit, seen(told(1), told(2)))] * 2) == ["2 of 2 trays: missing: reamer 30"]


def test_what_was_not_seen_in_a_partial_check_is_not_called_missing() -> None:
    checked = check_tray(parse_kit(KIT, ".toml", "x"), seen(told(1)), "b.jpg could not be examined")

    assert checked.count("missing") == 0
    assert checked.count("undecided") == 2
    assert "PARTIAL" in "\n".join(check_lines(checked))


def test_damage_that_is_not_beyond_doubt_is_looked_at_again_in_a_check_and_is_never_passed() -> None:
    kit = parse_kit(KIT, ".toml", "x")
    sure, likely = (told(2, kind="damaged", why=("a piece is missing",), certain=certain) for certain in (True, False))

    outcomes = [[row.outcome for row in check_tray(kit, seen(told(1), one, told(3, "reamer", 30))).rows] for one in (sure, likely)]

    assert outcomes == [["matches list", "damaged", "matches list"], ["matches list", "undecided", "matches list"]]


@pytest.mark.parametrize(("certain", "said"), [(True, "damaged"), (False, "probably damaged")])
def test_what_is_extra_or_wrong_and_damaged_too_is_said_to_be_damaged(certain: bool, said: str) -> None:
    hurt = told(4, "reamer", 40, kind="damaged", why=("bent by 40 deg",), certain=certain)
    extra = check_tray(parse_kit(KIT, ".toml", "x"), seen(told(1), told(2), told(3, "reamer", 30), hurt)).rows[-1]
    wrong = check_tray(parse_kit(KIT, ".toml", "x"), seen(told(1), replace(hurt, number=2, family="k-file", lane=2, certain=False))).rows[1]
    doubted = replace(hurt, kind="named", why=("perhaps bent",), in_doubt=True)

    assert (extra.outcome, extra.why) == ("extra", f"reamer 40 is on the tray and not on the list; {said} as well: bent by 40 deg")
    assert (wrong.outcome, wrong.why) == ("wrong size", "is size 40; probably damaged as well: bent by 40 deg")
    only_doubted = check_tray(parse_kit(KIT, ".toml", "x"), seen(told(1), told(2), told(3, "reamer", 30), doubted)).rows[-1]
    assert only_doubted.why.endswith("; take a close-up of number 4: perhaps bent")


def test_beside_matches_list_stands_that_a_bend_along_the_view_does_not_show() -> None:
    """And nothing there clears anything: the sentence asks for a look from the side."""
    said = check_lines(check_tray(parse_kit(KIT, ".toml", "x"), seen(told(1), told(2), told(3, "reamer", 30))))

    (limits,) = [line for line in said if line.startswith("'matches list'")]
    assert limits.endswith("A bend toward or away from the camera does not show from above: turn each one and look at it from the side.")
    assert "it cannot clear an instrument" in limits
    desk = tomllib.loads((Path(vision.desk.__file__).parent / "english.toml").read_text(encoding="utf-8"))["check"]["limits"]
    assert desk.lower() == limits.lower()


def test_a_slot_in_which_something_lies_is_not_called_empty() -> None:
    kit = parse_kit(KIT + b"slots = [3]\n", ".toml", "x")
    there = seen(told(1), told(2))

    bare, filled = check_tray(kit, there, filled=(1, 2)).rows[-1], check_tray(kit, there, filled=(1, 2, 3)).rows[-1]

    anywhere = check_tray(parse_kit(KIT, ".toml", "x"), there, filled=(1, 2, 9)).rows[-1]  # its position names no slot

    assert (bare.outcome, filled.outcome, anywhere.outcome) == ("missing", "undecided", "undecided")
    assert "slot 3" in filled.why
    assert "slot 9" in anywhere.why


def test_a_fault_that_one_tray_has_twice_is_on_one_tray() -> None:
    kit = Kit("box (invented)", (Item("k-file", 15, None, 2), Item("reamer", 30, None, 1)))
    empty, without_files = check_tray(kit, []), check_tray(kit, seen(told(1, "reamer", 30)))

    assert common_faults([empty, without_files]) == ["2 of 2 trays: missing: K-file 15", "1 of 2 trays: missing: reamer 30"]


def test_a_list_in_another_script_is_printed_in_its_letters(tmp_path: Path) -> None:
    name = "Лоток №3 Łódź"
    write_pages(tmp_path / "a.pdf", "Tray check", check_story(check_tray(Kit(name, ()), []), "Tray check", "Ä.jpg", None))
    document = pypdfium2.PdfDocument(tmp_path / "a.pdf")
    said = document[0].get_textpage().get_text_range()
    document.close()

    assert name in said
    assert "Ä.jpg" in said
