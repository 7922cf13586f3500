"""Lists of what a tray must hold: the same in every format, written from a correct tray, refused in one sentence."""

from __future__ import annotations

from pathlib import Path

import pytest
from test_tray import KIT, seen, told

from vision.errors import UsageError
from vision.tray.check import check_tray, positions
from vision.tray.kit import kit_csv, kit_of, kit_text, parse_kit, read_kit, write_kit


@pytest.mark.parametrize("ending", [".toml", ".csv", ".xlsx"])
def test_a_list_is_the_same_in_every_format(tmp_path: Path, ending: str) -> None:
    kit = parse_kit(KIT, ".toml", "x")
    path = tmp_path / f"x{ending}"

    write_kit(kit, path)

    assert read_kit(path).items == kit.items


def test_a_list_from_a_correct_tray_matches_that_tray() -> None:
    kit, open_ = kit_of([told(1), told(2), told(3, "reamer", 30), told(4, None, None, kind="undecided")], "x", slots=True)

    assert [one.number for one in open_] == [4]
    assert kit.items[0].slots == (1, 2)
    assert [row.outcome for row in check_tray(kit, seen(told(1), told(2), told(3, "reamer", 30))).rows] == ["matches list"] * 3
    assert len(positions(parse_kit(kit_text(kit).encode(), ".toml", "x"))) == 3
    assert parse_kit(kit_csv(kit).encode(), ".csv", "x").items == kit.items


@pytest.mark.parametrize(
    ("text", "ending", "said"),
    [
        ("family,size\nk-file,26\n", ".csv", "there is no size 26, the nearest are 25 and 27"),
        ("family,size,count,slots\nk-file,25,1,3\nreamer,30,1,3\n", ".csv", "slot 3 is given to k-file 25 and to reamer 30"),
        ("family,size\nscrew,25\n", ".csv", "family screw is none of"),
        ("family,size,count,slots\nk-file,25,2,3\n", ".csv", "1 slots for a count of 2"),
        ("family,size,count\nk-file,25,0\n", ".csv", "count is 0"),
        ("family,size,length_mm\nk-file,25,250\n", ".csv", "needs 10 to 40 mm"),
        ("kind,size\nk-file,25\n", ".csv", "needs the columns"),
        ("family,size\n", ".csv", "holds no instrument"),
        ("[[item]\n", ".toml", "cannot be read as TOML"),
        ("not a workbook", ".xlsx", "cannot be read as XLSX"),
    ],
)
def test_a_bad_list_is_refused_in_one_sentence(text: str, ending: str, said: str) -> None:
    with pytest.raises(UsageError, match=said):
        parse_kit(text.encode(), ending, "list")


@pytest.mark.parametrize("path", sorted((Path(__file__).parent.parent / "samples" / "kits").iterdir()), ids=lambda path: path.name)
def test_the_invented_kits_can_be_read(path: Path) -> None:
    assert read_kit(path).total >= 7
