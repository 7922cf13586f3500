"""What a tray must hold: a list that people can read and edit, as TOML, CSV or XLSX."""

from __future__ import annotations

import csv
import io
import math
import tomllib
import zipfile
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from vision.errors import UsageError
from vision.nominal import HALF_SIZES, LENGTHS_MM, SIZES
from vision.tray.told import ORDER, Told

KNOWN_SIZES = (*SIZES, *HALF_SIZES)
HEADER = ("family", "size", "length_mm", "count", "slots")
MOST_COUNT, MOST_SLOT = 48, 48
SUFFIXES = (".toml", ".csv", ".xlsx")
MOST_BYTES, MOST_UNPACKED = 2_000_000, 20_000_000  # of a list; a list of 48 lines has some kilobytes
MOST_ROWS, MOST_COLUMNS = 1000, 20  # of a sheet: one cell at its far corner would make it one of 17 thousand million cells


@dataclass(frozen=True)
class Item:
    """One line of a list: so many of one family, size and length. ``slots``: one for each piece, or none."""

    family: str
    size: int | None
    length_mm: float | None
    count: int
    slots: tuple[int, ...] = ()


@dataclass(frozen=True)
class Kit:
    """A named list."""

    name: str
    items: tuple[Item, ...]

    @property
    def total(self) -> int:
        """How many instruments it asks for."""
        return sum(item.count for item in self.items)


def read_kit(path: Path) -> Kit:
    """Read a list. Raises UsageError with a clear sentence: what was found, what is needed, where."""
    if not path.is_file():
        raise UsageError(f"found no list {path}: 'flutegauge tray list PHOTO --out {path.stem}.toml' writes one from a photo")
    suffix = path.suffix.lower()
    if suffix not in SUFFIXES:
        raise UsageError(f"{path.name} ends in {suffix or 'nothing'}, a list ends in .toml, .csv or .xlsx: save it as one of these")
    with path.open("rb") as file:
        return parse_kit(file.read(MOST_BYTES + 1), suffix, path.stem)


def parse_kit(data: bytes, suffix: str, name: str) -> Kit:
    """Read a list from bytes. Raises UsageError."""
    if len(data) > MOST_BYTES:
        raise UsageError(f"the list {name} has more than {MOST_BYTES} bytes: is it a list?")
    if suffix == ".toml":
        name, rows = _from_toml(data, name)
    elif suffix == ".csv":
        rows = _from_csv(data)
    else:
        rows = _from_xlsx(data)
    return checked_kit(name, rows)


def checked_kit(name: str, rows: Iterable[tuple[str, Mapping[str, Any]]]) -> Kit:
    """Check (where, row) pairs and make the list. Raises UsageError."""
    items = tuple(_item(where, row) for where, row in rows)
    if not items:
        raise UsageError(f"the list {name} holds no instrument, needs at least one line with family and size")
    seen: dict[int, Item] = {}
    for item in items:
        for slot in item.slots:
            if slot in seen:
                raise UsageError(f"slot {slot} is given to {_words(seen[slot])} and to {_words(item)}: one slot holds one instrument")
            seen[slot] = item
    return Kit(name, items)


def kit_text(kit: Kit) -> str:
    """The list as TOML, to be read and edited by people."""
    lines = ["# What this tray must hold. family: " + ", ".join(ORDER)]
    lines += ["# size: the ISO number; length_mm, slots: leave out if any will do", ""]
    lines.append(f'name = "{_quoted(kit.name)}"')
    for item in kit.items:
        lines += ["", "[[item]]", f'family = "{item.family}"']
        lines += [f"size = {item.size}"] if item.size is not None else []
        lines += [f"length_mm = {item.length_mm:g}"] if item.length_mm is not None else []
        lines.append(f"count = {item.count}")
        lines += [f"slots = [{', '.join(str(slot) for slot in item.slots)}]"] if item.slots else []
    return "\n".join(lines) + "\n"


def kit_csv(kit: Kit) -> str:
    """The same as CSV."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(HEADER)
    for item in kit.items:
        length = "" if item.length_mm is None else f"{item.length_mm:g}"
        writer.writerow([item.family, item.size or "", length, item.count, " ".join(str(slot) for slot in item.slots)])
    return out.getvalue()


def write_kit(kit: Kit, path: Path) -> None:
    """Write a list in the format of the file's ending. Raises UsageError, OSError."""
    suffix = path.suffix.lower()
    if suffix == ".xlsx":
        _to_xlsx(kit, path)
    elif suffix in SUFFIXES:
        path.write_text(kit_text(kit) if suffix == ".toml" else kit_csv(kit), encoding="utf-8")
    else:
        raise UsageError(f"{path.name} ends in {suffix or 'nothing'}, a list ends in .toml, .csv or .xlsx")


def kit_of(told: Sequence[Told], name: str, *, slots: bool) -> tuple[Kit, list[Told]]:
    """A list that asks for what lies on a correct tray, and what could not be put on it because it is open."""
    lines: dict[tuple[str, int | None, float | None], list[Told]] = {}
    open_ = []
    for one in told:
        if one.kind != "named" or one.family is None:
            open_.append(one)
            continue
        lines.setdefault((one.family, one.size, _standard(one)), []).append(one)
    items = []
    for (family, size, length), members in sorted(lines.items(), key=lambda i: (ORDER.index(i[0][0]), i[0][1] or 0, i[0][2] or 0.0)):
        lanes = tuple(sorted(one.lane for one in members if one.lane is not None))
        whole = slots and len(set(lanes)) == len(members)
        items.append(Item(family, size, length, len(members), lanes if whole else ()))
    return Kit(name, tuple(items)), open_


def _standard(one: Told) -> float | None:
    """The standard length that the measured one is, None where none is within 1 mm."""
    if one.length_mm is None:
        return None
    nearest = min(LENGTHS_MM, key=lambda full: abs(full - (one.length_mm or 0.0)))
    return nearest if abs(nearest - one.length_mm) < 1.0 else None


def _item(where: str, row: Mapping[str, Any]) -> Item:
    family = "-".join(str(row.get("family") or "").lower().split())
    if family not in ORDER:
        raise UsageError(f"{where}: family {family or 'is missing'!s} is none of {', '.join(ORDER)}")
    size = _whole(where, "size", row.get("size"))
    if size is not None and size not in KNOWN_SIZES:
        near = sorted(KNOWN_SIZES, key=lambda s: abs(s - size))[:2]
        raise UsageError(f"{where}: there is no size {size}, the nearest are {min(near)} and {max(near)}")
    if size is None and family in ORDER[:4]:
        raise UsageError(f"{where}: a {family} needs a size, none is given")
    count = _whole(where, "count", row.get("count"))
    count = 1 if count is None else count
    if not 1 <= count <= MOST_COUNT:
        raise UsageError(f"{where}: count is {count}, can be 1 to {MOST_COUNT}")
    slots = _slots(where, row.get("slots"))
    if slots and len(slots) != count:
        raise UsageError(f"{where}: {len(slots)} slots for a count of {count}: give one slot each, or none")
    return Item(family, size, _length(where, row.get("length_mm")), count, slots)


def _whole(where: str, name: str, value: Any) -> int | None:
    if value is None or str(value).strip() == "":
        return None
    try:
        number = float(str(value).strip().replace(",", "."))
    except ValueError:
        number = float("nan")
    if not math.isfinite(number) or number != round(number):
        raise UsageError(f"{where}: {name} is {str(value)!r}, needs a whole number")
    return int(number)


def _length(where: str, value: Any) -> float | None:
    if value is None or str(value).strip() == "":
        return None
    try:
        length = float(str(value).replace(",", "."))
    except ValueError:
        length = float("nan")
    if not 10.0 <= length <= 40.0:
        raise UsageError(f"{where}: length_mm is {str(value)!r}, needs 10 to 40 mm, as 21, 25, 28 or 31")
    return length


def _slots(where: str, value: Any) -> tuple[int, ...]:
    if value is None or (isinstance(value, str) and not value.strip()):
        return ()
    parts = value if isinstance(value, list) else str(value).replace(",", " ").replace(";", " ").split()
    slots = tuple(_whole(where, "a slot", part) or 0 for part in parts)
    wrong = [slot for slot in slots if not 1 <= slot <= MOST_SLOT]
    if wrong:
        raise UsageError(f"{where}: slot {wrong[0]} does not exist, slots are 1 to {MOST_SLOT}")
    if len(set(slots)) != len(slots):
        raise UsageError(f"{where}: slot {next(s for s in slots if slots.count(s) > 1)} is given twice: one slot holds one instrument")
    return slots


def _from_toml(data: bytes, name: str) -> tuple[str, list[tuple[str, Mapping[str, Any]]]]:
    try:
        read = tomllib.loads(data.decode("utf-8"))
    except (ValueError, RecursionError) as error:
        raise UsageError(f"the list {name} cannot be read as TOML ({error}): README shows one") from error
    items = read.get("item", [])
    if not isinstance(items, list) or not all(isinstance(item, dict) for item in items):
        raise UsageError(f"the list {name} needs [[item]] tables: README shows one")
    return " ".join(str(read.get("name", name)).split()), [(f"{name}, item {k}", item) for k, item in enumerate(items, 1)]


def _from_csv(data: bytes) -> list[tuple[str, Mapping[str, Any]]]:
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise UsageError("the list is no UTF-8 text: save it as 'CSV UTF-8'") from error
    first = text.splitlines()[0] if text.strip() else ""
    rows = csv.reader(io.StringIO(text), delimiter=";" if first.count(";") > first.count(",") else ",")
    try:
        return _from_rows(list(rows))
    except csv.Error as error:
        raise UsageError(f"the list cannot be read as CSV ({error}): save it again") from error


def _from_xlsx(data: bytes) -> list[tuple[str, Mapping[str, Any]]]:
    try:
        from openpyxl import load_workbook  # noqa: PLC0415 - an extra
    except ImportError as error:
        raise UsageError("XLSX lists need the extra 'xlsx': pip install 'flutegauge[xlsx]', or save the list as CSV") from error
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as packed:
            swollen = sum(one.file_size for one in packed.infolist())
        if swollen > MOST_UNPACKED:
            raise ValueError("no list unpacks to so much")
        book = load_workbook(io.BytesIO(data), read_only=True, data_only=True)
        cells = book.worksheets[0].iter_rows(max_row=MOST_ROWS, max_col=MOST_COLUMNS, values_only=True)
        rows = [["" if cell is None else str(cell) for cell in row] for row in cells]
        book.close()
    except Exception as error:  # a damaged archive fails in many ways
        raise UsageError("the list cannot be read as XLSX: save it again, or as CSV") from error
    return _from_rows(rows)


def _from_rows(rows: Sequence[Sequence[str]]) -> list[tuple[str, Mapping[str, Any]]]:
    filled = [(k, row) for k, row in enumerate(rows, 1) if any(cell.strip() for cell in row)]
    if not filled:
        return []
    head = [cell.strip().lower() for cell in filled[0][1]]
    unknown = [name for name in head if name and name not in HEADER]
    if "family" not in head or unknown:
        raise UsageError(f"the list's first line is {', '.join(head)!r}, needs the columns {', '.join(HEADER)} (the last three may miss)")
    return [(f"line {k}", dict(zip(head, row, strict=False))) for k, row in filled[1:]]


def _to_xlsx(kit: Kit, path: Path) -> None:
    try:
        from openpyxl import Workbook  # noqa: PLC0415 - an extra
    except ImportError as error:
        raise UsageError("XLSX lists need the extra 'xlsx': pip install 'flutegauge[xlsx]', or write .toml or .csv") from error
    book = Workbook()
    for row in csv.reader(io.StringIO(kit_csv(kit))):
        book.active.append([int(cell) if cell.isdigit() else cell for cell in row])
    book.save(path)


def _words(item: Item) -> str:
    return f"{item.family} {item.size}" if item.size is not None else item.family


def _quoted(text: str) -> str:
    return text.replace("\\", "\\\\").replace('"', '\\"').replace("\n", " ")
