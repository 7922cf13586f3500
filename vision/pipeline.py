"""The way of a photo to its reading, top to bottom: the table of contents of this package.

photo      a file becomes an upright picture in known light              vision.photo
scale      the sheet's markers and saddles give px to mm                 vision.findscale
plane      the sheet seen from straight above, with what was printed     vision.plane
find       long thin things on it, handle and stop told from metal       vision.find
axis       their curved centre lines                                     vision.axis
edges      both outlines to a fraction of a px                           vision.edges, vision.tip
dimensions the one crossing from px to mm; crests, twist, envelope       vision.place, vision.outline, vision.dimensions
identity   family, section and size with probabilities                   vision.identity
condition  reasons to discard, conformity                                vision.condition, vision.conformity
report     numbers, how sure, why                                        vision.report
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calib.errors import CalibError
from vision import net
from vision.axis import Axis, trace_axis
from vision.camera_choice import NO_CAMERAS, Cameras
from vision.conformity import judge_reading
from vision.errors import PhotoError
from vision.find import SURE_RANK, Candidate, find_instruments
from vision.findscale import find_scale
from vision.fitness import refuse_coarse, refuse_none, refuse_slanted
from vision.grain import refuse_grain
from vision.instrument import Measured, measure_candidate
from vision.judged import read_measured
from vision.memory import give_back
from vision.order import in_reading_order
from vision.photo import Photo, load_photo
from vision.plane import Plane, look_down
from vision.reading import PhotoReading, ScaleReading
from vision.rounded import refuse_rounded
from vision.scale import GivenScale, Scale
from vision.screen import even_tiles, refuse_screen
from vision.shadow import like_a_shadow
from vision.stray import along_handle, beside_own_line, leaves_askew, strayed
from vision.together import Looked
from vision.twice import NEAR_MM, NOT_COUNTED, SHADOW_MM, counted_once
from vision.unread import HandleSeen, handle_seen, led_on, part_of_another, stands_apart, surely_there, unread, whole

GIVEN_BACK_EVERY = 2  # candidates of a tray


def read_photo(
    path: Path, *, given: GivenScale | None, prints: Path | None, held: bool, keep: list[Looked] | None = None,
    cameras: Cameras = NO_CAMERAS,
) -> PhotoReading:
    """Read one photo. A photo that cannot be examined comes back with its error, never as an exception.

    ``given``: a stated scale instead of the sheet's. ``prints``: file of print checks (None: the user's own).
    ``held``: the user held the shaft down level, at a table's edge or with the handle in a slot.
    ``cameras``: the camera profiles to choose from.
    ``keep``: a list to which all that was made of the photo is added, for ``vision.together``.
    """
    net.give_back()
    give_back()  # what the photo before this one left
    try:
        looked = _look(path, given, prints, held, cameras)
    except PhotoError as error:
        return PhotoReading(str(path), (error.kind, error.message), None)
    except CalibError as error:
        return PhotoReading(str(path), ("print-profile", str(error)), None)
    if keep is not None:
        keep.append(looked)
    readings = tuple(sorted((*looked.readings, *looked.unread), key=lambda one: one.id))
    notes = _notes(looked.scale) + _left_out(looked.shadows)
    return PhotoReading(str(path), None, scale_reading(looked.scale, looked.photo), readings, notes)


def _look(path: Path, given: GivenScale | None, prints: Path | None, held: bool, cameras: Cameras) -> Looked:
    photo = load_photo(path)
    scale = find_scale(photo, given=given, prints=prints, cameras=cameras)
    plane = look_down(photo, scale)
    refuse_coarse(scale, photo)
    refuse_slanted(scale)
    tiles = even_tiles(photo.rgb)
    refuse_screen(photo, scale, tiles)
    refuse_grain(photo, tiles)
    scale = refuse_rounded(photo, scale)
    found = find_instruments(plane, scale.saddles_mm)
    plane = plane.without_picture()
    ordered = in_reading_order(found.candidates, plane, scale)
    tried = _measured(photo, scale, plane, ordered, held)
    measurable = [(candidate, measured) for candidate, measured in tried if measured is not None]
    astray = _astray(measurable, found.relative, plane, scale)
    seen, shadows = _once(measurable, astray, found.relative, plane)
    counted = {id(candidate) for candidate, _ in seen}
    left = [one for one, _ in tried if id(one) not in counted and surely_there(found.relative, one, plane)]
    lines = _unread_lines(left, astray, seen, plane, scale, found.relative)
    numbers = _numbers(ordered, [*(candidate for candidate, _ in seen), *(candidate for candidate, _ in lines)])
    readings = [
        judge_reading(read_measured(photo, scale, found.relative, candidate, measured, numbers[id(candidate)]))
        for candidate, measured in seen
    ]
    without = [unread(photo, scale, found.relative, candidate, axis, numbers[id(candidate)]) for candidate, axis in lines]
    refuse_none(readings, found.candidates, photo, stated=given is not None)
    return Looked(path.name, photo, scale, plane, found.relative, tuple(seen), tuple(readings), tuple(without), shadows)


def _measured(photo: Photo, scale: Scale, plane: Plane, ordered: list[Candidate], held: bool) -> list[tuple[Candidate, Measured | None]]:
    """Measure one after the other. What some of them leave behind, in pieces that fit nowhere, is given back: each time costs as much
    again to ask for, so not of a close-up."""
    tried: list[tuple[Candidate, Measured | None]] = []
    for number, candidate in enumerate(ordered):
        if number % GIVEN_BACK_EVERY == 0 and len(ordered) > 1:
            give_back()
        tried.append((candidate, measure_candidate(photo, scale, plane, candidate, down=held)))
    return _on_own_lines(photo, scale, plane, tried, held)


def _on_own_lines(
    photo: Photo, scale: Scale, plane: Plane, tried: list[tuple[Candidate, Measured | None]], held: bool
) -> list[tuple[Candidate, Measured | None]]:
    """Measure those anew whose axis left the line of a sure handle for another one's."""
    scales = [measured.scale_at.value for _, measured in tried if measured is not None]
    if len(scales) < 2:
        return tried
    found = [trace_axis(plane, scale, candidate) for candidate, _ in tried]
    lines = [np.empty((0, 2)) if axis is None else np.asarray(axis.px) for axis in found]
    left = beside_own_line([np.empty((0, 2)) if one is None else _over_metal(one) for _, one in tried], lines, scales[0])
    again = [astray and candidate.rank >= SURE_RANK for (candidate, _), astray in zip(tried, left, strict=True)]
    return [
        (candidate, measure_candidate(photo, scale, plane, candidate, down=held, on_line=True) if anew else one)
        for (candidate, one), anew in zip(tried, again, strict=True)
    ]


def _unread_lines(
    candidates: list[Candidate], astray: set[int], seen: list[tuple[Candidate, Measured]], plane: Plane, scale: Scale,
    relative: NDArray[np.float32],
) -> list[tuple[Candidate, Axis]]:
    """What is there without a readable outline, with its line; what another one shows already is left out.

    One whose whole handle stands apart from all others' is not, whatever its line does; what is smaller may be a stop on another's shaft.
    """
    if not seen or not candidates:
        return []
    axes = [measured.edges.strip.axis_px for _, measured in seen]
    handles = [handle_seen(candidate, plane, relative) for candidate, _ in seen]
    found = []
    for candidate in candidates:
        axis, handle = trace_axis(plane, scale, candidate), handle_seen(candidate, plane, relative)
        if axis is None or part_of_another(handle, handles) or _shade_beside(candidate, handle, handles, plane):
            continue
        own = np.asarray(axis.px)
        apart = whole(candidate, plane) and stands_apart(handle, handles)
        if apart or counted_once([*axes, own], [*[1.0] * len(axes), 0.0], seen[0][1].scale_at.value)[-1]:
            lay = along_handle if id(candidate) in astray or leaves_askew(axis, handle, scale) else led_on
            laid = lay(axis, handle, scale)
            found.append((candidate, laid))
            axes.append(np.asarray(laid.px))
            handles.append(handle)
    return found


def _shade_beside(candidate: Candidate, handle: HandleSeen, others: Sequence[HandleSeen], plane: Plane) -> bool:
    """Whether what is black and smaller than a handle lies beside another one's: the deep shadow of that is black too, and never white."""
    return candidate.rank == SURE_RANK and handle.colour != "white" and not whole(candidate, plane) and not stands_apart(handle, others)


def _numbers(ordered: list[Candidate], counted: list[Candidate]) -> dict[int, int]:
    """Number by candidate, in the order in which a person reads."""
    those = {id(one) for one in counted}
    return {id(one): number for number, one in enumerate((one for one in ordered if id(one) in those), 1)}


def _over_metal(measured: Measured) -> NDArray[np.floating[Any]]:
    """The axis as far as both outlines were seen."""
    edges = measured.edges
    return edges.strip.axis_px[np.isfinite(edges.upper_px - edges.lower_px)]


def _astray(seen: list[tuple[Candidate, Measured]], relative: NDArray[np.float32], plane: Plane, scale: Scale) -> set[int]:
    """Which candidates have a line that strayed onto the shaft of another one, whose handle is another: by their ids."""
    if len(seen) < 2:
        return set()
    handles = [handle_seen(candidate, plane, relative) for candidate, _ in seen]
    wrong = strayed([_over_metal(measured) for _, measured in seen], handles, scale, seen[0][1].scale_at.value)
    return {id(candidate) for (candidate, _), one in zip(seen, wrong, strict=True) if one}


def _once(
    seen: list[tuple[Candidate, Measured]], astray: set[int], relative: NDArray[np.float32], plane: Plane
) -> tuple[list[tuple[Candidate, Measured]], int]:
    """Leave out what shows an instrument again, or is its shadow; the candidate with the larger handle stays, unless its line strayed.

    Second: how many shadows.
    """
    if len(seen) < 2:
        return seen, 0
    axes = [_over_metal(measured) for _, measured in seen]
    worth = [0.0 if id(candidate) in astray else float(candidate.handle.sum()) for candidate, _ in seen]
    shaded = [not candidate.handle.any() and not candidate.cut and like_a_shadow(relative, plane, candidate) for candidate, _ in seen]
    px_per_mm = seen[0][1].scale_at.value
    keep = counted_once(axes, worth, px_per_mm, [SHADOW_MM if one else NEAR_MM for one in shaded])
    again = counted_once(axes, worth, px_per_mm) if any(shaded) else keep
    shadows = sum(alone and not kept for alone, kept in zip(again, keep, strict=True))
    return [one for one, kept in zip(seen, keep, strict=True) if kept], shadows


def scale_reading(scale: Scale, photo: Photo) -> ScaleReading:
    """Put the scale into the words of the format; camera height only when the photo records its focal length."""
    camera = scale.camera
    return ScaleReading(
        source=scale.source,
        sheet_id=scale.sheet.id if scale.sheet else None,
        print_checked=scale.print_checked,
        px_per_mm=scale.px_per_mm_at((photo.width_px / 2.0, photo.height_px / 2.0)),
        view_tilt_deg=round(camera.tilt_deg, 1) if scale.sheet else None,
        camera_height_mm=camera.height_mm if camera.height_known else None,
        camera_profile=scale.profile,
    )


def _left_out(shadows: int) -> tuple[str, ...]:
    """What a person must hear of pieces that were taken for shadows."""
    if not shadows:
        return ()
    lines = f"{shadows} line{'s' if shadows > 1 else ''} beside an instrument, without a handle"
    return (f"{NOT_COUNTED}{lines}, taken for its shadow or not to be told from one; a piece of metal that lies there must lie "
            f"{SHADOW_MM:g} mm clear to be counted",)  # fmt: skip


def _notes(scale: Scale) -> tuple[str, ...]:
    notes = []
    if scale.sheet is not None and not scale.print_checked:
        notes.append(
            "print not checked: every length carries 1.3 %, since a page may have been fitted or copied; measure the check lines "
            "and run 'flutegauge sheet check'"
        )
    if scale.sheet is not None and not scale.camera.height_known:
        notes.append("the photo records no focal length: camera height is unknown and its effect is carried in every u")
    notes += scale.warnings
    if scale.profile_refused is not None:
        notes.append(scale.profile_refused)
    return tuple(notes)
