"""Stages 6 to 8 for several photos of one instrument: Looked, Looked, ... -> CombinedReading, or why there is none."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.blank import BlankEvidence, chosen_twist
from vision.clues import Extra
from vision.conformity import judge_reading
from vision.dimensions import Dimensions
from vision.find import Candidate
from vision.handle import HandleColour, handle_colour
from vision.identity import identify
from vision.instrument import Measured, at_height
from vision.judged import read_measured
from vision.lead import groove_angles, sampled
from vision.lifted import Lifted, lift
from vision.merging import merge_conditions
from vision.named import Named, named
from vision.one_lens import one_lens
from vision.photo import Photo
from vision.plane import Plane
from vision.pooling import Pooled, pool
from vision.pose import Height, held, laid_again, resting
from vision.quantity import Quantity
from vision.reading import CombinedReading, Hand, InstrumentReading, Trace
from vision.same import Turns, Untouched, judge_untouched, plainly_moved, turned_by
from vision.scale import Scale
from vision.sighting import AxisPx, mid_line, sight
from vision.together_words import contradiction, disagreements, lay_notes, mode_notes, parallax_notes

Array = NDArray[np.floating[Any]]
CLEAR_MM = 0.5  # of the tip, the handle and a stop
PLAIN_WINDOW_MM = 0.6
NAMES_LOST_TIP = 0.5
NOTHING: NDArray[np.float64] = np.empty((0, 2))
POSE_NOTE = "set-up seen"  # how one photo's height was assumed: of no account where several have measured it
# What a single photo's note on a missing quantity says.
MISSED = {
    "D16 is": "d16_mm",
    "shank width": "shank_width_mm",
    "length is": "length_mm",
    "working part is": "working_part_mm",
    "pitch at": "pitch_mm",
}


@dataclass(frozen=True)
class Looked:
    """A photo and everything that stages 1 to 6 made of it; ``found`` and ``readings`` go together.

    ``unread``: readings of what is surely there, but without an outline that could be followed. ``shadows``: how many pieces beside an
    instrument were taken for its shadow. ``lay``: photos of one number are said to show it as it lay, of another one turned since; None:
    nothing is said.
    """

    name: str
    photo: Photo
    scale: Scale
    plane: Plane
    relative: NDArray[np.float32]
    found: tuple[tuple[Candidate, Measured], ...]
    readings: tuple[InstrumentReading, ...]
    unread: tuple[InstrumentReading, ...] = ()
    shadows: int = 0
    lay: int | None = None


@dataclass(frozen=True, eq=False)
class _View:
    """The one instrument of one photo."""

    looked: Looked
    candidate: Candidate
    measured: Measured
    reading: InstrumentReading


def combine(photos: Sequence[Looked], *, down: bool) -> tuple[CombinedReading | None, tuple[str, ...]]:
    """Combine the photos of one instrument; the second part tells what could not be done, a sentence each.

    ``down``: the shaft was held down level. Photos that show no instrument or several are left out and named.
    """
    problems = [
        f"{one.name} shows {len(one.found)} instruments, needs one to combine: lay the one instrument alone on the sheet"
        for one in photos
        if len(one.found) != 1
    ]
    single = [one for one in photos if len(one.found) == 1]
    lenses = one_lens([one.scale for one in single])
    views = [_View(replace(one, scale=scale), *one.found[0], one.readings[0]) for one, scale in zip(single, lenses, strict=True)]
    if len(views) < 2:
        return None, (*problems, f"{len(views)} of the photos could be used, needs at least two of one instrument: nothing was combined")
    alone = _left_alone(views)
    lifted, test, notes = _untouched(alone, down=down)
    clash = contradiction([view.looked.name for view in views], [view.reading for view in views])
    if lifted is not None and test is not None and test.untouched and (clash is None or len(alone) == len(views)):
        again = [_raised(view, lifted) if view in alone else _laid_again(view, lifted, alone[0]) for view in views]
        odd = [f"its place says it is one instrument, yet {clash}"] if clash is not None else []
        laid = [(view.looked.name, _known_again(view, lifted, alone[0])) for view in views if view not in alone]
        turned = lay_notes([name for name, known in laid if known], [name for name, known in laid if not known])
        views = [new if new is not None else old for new, old in zip(again, views, strict=True)]
        return _combined(views, lifted, test, [*notes, *turned, *odd]), tuple(problems)
    if clash is not None:
        return None, (*problems, f"{clash}: photos of one instrument are needed; nothing was combined")
    by_lens = [_by_its_lens(view, one.scale) for view, one in zip(views, single, strict=True)]
    turned = [old.looked.name for old, new in zip(views, by_lens, strict=True) if new is not old]
    lens = [f"{', '.join(turned)} measured again by the lens that the photos tell together: the combination differs from its own reading"]
    return _combined(by_lens, None, test, [*notes, *(lens if turned else [])]), tuple(problems)


def _left_alone(views: Sequence[_View]) -> list[_View]:
    """The photos that may show it untouched: all of them, or those of the lay that the most are said to show."""
    lays = [view.looked.lay for view in views]
    most = None if None in lays else max(lays, key=lays.count)
    return [view for view in views if most is None or view.looked.lay == most]


def _untouched(views: Sequence[_View], *, down: bool) -> tuple[Lifted | None, Untouched | None, list[str]]:
    """Triangulate as if untouched, and test that."""
    if len(views) < 2:
        return None, None, ["it is said to have been turned before every photo: its height is not measured"]
    sheets = {None if view.looked.scale.sheet is None else view.looked.scale.sheet.id for view in views}
    if None in sheets or len(sheets) > 1:
        told = "the photos do not show one and the same scale sheet: whether it lay untouched is not told"
        return None, None, [f"{told}, and its height is not measured"]
    scales, seen = [view.looked.scale for view in views], [_axis_px(view.measured) for view in views]
    sightings = [sight(scale, one) for scale, one in zip(scales, seen, strict=True)]
    moved = plainly_moved(sightings)
    if moved is not None:
        return None, None, [moved]
    lifted = lift(scales, seen)
    if lifted is None:
        return None, None, ["too little of the shaft is seen in two photos to place its axis on the sheet"]
    poses = _poses(views[0], down=down)
    test = judge_untouched(lifted, sightings, poses, [])
    if test.untouched:
        turns = [_turns(view, _raised(view, lifted), lifted) for view in views]
        test = judge_untouched(lifted, sightings, poses, turns)
    across = np.array([-lifted.axis.along[1], lifted.axis.along[0]])
    way = float(np.ptp([np.asarray(scale.camera.foot_mm) @ across for scale in scales]))
    notes = [*mode_notes(test), *(parallax_notes(lifted, way) if test.untouched else ())]
    return lifted, test, notes


def _poses(view: _View, *, down: bool) -> list[Any]:
    width = view.measured.profile.upper_mm - view.measured.profile.lower_mm
    x, end = view.measured.profile.x_mm, view.measured.last_mm
    shank = float(np.nanmedian(width[(x > 0.75 * end) & (x < 0.97 * end)]))
    tip = float(np.nanmedian(width[(x > 0.02 * end) & (x < 0.08 * end)]))
    return [held(shank, tip)] if down else [resting(tip, None), held(shank, tip)]


def _axis_px(seen: Measured) -> AxisPx:
    """What the triangulation needs of one photo's outline, px."""
    strip, profile = seen.edges.strip, seen.profile
    use = (profile.x_mm > CLEAR_MM) & (profile.x_mm < seen.last_mm - CLEAR_MM)
    if seen.stop_mm is not None:
        use &= (profile.x_mm < seen.stop_mm[0] - CLEAR_MM) | (profile.x_mm > seen.stop_mm[1] + CLEAR_MM)
    gaps = np.concatenate([seen.outline.upper.spacing_mm, seen.outline.lower.spacing_mm])
    window = float(np.clip(np.median(gaps), 0.3, 3.0)) if len(gaps) else PLAIN_WINDOW_MM
    middle = (seen.edges.upper_px + seen.edges.lower_px) / 2.0
    line = mid_line(strip.axis_px, strip.normal, middle, use, window * profile.px_per_mm)
    front = None if seen.front_mm is None else _point(strip.axis_px, profile.column_at(seen.front_mm.value))
    tip = None if seen.tip.column is None else _point(strip.axis_px, seen.tip.column)
    return AxisPx(line, tip, seen.tip.u_px, front, profile.px_per_mm)


def _point(axis_px: Array, column: float) -> Array:
    columns = np.arange(len(axis_px), dtype=float)
    return np.array([np.interp(column, columns, axis_px[:, k]) for k in (0, 1)])


def _raised(view: _View, lifted: Lifted) -> _View | None:
    """Measure one photo's outlines again at the height that all photos gave; z / Z alone enters, so Z is taken as exact."""
    return _again(view, _exact(view.looked.scale), lifted.height(view.measured.height))


def _exact(scale: Scale) -> Scale:
    return replace(scale, camera=replace(scale.camera, height_mm=Quantity(scale.camera.height_mm.value, 0.0)))


def _laid_again(view: _View, lifted: Lifted, alone: _View) -> _View | None:
    """Measure a photo of it turned since, at the height that it was measured to have as it lay before; a curved one lies otherwise."""
    if not _known_again(view, lifted, alone):
        return _again(view, view.looked.scale, view.measured.height)
    height = laid_again(lifted.height(alone.measured.height), view.measured.height)
    return _again(view, _exact(view.looked.scale), height)


def _known_again(view: _View, lifted: Lifted, alone: _View) -> bool:
    """Whether what was measured of the height as it lay before holds for a photo of it turned since."""
    return not lifted.weak and lifted.axis.ends_mm[2] == 0.0 and view.looked.scale.centre_px == alone.looked.scale.centre_px


def _by_its_lens(view: _View, own: Scale) -> _View:
    """The view of a piece that was turned, measured again where other photos have told its lens; else as it is."""
    if view.looked.scale is own:
        return view
    return _again(view, view.looked.scale, view.measured.height) or view


def _again(view: _View, scale: Scale, height: Height) -> _View | None:
    """One photo's outlines measured again by another camera or height; None where nothing can be."""
    looked = view.looked
    measured = at_height(looked.photo, scale, looked.plane, view.candidate, view.measured, height)
    if measured is None:
        return None
    reading = read_measured(looked.photo, scale, looked.relative, view.candidate, measured, 1)
    return _View(looked, view.candidate, measured, reading)


def _turns(view: _View, raised: _View | None, lifted: Lifted) -> Turns | None:
    """Twist of one photo's outline, and the angle at which its camera stood to the axis."""
    measured = (raised or view).measured
    twist = chosen_twist(measured.outline, measured.evidence)
    if twist is not None:
        (x, theta), corners = sampled(twist), 2 if twist.blank.name == "rhombus" else twist.blank.corners
    elif measured.evidence.best == "groove":
        (x, theta), corners = groove_angles(measured.outline.upper, measured.outline.lower), 1
    else:
        return None
    if len(x) < 8:
        return None
    axis = lifted.axis
    middle = axis.origin_mm + 0.4 * axis.length_mm * axis.along
    out = float((np.asarray(view.looked.scale.camera.foot_mm) - middle) @ np.array([-axis.along[1], axis.along[0]]))
    return Turns(x, theta, corners, float(np.arctan2(out, view.looked.scale.camera.height_mm.value - axis.at(np.array([0.4]))[0])))


def _combined(views: Sequence[_View], lifted: Lifted | None, test: Untouched | None, notes: list[str]) -> CombinedReading:
    names = tuple(view.looked.name for view in views)
    readings = [view.reading for view in views]
    pooled = {name: pool([getattr(one, name) for one in readings]) for name in _quantities()}
    height = pooled.pop("height_mm")
    measured = lifted is not None and not lifted.weak
    if lifted is not None:
        known = lifted.height_mm if measured else Quantity(*views[0].measured.height.at(0.4))
        pooled["height_mm"] = Pooled(known, 0.0, 0, 1.0, 0, 0.0)
    elif height is not None:
        pooled["height_mm"] = height
    odd = disagreements(names, pooled)
    whole = lifted is not None and len(_left_alone(views)) == len(views)
    share, share_notes = _share(views, lifted if whole else None)
    condition = merge_conditions([one.condition for one in readings], names, share, tuple(odd))
    lost = any(one.kind == "tip-lost" and one.probability >= NAMES_LOST_TIP for one in condition.findings)
    values = {name: None if one is None else one.quantity for name, one in pooled.items()}
    said = _seen([named(view.measured.edges.names) for view in views])
    identity = identify(_dimensions(values), _evidence(views), _colour(views), said, tip_lost=lost, extra=_extra(views))
    told = [note for note in _notes(views) if not (_answered(note, values, test) or (measured and POSE_NOTE in note))]
    first = readings[0]
    one = replace(
        first,
        id=1,
        tip_px=None,
        handle_px=None,
        family=identity.family,
        size=identity.size,
        cross_section=identity.section,
        twist_hand=_hand(views, test if lifted is not None else None),
        family_clues=identity.family_clues,
        size_clues=identity.size_clues,
        local_px_per_mm=float(np.mean([r.local_px_per_mm for r in readings])),
        blur_px=float(np.mean([r.blur_px for r in readings if r.blur_px is not None] or [0.0])),
        condition=condition,
        notes=(*notes, *share_notes, *odd, *told),
        trace=Trace(NOTHING, NOTHING, NOTHING, NOTHING),
        **values,  # type: ignore[arg-type]  # every quantity by its own name
    )
    return CombinedReading(
        photos=names,
        mode="untouched" if whole else "re-laid",
        instrument=judge_reading(one),
        d0_each=tuple(r.d0_mm for r in readings),
        height_of_x=_curve(lifted),
        disagreements=tuple(odd),
    )


def _quantities() -> list[str]:
    return [f.name for f in fields(InstrumentReading) if "Quantity" in str(f.type)]


def _dimensions(values: dict[str, Quantity | None]) -> Dimensions:
    known = {f.name: values.get(f.name) for f in fields(Dimensions) if f.name not in ("notes", "doubt_mm")}
    return Dimensions(**known, notes=(), doubt_mm=None)


def _evidence(views: Sequence[_View]) -> BlankEvidence:
    """Shares of the kinds of section, the mean over the photos; figures and words of the photo that is surest."""
    kinds = dict.fromkeys(kind for view in views for kind in view.measured.evidence.shares)
    shares = {kind: float(np.mean([view.measured.evidence.shares.get(kind, 0.0) for view in views])) for kind in kinds}
    best = max(shares, key=lambda kind: shares[kind])
    surest = max(views, key=lambda view: view.measured.evidence.shares.get(best, 0.0)).measured.evidence
    return replace(surest, shares=shares)


def _seen(said: Sequence[Named | None]) -> Named | None:
    """What the network takes the instrument for: the mean over the photos in which it was asked, since all show one thing."""
    told = [one for one in said if one is not None]
    if not told:
        return None
    family, section = (
        {name: float(np.mean([getattr(one, part)[name] for one in told])) for name in getattr(told[0], part)}
        for part in ("family", "section")
    )
    return Named(family, section)


def _extra(views: Sequence[_View]) -> Extra:
    """End of the first photo that shows it; a hand that no photo contradicts."""
    every = [view.measured.extra for view in views]
    ends = (e.blunt for e in every if e.blunt is not None)
    return Extra(_hand(views, None), next(ends, None), bare=all(e.bare for e in every))


def _hand(views: Sequence[_View], test: Untouched | None) -> Hand | None:
    """Hand of twist from the crests' shift between photos, else from the faces if they agree."""
    if test is not None and test.hand is not None:
        return test.hand
    told = {view.reading.twist_hand for view in views} - {None}
    return told.pop() if len(told) == 1 else None


def _colour(views: Sequence[_View]) -> HandleColour:
    seen = [handle_colour(view.looked.relative, view.candidate, view.measured.grip) for view in views]
    told = [one for one in seen if one.shares]
    names = dict.fromkeys(name for one in told for name in one.shares)
    shares = {name: float(np.mean([one.shares.get(name, 0.0) for one in told])) for name in names}
    return HandleColour(shares, told[0].lab if told else None)


def _share(views: Sequence[_View], lifted: Lifted | None) -> tuple[float, list[str]]:
    """Share of the way round that the photos show together, at least; what cannot be told stands in a note."""
    single = max(view.reading.condition.seen_share for view in views)
    if lifted is not None:
        angles = [t.camera_rad for view in views if (t := _turns(view, None, lifted)) is not None]
        return min(single + float(np.ptp(angles)) / (2.0 * np.pi), 1.0) if angles else single, []
    turns = [_turn_alone(view) for view in views]
    first = turns[0]
    by = [abs(seen[0]) for other in turns[1:] if first is not None and other is not None and (seen := turned_by(first, other))]
    share = min(single + max(by, default=0.0) / (2.0 * np.pi), 1.0)
    lays = {view.looked.lay if view.looked.lay is not None else k for k, view in enumerate(views)}
    turned = min(0.5 + (len(lays) - 1) / 3.0, 1.0)
    return share, [
        f"the photos show at least {100 * share:.0f} % of the way round (a turn is told up to whole crests only); "
        f"if it was turned by a third between photos they show {100 * turned:.0f} %"
    ]


def _turn_alone(view: _View) -> Turns | None:
    twist = chosen_twist(view.measured.outline, view.measured.evidence)
    if twist is None:
        return None
    x, theta = sampled(twist)
    return Turns(x, theta, twist.blank.corners, 0.0) if len(x) >= 8 else None


def _notes(views: Sequence[_View]) -> list[str]:
    """Notes of the single photos; those that not all of them have with the photo's name."""
    every = dict.fromkeys(note for view in views for note in view.reading.notes)
    told = []
    for note in every:
        having = [view.looked.name for view in views if note in view.reading.notes]
        told.append(note if len(having) == len(views) else f"{', '.join(having)}: {note}")
    return told


def _answered(note: str, values: dict[str, Quantity | None], test: Untouched | None) -> bool:
    """Whether a single photo's note no longer holds, because another photo measured what it could not."""
    if "hand of twist" in note:
        return test is not None and test.hand is not None
    return any(start in note and values.get(name) is not None for start, name in MISSED.items())


def _curve(lifted: Lifted | None) -> NDArray[np.float64]:
    """Rows of x, axis height, its u (mm) from the tip to the handle's front; empty where it was not measured."""
    if lifted is None or lifted.weak:
        return np.empty((0, 3))
    share = np.linspace(0.0, 1.0, 51)
    z = lifted.axis.at(share)
    rows = np.column_stack([1.0 - share, share, 4.0 * share * (1.0 - share)])
    u = np.sqrt(np.maximum(np.einsum("ij,jk,ik->i", rows, lifted.covariance, rows), 0.0))
    return np.column_stack([share * lifted.axis.length_mm, z, u])
