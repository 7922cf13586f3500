"""The sheets that exist, by name and by marker. Import the types and the sheets from here."""

from collections.abc import Mapping
from functools import cache
from types import MappingProxyType

from calib.elements import (
    MARKER_DICTIONARY,
    MARKER_MODULES,
    CheckLine,
    CheckLines,
    Lane,
    Marker,
    Patch,
    Point,
    Rect,
    Saddle,
    Segment,
    Sheet,
    Slot,
    Strip,
)
from calib.errors import UnknownSheetError
from calib.layout import PAGES, build_sheet

__all__ = [
    "MARKER_DICTIONARY",
    "MARKER_MODULES",
    "CheckLine",
    "CheckLines",
    "Lane",
    "Marker",
    "Patch",
    "Point",
    "Rect",
    "Saddle",
    "Segment",
    "Sheet",
    "Slot",
    "Strip",
    "sheet_named",
    "sheet_of_marker",
    "sheets",
]


@cache
def sheets() -> Mapping[str, Sheet]:
    """Every sheet by its id, for instance 'A4-1'."""
    return MappingProxyType({page.id: build_sheet(page) for page in PAGES})


def sheet_named(sheet_id: str) -> Sheet:
    """The sheet of that id; raises UnknownSheetError naming those that exist."""
    try:
        return sheets()[sheet_id]
    except KeyError:
        raise UnknownSheetError(f"no sheet {sheet_id!r}: this version knows {', '.join(sheets())}") from None


@cache
def _sheet_by_marker() -> Mapping[int, Sheet]:
    return MappingProxyType({marker.id: sheet for sheet in sheets().values() for marker in sheet.markers})


def sheet_of_marker(marker_id: int) -> Sheet | None:
    """The sheet that carries this marker, or None. No id is on two sheets, so one marker tells sheet and revision."""
    return _sheet_by_marker().get(int(marker_id))
