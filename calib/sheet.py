"""The sheets, window cards and tray mats that exist, by name and by marker. Import the types and the sheets from here."""

from collections.abc import Mapping
from functools import cache
from types import MappingProxyType

from calib.card_layout import CARD_PAGES, build_card
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
    Window,
)
from calib.errors import UnknownSheetError
from calib.layout import PAGES, build_sheet
from calib.mat_layout import MAT_PAGES, build_mat

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
    "Window",
    "cards",
    "every_sheet",
    "mats",
    "sheet_named",
    "sheet_of_marker",
    "sheets",
]


@cache
def sheets() -> Mapping[str, Sheet]:
    """Every scale sheet by its id, for instance 'A4-1'; the window cards are not among them."""
    return MappingProxyType({page.id: build_sheet(page) for page in PAGES})


@cache
def cards() -> Mapping[str, Sheet]:
    """Every window card by its id, for instance 'A4-W1': a sheet with a window for light from below."""
    return MappingProxyType({page.id: build_card(page) for page in CARD_PAGES})


@cache
def mats() -> Mapping[str, Sheet]:
    """Every tray mat by its id, for instance 'A4-M1': a sheet with numbered slots, to lie in a tray."""
    return MappingProxyType({page.id: build_mat(page) for page in MAT_PAGES})


@cache
def every_sheet() -> Mapping[str, Sheet]:
    """Scale sheets, window cards and tray mats by id: whatever a photo may show or a print check may name."""
    return MappingProxyType({**sheets(), **cards(), **mats()})


def sheet_named(sheet_id: str) -> Sheet:
    """The sheet of that id; raises UnknownSheetError naming those that exist."""
    try:
        return every_sheet()[sheet_id]
    except KeyError:
        raise UnknownSheetError(f"no sheet {sheet_id!r}: this version knows {', '.join(every_sheet())}") from None


@cache
def _sheet_by_marker() -> Mapping[int, Sheet]:
    return MappingProxyType({marker.id: sheet for sheet in every_sheet().values() for marker in sheet.markers})


def sheet_of_marker(marker_id: int) -> Sheet | None:
    """The sheet that carries this marker, or None. No id is on two sheets, so one marker tells sheet and revision."""
    return _sheet_by_marker().get(int(marker_id))
