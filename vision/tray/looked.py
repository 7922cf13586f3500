"""A photo of a tray -> what every instrument on it is told to be, and where on the sheet it lies."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.find import Candidate
from vision.instrument import Measured
from vision.quantity import short_of
from vision.reading import InstrumentReading, PhotoReading
from vision.scale import Scale
from vision.together import Looked
from vision.tray.from_above import damage_shown
from vision.tray.slots import filled_lanes
from vision.tray.told import Told, tell
from vision.twice import NOT_COUNTED

Array = NDArray[np.floating[Any]]
LEAST_PX_PER_MM = 12.0  # flutes of small sizes are lost below


@dataclass(frozen=True)
class TrayPhoto:
    """One photo of a tray: its reading, what is told of each instrument, and why the photo should be taken again, if so.

    ``filled``: numbers of the lanes or slots in which something lies, read or not.
    """

    reading: PhotoReading
    told: tuple[Told, ...]
    sheet: str | None
    retake: str | None
    filled: tuple[int, ...] = ()

    @property
    def left_out(self) -> tuple[str, ...]:
        """What was seen and not counted, a sentence each."""
        return tuple(f"{self.file}: {note}" for note in self.reading.notes if note.startswith(NOT_COUNTED))

    @property
    def file(self) -> str:
        """Name of the photo."""
        return self.reading.file


def tray_photo(reading: PhotoReading, looked: Looked | None) -> TrayPhoto:
    """Tell a photo's instruments. ``looked`` None: the photo could not be examined."""
    if reading.error is not None or looked is None:
        return TrayPhoto(reading, (), None, reading.error[1] if reading.error else "it could not be examined")
    made = {one.id: (candidate, seen) for one, (candidate, seen) in zip(looked.readings, looked.found, strict=True)}
    told = [_told(one, reading.file, looked, made.get(one.id)) for one in reading.instruments]
    sheet = looked.scale.sheet.id if looked.scale.sheet is not None else None
    filled = filled_lanes(looked.plane, looked.relative, looked.scale)
    return TrayPhoto(reading, tuple(told), sheet, _retake(looked.scale, told, looked), filled)


def _told(one: InstrumentReading, file: str, looked: Looked, made: tuple[Candidate, Measured] | None) -> Told:
    """What is told of one instrument; ``made`` is what the stages made of it, None where no outline could be followed."""
    line = np.asarray(one.trace.axis_px if made is None else made[1].axis.px)
    place, direction = _on_sheet(looked.scale, one, line)
    lane = lane_at(looked.scale, place)
    if made is None:
        return tell(one, file, place_mm=place, axis_deg=direction, lane=lane, unread=True)
    cut = made[0].cut and (one.tip_px is None or one.handle_px is None)
    return tell(one, file, place_mm=place, axis_deg=direction, lane=lane, cut=cut, damage=damage_shown(one, *made, looked))


def lane_at(scale: Scale, place_mm: tuple[float, float] | None) -> int | None:
    """Number of the lane in which a place of the page lies, the ribbons above and below shared between neighbours."""
    if scale.sheet is None or place_mm is None:
        return None
    x, y = place_mm[0] / scale.print_scale[0], place_mm[1] / scale.print_scale[1]
    near = [lane for lane in scale.sheet.lanes if lane.x0_mm - 6.0 <= x <= lane.x1_mm + 6.0]
    if not near:
        return None
    best = min(near, key=lambda lane: abs((lane.y0_mm + lane.y1_mm) / 2.0 - y))
    half = (best.y1_mm - best.y0_mm) / 2.0 + 2.4
    return best.number if abs((best.y0_mm + best.y1_mm) / 2.0 - y) <= half else None


def _on_sheet(scale: Scale, one: InstrumentReading, line_px: Array) -> tuple[tuple[float, float] | None, float | None]:
    if scale.sheet is None:
        return None, None
    axis = scale.to_plane_mm(line_px[[0, len(line_px) // 2, -1]])
    run = axis[2] - axis[0]
    place = axis[1]
    if one.tip_px is not None and one.handle_px is not None:
        ends = scale.to_plane_mm(np.array([one.tip_px, one.handle_px]))
        run, place = ends[1] - ends[0], ends.mean(axis=0)
    return (float(place[0]), float(place[1])), float(np.degrees(np.arctan2(run[1], run[0])))


def _retake(scale: Scale, told: list[Told], looked: Looked) -> str | None:
    """Why the whole photo should be taken again; None when it need not."""
    here = scale.px_per_mm_at((looked.photo.width_px / 2.0, looked.photo.height_px / 2.0)).value
    if here < LEAST_PX_PER_MM:
        return f"needs {LEAST_PX_PER_MM:.0f} px/mm to tell instruments apart, has {short_of(here)}: move closer"
    open_ = sum(one.kind == "undecided" for one in told)
    if told and open_ > 0.5 * len(told):
        return f"{open_} of {len(told)} instruments are undecided: softer light, straight from above, closer"
    return None
