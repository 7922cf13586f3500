"""Numbers -> plots as lines and ticks, in units of a small fixed canvas so that they stay readable on a phone."""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

Json = dict[str, Any]
WIDTH, HEIGHT = 380.0, 200.0
MOST_PITCHES = 3.0
LEFT, RIGHT, TOP, BOTTOM = 46.0, 10.0, 12.0, 26.0


@dataclass(frozen=True)
class Tick:
    """A tick on an axis: its place on the canvas and its label."""

    at: float
    label: str


@dataclass(frozen=True)
class Series:
    """One line or set of points; ``kind``: 'solid', 'dashed', 'points' or 'bars' (x, low, high triples)."""

    kind: str
    words: str
    points: tuple[tuple[float, ...], ...]

    @property
    def path(self) -> str:
        """The points as an SVG path."""
        return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in self.points) if self.points else ""


@dataclass(frozen=True)
class Band:
    """A finding's stretch along x."""

    letter: str
    x0: float
    x1: float


@dataclass(frozen=True)
class Plot:
    """A plot on a canvas of WIDTH x HEIGHT; ``x_mm`` are the x values at LEFT and at WIDTH - RIGHT."""

    name: str
    words: str
    x_words: str
    x_range: tuple[float, float]
    x_ticks: tuple[Tick, ...]
    y_ticks: tuple[Tick, ...]
    series: tuple[Series, ...]
    bands: tuple[Band, ...] = ()
    width: float = WIDTH
    height: float = HEIGHT
    left: float = LEFT
    right: float = WIDTH - RIGHT
    top: float = TOP
    bottom: float = HEIGHT - BOTTOM


def profile_plot(trace: Json, findings: Sequence[Json], words: Any) -> Plot | None:
    """Return both edges over the place along the instrument, mm."""
    rows = _thinned(trace["profile"], 400)
    if len(rows) < 2:
        return None
    x_range = _x_range(trace)
    y = [value for row in rows for value in row[1:]]
    edges: list[tuple[str, str, Sequence[tuple[float, ...]]]] = [
        ("solid", words["reading.upper"], [(row[0], row[1]) for row in rows]),
        ("dashed", words["reading.lower"], [(row[0], row[2]) for row in rows]),
    ]
    return _plot(
        "profile", words["reading.profile"], words["reading.x_axis"], x_range, (min(y), max(y)), edges, findings
    )


def pitch_plot(trace: Json, findings: Sequence[Json], words: Any) -> Plot | None:
    """Return the local pitch and its healthy trend over the place along the instrument, mm.

    Pitches beyond MOST_PITCHES times the usual one are drawn at the upper edge; the table of numbers has them in full.
    """
    pitch, trend = trace["pitch"], trace["trend"]
    if len(pitch) < 2:
        return None
    y = [row[1] for row in (*pitch, *trend)]
    usual = statistics.median(row[1] for row in (trend or pitch))
    low, high = min(y), min(max(y), MOST_PITCHES * usual)  # a place without flutes would flatten all the rest
    pitch = [(row[0], min(row[1], high)) for row in pitch]
    series: list[tuple[str, str, Sequence[tuple[float, ...]]]] = [
        ("points", words["reading.pitch_points"], [tuple(row) for row in pitch])
    ]
    if trend:
        series.append(("dashed", words["reading.pitch_trend"], [tuple(row) for row in trend]))
    middle = (low + high) / 2.0
    room = max(high - low, 0.1 * middle) / 2.0
    y_range = (max(middle - room, 0.0), middle + room)
    return _plot("pitch", words["reading.pitch"], words["reading.x_axis"], _x_range(trace), y_range, series, findings)


def trend_plot(name: str, title: str, points: Sequence[Any]) -> Plot | None:
    """Return a quantity over an instrument's readings, bars of plus and minus 2 u; None with fewer than two."""
    if len(points) < 2:
        return None
    values = [edge for point in points for edge in (point.value - 2 * point.u, point.value + 2 * point.u)]
    numbered = list(enumerate(points, start=1))
    x_range = (0.5, len(points) + 0.5)
    series: list[tuple[str, str, Sequence[tuple[float, ...]]]] = [
        ("bars", "", [(n, p.value - 2 * p.u, p.value + 2 * p.u) for n, p in numbered]),
        ("solid", "", [(n, p.value) for n, p in numbered]),
        ("points", "", [(n, p.value) for n, p in numbered]),
    ]
    made = _plot(name, title, "", x_range, (min(values), max(values)), series, ())
    step = max(1, math.ceil(len(points) / 4))
    ticks = tuple(Tick(_at(n, x_range, LEFT, WIDTH - RIGHT), p.at[:10]) for n, p in numbered[::step])
    return Plot(**{**vars(made), "x_ticks": ticks})


def numbers_of(trace: Json) -> list[tuple[str, str, str, str]]:
    """Return the plots' numbers for every whole mm: place, width, pitch, trend; an empty text where there is none."""
    rows = trace["profile"]
    if not rows:
        return []
    last = int(max(row[0] for row in rows))
    return [
        (
            str(x),
            _near(rows, x, lambda row: row[1] - row[2], 3),
            _near(trace["pitch"], x, _second, 3),
            _near(trace["trend"], x, _second, 3),
        )
        for x in range(max(last, 0) + 1)
    ]


def _second(row: Sequence[float]) -> float:
    return row[1]


def _near(rows: Sequence[Sequence[float]], x: float, value: Any, decimals: int) -> str:
    """Return the value of the row nearest to x, within 0.6 mm."""
    near = min(rows, key=lambda row: abs(row[0] - x), default=None)
    return "" if near is None or abs(near[0] - x) > 0.6 else f"{value(near):.{decimals}f}"


def _plot(
    name: str,
    words: str,
    x_words: str,
    x_range: tuple[float, float],
    y_range: tuple[float, float],
    series: Sequence[tuple[str, str, Sequence[tuple[float, ...]]]],
    findings: Sequence[Json],
) -> Plot:
    room = 0.06 * (y_range[1] - y_range[0]) or 0.01
    y_range = (y_range[0] - room, y_range[1] + room)

    def to_x(x: float) -> float:
        return round(_at(x, x_range, LEFT, WIDTH - RIGHT), 1)

    def to_y(y: float) -> float:
        return round(_at(y, y_range, HEIGHT - BOTTOM, TOP), 1)

    return Plot(
        name=name,
        words=words,
        x_words=x_words,
        x_range=x_range,
        x_ticks=tuple(Tick(to_x(x), f"{x:g}") for x in _nice(x_range, 6)),
        y_ticks=tuple(Tick(to_y(y), f"{y:g}") for y in _nice(y_range, 5)),
        series=tuple(
            Series(kind, said, tuple((to_x(row[0]), *(to_y(y) for y in row[1:])) for row in rows))
            for kind, said, rows in series
        ),
        bands=tuple(
            Band(letter, to_x(max(finding["from_mm"], x_range[0])), to_x(min(finding["to_mm"], x_range[1])))
            for letter, finding in zip("ABCDEFGHIJKLM", findings, strict=False)
        ),
    )


def _x_range(trace: Json) -> tuple[float, float]:
    ends = [row[0] for row in trace["profile"]] or [0.0, 16.0]
    return (min(ends[0], 0.0) - 0.3, max(ends) + 0.3)


def _at(value: float, given: tuple[float, float], first: float, last: float) -> float:
    return first + (value - given[0]) / (given[1] - given[0]) * (last - first)


def _nice(given: tuple[float, float], most: int) -> list[float]:
    """Return round numbers inside a range, at most so many: steps of 1, 2 or 5 times a power of ten."""
    rough = (given[1] - given[0]) / most
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(power * factor for factor in (1.0, 2.0, 5.0, 10.0) if power * factor >= rough)
    first = math.ceil(given[0] / step)
    return [round(n * step, 10) for n in range(first, math.floor(given[1] / step) + 1)]


def _thinned(rows: Sequence[Sequence[float]], most: int) -> list[Sequence[float]]:
    step = max(1, math.ceil(len(rows) / most))
    return list(rows[::step])
