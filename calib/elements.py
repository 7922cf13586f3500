"""What a scale sheet is made of: frozen records in page millimetres, no drawing.

Page coordinates: origin at the page's top-left corner, x right, y down, as one reads the page, in mm.
All lengths are nominal, those of a print at exactly 100 %.
"""

from dataclasses import dataclass
from functools import cached_property
from typing import Literal

MARKER_DICTIONARY = "DICT_5X5_1000"
"""Name in cv2.aruco of the dictionary that every sheet uses."""

MARKER_MODULES = 7
"""Modules along one side of a marker: five of code and one of black border at each end."""

Point = tuple[float, float]
LaneKind = Literal["plain", "slot", "edge"]


@dataclass(frozen=True)
class Rect:
    """An axis-parallel rectangle, mm; (x0, y0) is the top-left corner."""

    x0_mm: float
    y0_mm: float
    x1_mm: float
    y1_mm: float

    @property
    def width_mm(self) -> float:
        """Extent along x."""
        return self.x1_mm - self.x0_mm

    @property
    def height_mm(self) -> float:
        """Extent along y."""
        return self.y1_mm - self.y0_mm

    @property
    def centre_mm(self) -> Point:
        """Middle of the rectangle."""
        return (self.x0_mm + self.x1_mm) / 2, (self.y0_mm + self.y1_mm) / 2

    def contains(self, x_mm: float, y_mm: float) -> bool:
        """Whether the point lies inside or on the outline."""
        return self.x0_mm <= x_mm <= self.x1_mm and self.y0_mm <= y_mm <= self.y1_mm


@dataclass(frozen=True)
class Marker:
    """One square code, printed upright; `side_mm` includes its black border."""

    id: int
    centre_mm: Point
    side_mm: float

    @property
    def module_mm(self) -> float:
        """Side of one module, the smallest square of the code."""
        return self.side_mm / MARKER_MODULES

    @property
    def corners_mm(self) -> tuple[Point, Point, Point, Point]:
        """Outer corners, 4 x 2, clockwise from the top-left one: the order of cv2.aruco."""
        (x, y), half = self.centre_mm, self.side_mm / 2
        return (x - half, y - half), (x + half, y - half), (x + half, y + half), (x - half, y + half)


@dataclass(frozen=True)
class Saddle:
    """A point where two black and two white cells meet diagonally; ink spread leaves it in place.

    `square_mm` is the shorter side of the smallest of the four cells, so the length of edge that is sure to leave the
    point in every direction. `clear_mm` is the half-width of the widest upright window about the point that shows
    nothing but the four cells (no corner of a marker). `dark_top_left` says which diagonal is black.
    """

    x_mm: float
    y_mm: float
    square_mm: float
    clear_mm: float
    dark_top_left: bool


@dataclass(frozen=True)
class Strip(Rect):
    """A checkerboard ribbon: one row of full squares between two rows of half squares.

    `runs_along` is the page axis that the ribbon follows. The white full squares carry one marker each; both rows of
    saddles lie on the long sides of the full row. `cells` are the solid black squares and half squares.
    """

    runs_along: Literal["x", "y"]
    square_mm: float
    half_mm: float
    markers: tuple[Marker, ...]
    saddles: tuple[Saddle, ...]
    cells: tuple[Rect, ...]


@dataclass(frozen=True)
class Lane(Rect):
    """A white space for one instrument.

    plain: no ink at all. slot: outline of a hole for the handle at one end. edge: no ink; its right end becomes the
    sheet's edge when the sheet is cut along the trim line. Uncut, an edge lane serves as a plain one, so the kind of a
    lane is no evidence of how an instrument rests.
    """

    number: int
    kind: LaneKind


@dataclass(frozen=True)
class Slot(Rect):
    """Outline of the hole to cut for a handle when the sheet is mounted on card half a handle thick."""

    lane_number: int
    radius_mm: float


@dataclass(frozen=True)
class Window(Rect):
    """Outline of the hole to cut for light from below; the shaft lies over it. On the plain sheets there is none."""

    lane_number: int
    radius_mm: float


@dataclass(frozen=True)
class Patch(Rect):
    """A field of one grey. `level` is the sRGB code / 255 asked of the printer; what it reflects is not known."""

    name: str
    level: float


@dataclass(frozen=True)
class CheckLine:
    """A line whose printed length the user measures, from the middle of one end tick to the middle of the other."""

    start_mm: Point
    end_mm: Point
    nominal_mm: float


@dataclass(frozen=True)
class CheckLines:
    """`along` runs with the paper feed (page y), `across` at right angles to it (page x)."""

    along: CheckLine
    across: CheckLine


@dataclass(frozen=True)
class Segment:
    """A straight line between two points, mm."""

    start_mm: Point
    end_mm: Point


@dataclass(frozen=True)
class Sheet:
    """One printable page; every number a reader, a renderer or the drawing needs. ``mat``: its lanes are a tray's numbered slots."""

    id: str
    paper: Literal["A4", "Letter"]
    revision: int
    width_mm: float
    height_mm: float
    block: Rect
    strips: tuple[Strip, ...]
    lanes: tuple[Lane, ...]
    slots: tuple[Slot, ...]
    patches: tuple[Patch, ...]
    check_lines: CheckLines
    trim_line: Segment
    windows: tuple[Window, ...] = ()
    mat: bool = False

    def __hash__(self) -> int:
        """By its id and revision: what is kept for a sheet is asked for at every photo, and it has hundreds of parts."""
        return hash((self.id, self.revision))

    @cached_property
    def markers(self) -> tuple[Marker, ...]:
        """All markers, strip by strip."""
        return tuple(marker for strip in self.strips for marker in strip.markers)

    @cached_property
    def saddles(self) -> tuple[Saddle, ...]:
        """All saddles, strip by strip."""
        return tuple(saddle for strip in self.strips for saddle in strip.saddles)

    @cached_property
    def dark_rects(self) -> tuple[Rect, ...]:
        """All solid black squares and half squares, strip by strip; the markers are not among them."""
        return tuple(cell for strip in self.strips for cell in strip.cells)
