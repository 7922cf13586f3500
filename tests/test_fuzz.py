"""Made-up and mangled files, a short run of each target: an error in words or none, never another one. Long: python -m tests.fuzz."""

from __future__ import annotations

import io
import json
import sqlite3
import time
import zipfile
from pathlib import Path

import pytest
from fuzz.targets import TARGETS, TOLD, seeds
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import vision.photo
from vision.errors import UsageError
from vision.past import earlier_instrument
from vision.records.database import FILE, open_records
from vision.records.export import import_into
from vision.records.readings import reading
from vision.records.search import Filter, find
from vision.tray.kit import parse_kit

FEW = settings(
    max_examples=40, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow]
)
JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=12), inner, max_size=4),
    max_leaves=12,
)


@st.composite
def mangled(draw: st.DrawFn, name: str) -> bytes:
    """A seed cut, with bytes changed, doubled or put in; or anything at all."""
    if draw(st.integers(0, 9)) == 0:
        return draw(st.binary(max_size=300))
    data = bytearray(draw(st.sampled_from(seeds(name))))
    for _ in range(draw(st.integers(1, 6))):
        at = draw(st.integers(0, max(len(data) - 1, 0)))
        kind = draw(st.sampled_from(["set", "cut", "put", "double"]))
        if kind == "set" and data:
            data[at] = draw(st.integers(0, 255))
        elif kind == "cut":
            del data[at : at + draw(st.integers(1, 60))]
        elif kind == "put":
            data[at:at] = draw(st.binary(min_size=1, max_size=8))
        else:
            data[at:at] = data[at : at + 40]
    return bytes(data)


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("name", TARGETS)
def test_mangled_files_are_told_in_words(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(vision.photo, "MIN_SIDE_PX", 8)

    @FEW
    @given(mangled(name))
    def check(data: bytes) -> None:
        TARGETS[name](data)

    check()


DEEP, LONG = b"[" * 20_000, b"9" * 5000


@pytest.mark.parametrize("name", ["profile", "prints", "pieces", "lists", "words"])
@pytest.mark.parametrize("data", [b"a = " + DEEP, b"size = " + LONG, DEEP, LONG, b'family\n"' + b"x" * 200_000 + b'"\n'], ids=range(5))
def test_brackets_digits_and_fields_without_end_are_told_in_words(name: str, data: bytes) -> None:
    """Python's own parsers give up on these with other errors than on a slip of the pen."""
    TARGETS[name](data)


def test_a_sheet_of_one_cell_at_its_far_corner_costs_nothing(tmp_path: Path) -> None:
    """Excel's last cell is XFD1048576: a sheet that holds it alone has 17 thousand million cells."""
    openpyxl = pytest.importorskip("openpyxl")
    book = openpyxl.Workbook()
    for cell, value in (("A1", "family"), ("B1", "size"), ("A2", "k-file"), ("B2", 25), ("XFD1048576", "x")):
        book.active[cell] = value
    book.save(tmp_path / "far.xlsx")
    began = time.monotonic()
    kit = parse_kit((tmp_path / "far.xlsx").read_bytes(), ".xlsx", "far")

    assert [(item.family, item.size) for item in kit.items] == [("k-file", 25)]
    assert time.monotonic() - began < 10.0


def test_a_list_that_swells_is_refused() -> None:
    data = io.BytesIO()
    with zipfile.ZipFile(data, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("xl/workbook.xml", bytes(60_000_000))
    assert len(data.getvalue()) < 100_000
    with pytest.raises(UsageError, match="cannot be read as XLSX"):
        parse_kit(data.getvalue(), ".xlsx", "bomb")
    with pytest.raises(UsageError, match="is it a list"):
        parse_kit(b"family,size\n" * 300_000, ".csv", "endless")


@pytest.mark.parametrize(
    "shown",
    [[1], [[]], ["x"], [{"d0_mm": 3}], [{"d0_mm": {"value": "", "u": 1}}], [{"pitch_mm": {"value": 1}}], [{"d0_mm": {"value": 1, "u": 0}}]],
    ids=range(7),
)
def test_an_earlier_reading_that_somebody_edited_is_told_in_words(shown: list[object], tmp_path: Path) -> None:
    (tmp_path / "before.json").write_text(json.dumps({"combined": None, "photos": [{"instruments": shown}]}))
    with pytest.raises(UsageError, match="is no earlier reading"):
        earlier_instrument(tmp_path / "before.json")


@FEW
@given(JSON)
def test_any_json_as_print_checks(value: object) -> None:
    TARGETS["prints"](json.dumps(value).encode())


@settings(FEW, max_examples=12)
@given(contents=JSON, rows=JSON)
def test_any_json_as_an_export(tmp_path_factory: pytest.TempPathFactory, contents: object, rows: object) -> None:
    folder = tmp_path_factory.mktemp("export")
    (folder / "tables.json").write_text(json.dumps(contents))
    (folder / "kit.json").write_text(json.dumps(rows))
    with pytest.raises(TOLD):
        import_into(folder, folder / "records")


@settings(FEW, max_examples=12)
@given(data=st.data())
def test_records_with_damaged_bytes_are_told_in_words(filled: Path, tmp_path_factory: pytest.TempPathFactory, data: st.DataObject) -> None:
    folder = tmp_path_factory.mktemp("damaged")
    with sqlite3.connect(filled / FILE) as source, sqlite3.connect(folder / FILE) as copy:
        source.backup(copy)
    copy.close()
    source.close()
    bytes_ = bytearray((folder / FILE).read_bytes())
    for _ in range(data.draw(st.integers(1, 30))):
        bytes_[data.draw(st.integers(0, len(bytes_) - 1))] = data.draw(st.integers(0, 255))
    (folder / FILE).write_bytes(bytes_)
    try:
        with open_records(folder) as records:
            find(records, Filter(), limit=10)
            reading(records, 1)
    except TOLD as error:
        assert "\n" not in str(error)  # noqa: PT017 - whether it comes depends on where the damage lies
