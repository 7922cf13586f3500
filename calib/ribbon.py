"""Builds one checkerboard ribbon with its markers and saddles."""

from collections.abc import Iterator
from typing import Literal

from calib.elements import Marker, Point, Rect, Saddle, Strip


def ribbon(
    x0_mm: float,
    y0_mm: float,
    *,
    runs_along: Literal["x", "y"],
    squares: int,
    square_mm: float,
    half_mm: float,
    marker_mm: float,
    first_id: int,
) -> Strip:
    """Lay a ribbon with its top-left corner at (x0_mm, y0_mm).

    The full row starts black, so `squares` // 2 of its squares are white and carry the markers `first_id` onwards.
    Points on the ribbon's short ends border on blank paper, have one black cell at most, and are not saddles.
    """
    size_mm = (squares * square_mm, square_mm + 2 * half_mm)
    rows = ((0.0, half_mm), (half_mm, half_mm + square_mm), (half_mm + square_mm, size_mm[1]))

    def place(along_mm: float, across_mm: float) -> Point:
        u, v = (along_mm, across_mm) if runs_along == "x" else (across_mm, along_mm)
        return round(x0_mm + u, 6), round(y0_mm + v, 6)

    def cells() -> Iterator[Rect]:
        for row, (top_mm, bottom_mm) in enumerate(rows):
            for k in range((row + 1) % 2, squares, 2):
                yield Rect(*place(k * square_mm, top_mm), *place((k + 1) * square_mm, bottom_mm))

    def saddles() -> Iterator[Saddle]:
        for row in (1, 2):
            for k in range(1, squares):
                x_mm, y_mm = place(k * square_mm, rows[row][0])
                yield Saddle(
                    x_mm,
                    y_mm,
                    square_mm=min(half_mm, square_mm),
                    clear_mm=round(min(half_mm, (square_mm - marker_mm) / 2), 6),
                    # In the first row above row 1 black falls on odd k, and the cell before the point is k - 1.
                    dark_top_left=(k + row) % 2 == 1,
                )

    def markers() -> Iterator[Marker]:
        for n, k in enumerate(range(1, squares, 2)):
            yield Marker(first_id + n, place((k + 0.5) * square_mm, half_mm + square_mm / 2), marker_mm)

    return Strip(
        *place(0, 0),
        *place(*size_mm),
        runs_along=runs_along,
        square_mm=square_mm,
        half_mm=half_mm,
        markers=tuple(markers()),
        saddles=tuple(saddles()),
        cells=tuple(cells()),
    )
