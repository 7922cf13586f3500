"""Stage 3g: several instruments in one picture -> a candidate each, also where they touch, cross or lie over print.

Handles are found first: they are thick, and nobody lays one on another. Each owns the shaft that leaves it. What no handle
accounts for is left to the finding of single pieces: instruments whose handle is out of the frame, and strangers.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.spatial.distance import cdist

from vision.black_handles import whole_black
from vision.channels import LUMINANCE, weighted
from vision.discs import by_disc
from vision.grips import WHOLE_MM2, Grip, filled, find_grips
from vision.lone_handles import OWN_HANDLE_MM, likeliest_shaft, lone_handles
from vision.memory import give_back
from vision.outlined import outlined_grips
from vision.plane import Plane
from vision.shafts import STRAYED_MM, Ground, Shaft, aside, follow_end, trace_shafts
from vision.taken import Taken, short_runs, take
from vision.unprinted import Unprinted

Array = NDArray[np.floating[Any]]
Mask = NDArray[np.bool_]
INSIDE_MM = 0.7  # the search begins so far inside the handle, whose front is rounded off by the opening
LEAST_WORTH, SEEN_WORTH = 1.8, 2.8  # a mm; 4 is metal all along
ON_MM = 1.5  # a shaft so near to the middle of a thick place runs through it
STOP_THICK = 12  # steps of a quarter of a millimetre on another's handle: it is a stop beside it, or a corner
SHORT_MM = 12.0  # the shortest instrument is 21 mm long; 5 mm of a tip may be lost, and a little of what is seen
FAINT_MORE = 8.0  # steps by which a faint shaft must be worth more than a clear one
LEAST_LEFT = 20  # steps of a quarter of a millimetre that a shaft must keep
HANDLE_APART_MM = 3.0  # two finds of one handle lie nearer
LONGEST_TOGETHER = 20  # steps of a quarter of a millimetre that two shafts share where they cross, at most
SAME_MM, SAME_SHARE = 0.8, 0.5  # two handles' shafts nearer than that over half their length are one
THICKEST_MM = 1.6  # of a shaft
PALE_CLOSE_MM = 1.0
FAINT_CLOSE_MM = 0.2
ON_PAGE_MM = 1.0


@dataclass(frozen=True)
class _Held:
    """A handle with its shaft, and what of the shaft's worth lies before another handle."""

    grip: Grip
    shaft: Shaft
    worth: float


def take_apart(plane: Plane, relative: Array, through: Unprinted, rim: Mask) -> tuple[list[Taken], Mask, Mask]:
    """Give every handle its shaft; returns the instruments, what they account for, and all that lies on the sheet.

    Coloured and black handles come first, cut out by their colour from shadow and print; then white ones whose two sides show;
    then what else is thick, and what is as pale as paper.
    """
    ppm = plane.px_per_mm
    grey = weighted(relative, LUMINANCE)
    ground = Ground(through.metal, through.known, ppm, grey)
    solid = filled(ground.metal, ppm)
    plain = find_grips(filled(whole_black(through.plain, relative, ppm), ppm), relative, rim, ppm)
    give_back()  # here and below: of a tray, the most is held now
    clear = _held(plain, ground)
    give_back()
    held = _fitting(_held_faintly(plain, clear, ground, through), solid.shape, ppm)
    give_back()
    sides = outlined_grips(through.weak & ~_drawn(held, solid.shape, 2.6 * ppm), grey, ppm)
    # a shaft and its shadow are two sides too
    white = tuple(grip for grip in sides if not any(_on_line(grip, one.shaft, ppm) for one in held))
    held = _fitting([*held, *(_held(white, _faint(ground, through), plain) if white else ())], solid.shape, ppm)
    whole = _drawn(held, solid.shape, 2.6 * ppm)
    give_back()
    pale = filled(_closed(through.weak & ~whole, PALE_CLOSE_MM * ppm), ppm)
    give_back()
    thick = [find_grips(mask & ~whole, relative, rim, ppm) for mask in (solid, pale)]
    traced = [one for grips in thick for one in _held(grips, ground, plain)]
    more = [one for one in traced if _worthy(one, ppm) or _piece(one, traced, ppm)]
    held = _fitting(_own_ways([*held, *more], ground), solid.shape, ppm)
    give_back()
    lone = lone_handles(plain, [one.grip for one in held], ppm)
    held += [one for one in (_Held(grip, likeliest_shaft(grip, ground), 0.0) for grip in lone) if _on_page(one, plane)]
    claimed = _drawn(held, solid.shape, THICKEST_MM * ppm)
    free = Ground(ground.metal & ~claimed, ground.known, ppm)
    bent = [replace(one, shaft=follow_end(free, one.shaft)) for one in held]
    taken = [replace(take(one.grip, one.shaft, solid, rim, ppm), rank=one.grip.rank if _on_page(one, plane) else 1) for one in bent]
    used = _drawn(bent, solid.shape, 3.4 * ppm)
    reach = 2 * max(round(0.8 * ppm), 1) + 1
    return taken, cv2.dilate(used.astype(np.uint8), np.ones((reach, reach), np.uint8)).astype(bool), solid


def _on_page(one: _Held, plane: Plane) -> bool:
    """Whether handle and shaft lie on the page: a wooden table's colour beside its edge is no handle's."""
    if plane.page_mm is None:
        return False
    spots = plane.to_mm(np.array([one.grip.middle_px, one.shaft.line_px[0], one.shaft.line_px[-1]]))
    return bool(((spots > ON_PAGE_MM) & (spots < np.array(plane.page_mm) - ON_PAGE_MM)).all())


def _fitting(held: list[_Held], shape: tuple[int, ...], px_per_mm: float) -> list[_Held]:
    return _unlike(_cut_at_handles(held, shape, px_per_mm), px_per_mm)


def _own_ways(held: list[_Held], ground: Ground) -> list[_Held]:
    """A path that went on along another shaft where two cross at a narrow angle is looked for again with the other's metal hidden.

    The old one stays where what is found then is no better.
    """
    out = []
    for one in held:
        others = [other for other in held if other is not one]
        onto = [other for other in others if _strays_onto(one, other, ground.px_per_mm)]
        again = _held((one.grip,), _hiding(ground, onto), [other.grip for other in others]) if onto else []
        out.append(next((new for new in again if _on_its_own(new, others, ground.px_per_mm)), one))
    return out


def _on_its_own(one: _Held, others: Sequence[_Held], px_per_mm: float) -> bool:
    """Whether a path is long enough for a shaft's and strays onto no other one's.

    How much of its metal is seen is not asked, as of no sure handle (``_worthy``): beside the hidden one it is little, of a right path
    0.8 a mm.
    """
    return _long_enough(one, px_per_mm) and not any(_strays_onto(one, other, px_per_mm) for other in others)


def _strays_onto(one: _Held, other: _Held, px_per_mm: float) -> bool:
    """Whether the line of ``one``, a sure and whole handle, runs along that of ``other`` on a straight way that leads to the other's handle
    and not to its own. Pieces of one handle lie farther apart than two whole ones may."""
    whole = [_whole(held.grip, px_per_mm) for held in (one, other)]
    apart = HANDLE_APART_MM if all(whole) else OWN_HANDLE_MM
    if not whole[0] or np.linalg.norm(one.grip.middle_px - other.grip.middle_px) < apart * px_per_mm:
        return False
    line = one.shaft.line_px
    together = line[cdist(line, other.shaft.line_px).min(axis=1) < SAME_MM * px_per_mm]
    if len(together) <= LONGEST_TOGETHER:
        return False
    for stretch in (together, together[len(together) // 2 :]):  # nearer the handle a path may still be on its own metal
        own, others = (aside(held.grip.middle_px, stretch) for held in (one, other))
        if own - others >= STRAYED_MM * px_per_mm:
            return True
    return False


def _hiding(ground: Ground, others: Sequence[_Held]) -> Ground:
    """The ground with the shafts of some as print hides it: neither metal nor paper."""
    over = _drawn(list(others), ground.metal.shape, THICKEST_MM * ground.px_per_mm)
    return Ground(ground.metal & ~over, ground.known & ~over, ground.px_per_mm, ground.grey)


def _worthy(one: _Held, px_per_mm: float) -> bool:
    """What is not surely a handle needs a handle's size, unless the frame cuts it, and a shaft that is seen, not one hidden by print."""
    whole = one.grip.at_border or one.grip.mask.sum() > WHOLE_MM2 * px_per_mm**2  # shafts and shadows that cross are smaller heaps
    return one.grip.rank >= 2 or (whole and one.shaft.worth > LEAST_WORTH * one.shaft.length_mm(px_per_mm))


def _piece(one: _Held, traced: Sequence[_Held], px_per_mm: float) -> bool:
    """Whether it is a piece of a handle that print under it parted: another one near by has the same shaft, and both are as large as one
    handle. That shaft must be seen all along."""
    least = SEEN_WORTH * one.shaft.length_mm(px_per_mm)
    near = (other for other in traced if other is not one and not _apart(one, other, px_per_mm))
    both = (one.grip.mask.sum() + other.grip.mask.sum() for other in near if _shared(one.shaft, other.shaft) < SAME_MM * px_per_mm)
    return one.shaft.worth > least and max(both, default=0) > WHOLE_MM2 * px_per_mm**2


def _apart(one: _Held, other: _Held, px_per_mm: float) -> bool:
    return float(np.linalg.norm(one.grip.middle_px - other.grip.middle_px)) > OWN_HANDLE_MM * px_per_mm


def _held(grips: tuple[Grip, ...], ground: Ground, others: Sequence[Grip] = ()) -> list[_Held]:
    """Handles with the better of the shafts that leave their two ends; those without any are left out.

    What lies on another handle, one of ``others`` too, counts for neither: a neighbour close behind is no shaft.
    """
    inside = INSIDE_MM * ground.px_per_mm
    leaving = [way for grip in grips for way in _ways_out(grip, inside)]
    shafts = trace_shafts(ground, leaving)
    known = {id(grip) for grip in grips}
    owner = _owners([*grips, *(grip for grip in others if id(grip) not in known)], ground.metal.shape, ground.px_per_mm)
    found = []
    for k, grip in enumerate(grips):
        some = [shaft for shaft in shafts[2 * k : 2 * k + 2] if shaft is not None]
        if some:
            free = [shaft.worth * _clear(shaft.line_px, k + 1, owner) / len(shaft.line_px) for shaft in some]
            found.append(_Held(grip, some[int(np.argmax(free))], max(free)))
    return found


def _held_faintly(grips: tuple[Grip, ...], clear: list[_Held], ground: Ground, through: Unprinted) -> list[_Held]:
    """Coloured and black handles, each with its shaft: where none or a short one was seen, soft light or a pale stop may hide the rest,
    and its outline is looked for that shows faintly."""
    seen = {id(one.grip): one for one in clear}
    short = [grip for grip in grips if grip.rank >= 2 and not _long_enough(seen.get(id(grip)), ground.px_per_mm)]
    for one in _held(tuple(short), _faint(ground, through), grips) if short else []:
        before = seen.get(id(one.grip))
        if before is None or one.worth > before.worth + FAINT_MORE:
            seen[id(one.grip)] = one
    return list(seen.values())


def _long_enough(one: _Held | None, px_per_mm: float) -> bool:
    return one is not None and one.shaft.length_mm(px_per_mm) >= SHORT_MM


def _faint(ground: Ground, through: Unprinted) -> Ground:
    return Ground(_closed(through.weak, FAINT_CLOSE_MM * ground.px_per_mm), ground.known, ground.px_per_mm)


def _ways_out(grip: Grip, inside_px: float) -> tuple[tuple[Array, Array], tuple[Array, Array]]:
    first, last = grip.ends_px()
    return (first + inside_px * grip.axis, -grip.axis), (last - inside_px * grip.axis, grip.axis)


def _unlike(held: list[_Held], px_per_mm: float) -> list[_Held]:
    """Leave out a second handle on the same shaft (a shadow, a half of one), and what another one's shaft runs through.

    The one that is surer a handle stays, then the one with the better shaft.
    """
    kept: list[_Held] = []
    for one in sorted(held, key=lambda h: (-h.grip.rank, -h.shaft.worth)):
        own = _led_astray(one, kept, px_per_mm)
        if not any(_again(own, other, px_per_mm) for other in kept):
            kept.append(own)
    return kept


def _again(one: _Held, other: _Held, px_per_mm: float) -> bool:
    """Whether ``one`` shows ``other`` once more. A coloured handle that stands well apart is one of its own, and so is a whole black or
    white one, whatever its shaft does."""
    if _apart(one, other, px_per_mm) and (one.grip.rank == 3 or _whole(one.grip, px_per_mm)):
        return False
    return _shared(one.shaft, other.shaft) < SAME_MM * px_per_mm or _through(one.grip, other.shaft, px_per_mm)


def _whole(grip: Grip, px_per_mm: float) -> bool:
    """Whether it is surely a handle, and as large as one."""
    return grip.rank >= 2 and bool(grip.mask.sum() > WHOLE_MM2 * px_per_mm**2)


def _led_astray(one: _Held, others: list[_Held], px_per_mm: float) -> _Held:
    """A sure handle whose shaft runs into another's and on along it keeps what lies before that."""
    line = one.shaft.line_px
    for other in others if one.grip.rank >= 2 else []:
        if np.linalg.norm(one.grip.middle_px - other.grip.middle_px) < HANDLE_APART_MM * px_per_mm:
            continue
        near = cdist(line, other.shaft.line_px).min(axis=1) < SAME_MM * px_per_mm
        alone = int(np.flatnonzero(~near)[-1]) + 1 if not near.all() else 0  # what comes after lies on the other one
        if LEAST_LEFT < alone < len(line) - LONGEST_TOGETHER:
            line = line[:alone]
    share = len(line) / len(one.shaft.line_px)
    return one if share == 1.0 else replace(one, shaft=Shaft(line, one.shaft.worth * share))


def _through(grip: Grip, shaft: Shaft, px_per_mm: float) -> bool:
    """Whether a shaft runs through what is not surely a handle: nobody lays one on another."""
    return grip.rank < 2 and _on_line(grip, shaft, px_per_mm)


def _on_line(grip: Grip, shaft: Shaft, px_per_mm: float) -> bool:
    return bool(np.linalg.norm(shaft.line_px - grip.middle_px, axis=1).min() < ON_MM * px_per_mm)


def _cut_at_handles(held: list[_Held], shape: tuple[int, ...], px_per_mm: float) -> list[_Held]:
    """End every shaft where it runs into another one's handle: no shaft lies on or under one. A stop that touches it is shorter."""
    owner = _owners([one.grip for one in held], shape, px_per_mm)
    return [cut for k, one in enumerate(held, 1) if (cut := _cut_at_others(one, k, owner)) is not None]


def _owners(grips: Sequence[Grip], shape: tuple[int, ...], px_per_mm: float) -> NDArray[np.int16]:
    """Which sure handle (1, 2 ...) owns each pixel; a heap of stops and shafts is coloured too, but smaller."""
    owner = np.zeros(shape, dtype=np.int16)
    for k, grip in enumerate(grips, 1):
        if _whole(grip, px_per_mm):
            left, top = grip.offset_px
            height, width = grip.mask.shape
            owner[top : top + height, left : left + width][grip.mask] = k
    return owner


def _clear(line: Array, own: int, owner: NDArray[np.int16]) -> int:
    """How many points of a line come before it runs into another one's handle, that of ``own`` being its own."""
    x, y = np.clip(np.rint(line).astype(int), 0, np.array(owner.shape[::-1]) - 1).T
    other = (owner[y, x] > 0) & (owner[y, x] != own)
    passing = short_runs(other, STOP_THICK)
    passing[len(passing) - STOP_THICK :] = False  # what ends on a handle does not pass by it
    other &= ~passing
    return int(np.argmax(other)) if other.any() else len(line)


def _cut_at_others(one: _Held, own: int, owner: NDArray[np.int16]) -> _Held | None:
    line = one.shaft.line_px
    stop = _clear(line, own, owner)
    if stop == len(line):
        return one
    return replace(one, shaft=Shaft(line[:stop], one.shaft.worth * stop / len(line))) if stop > LEAST_LEFT else None


def _shared(one: Shaft, other: Shaft) -> float:
    """Median distance of the shorter line's points from the longer line, px."""
    short, long = sorted((one.line_px, other.line_px), key=len)
    gaps = cdist(short, long).min(axis=1)
    return float(np.quantile(gaps, SAME_SHARE))


def _drawn(held: list[_Held], shape: tuple[int, ...], width_px: float) -> Mask:
    """Lines and handles of all instruments, drawn thick."""
    canvas = np.zeros(shape, dtype=np.uint8)
    for one in held:
        cv2.polylines(canvas, [np.rint(one.shaft.line_px).astype(np.int32)], False, 1, max(round(width_px), 1))
        left, top = one.grip.offset_px
        height, width = one.grip.mask.shape
        canvas[top : top + height, left : left + width] |= one.grip.mask.astype(np.uint8)
    return np.asarray(canvas.astype(bool))


def _closed(mask: Mask, radius_px: float) -> Mask:
    return by_disc(mask, "close", radius_px)
