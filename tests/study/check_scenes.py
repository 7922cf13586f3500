"""Trays for the study of tray checks: instruments in the slots of a mat, and lists of what should lie there, with planted faults."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from calib.sheet import sheet_named
from samples.draw_instrument import BROACH_SIZES, FAMILIES, SIZES
from samples.scene import Scene
from samples.tray import draw_tray
from tests.study.as_projected import shows
from vision.tray.kit import Item, Kit

MAT, IMAGE_PX = "A4-M1", (3200, 2400)
GROSS, MOST_FAULTS = 0.07, 4
PLANTED = ("missing", "extra", "wrong size", "wrong family", "wrong slot")


@dataclass(frozen=True)
class Planted:
    """A list, and by slot what a check of the tray should say there; where it says nothing else the list is right.

    ``along_view``: slots of those whose damage a photo from above does not show.
    """

    kit: Kit
    faults: Mapping[int, str]
    along_view: frozenset[int] = frozenset()


def check_scene(seed: int) -> Scene:
    """8 to 12 instruments, each in a slot of its own; some are grossly damaged."""
    count = int(np.random.default_rng([seed, 43]).integers(8, 13))
    return draw_tray(seed, count, messy=0.0, strangers=0.0, image_px=IMAGE_PX, sheet_id=MAT, gross=GROSS, close=True)


def planted(truth: Mapping[str, Any], seed: int, turn: int) -> Planted:
    """The ``turn``-th list for the tray of this seed: right but for 0 to 4 faults, damage on the tray counted among them."""
    rng = np.random.default_rng([seed, 47, turn])
    there = {_slot(truth["sheet"], one): one for one in truth["instruments"]}
    faults = {slot: "damaged" for slot, one in there.items() if one["damage"]}
    wanted = int(rng.integers(MOST_FAULTS + 1))
    asked = {slot: (one["family"], one["size"]) for slot, one in there.items()}
    empty = [lane.number for lane in sheet_named(truth["sheet"]).lanes if lane.number not in there]
    whole = [int(slot) for slot in rng.permutation([slot for slot in there if slot not in faults])]
    for kind in rng.choice(PLANTED, max(wanted - len(faults), 0)):
        slot = whole.pop()
        free = empty.pop(int(rng.integers(len(empty))))
        if kind == "missing":
            asked[free] = _any(rng)
            faults[free] = "missing"
        elif kind == "wrong slot":
            asked[free] = asked.pop(slot)
            faults[free] = "wrong slot"
        else:
            faults[slot] = str(kind)
            _spoil(rng, asked, slot, str(kind))
    items = tuple(Item(family, size, None, 1, (slot,)) for slot, (family, size) in sorted(asked.items()))
    hidden = frozenset(slot for slot, fault in faults.items() if fault == "damaged" and not shows(there[slot]))
    return Planted(Kit(f"check {seed}-{turn}", items), faults, hidden)


def _spoil(rng: np.random.Generator, asked: dict[int, tuple[str, int]], slot: int, kind: str) -> None:
    family, size = asked[slot]
    sizes = BROACH_SIZES if family == "barbed-broach" else SIZES
    if kind == "extra":
        del asked[slot]
    elif kind == "wrong size":  # a neighbour, as one takes by mistake
        at = sizes.index(size)
        asked[slot] = family, sizes[at + 1 if at == 0 or (at + 1 < len(sizes) and rng.random() < 0.5) else at - 1]
    else:
        asked[slot] = str(rng.choice([name for name in FAMILIES if name != family])), size


def _any(rng: np.random.Generator) -> tuple[str, int]:
    family = str(rng.choice(FAMILIES))
    return family, int(rng.choice(BROACH_SIZES if family == "barbed-broach" else SIZES))


def _slot(sheet: str, one: Mapping[str, Any]) -> int:
    """Number of the slot whose middle line is nearest to the middle of the shaft."""
    x, y = np.array(one["axis_mm"])[len(one["axis_mm"]) // 2, 1:3]
    lanes = [lane for lane in sheet_named(sheet).lanes if lane.x0_mm - 6.0 <= x <= lane.x1_mm + 6.0]
    return min(lanes, key=lambda lane: abs((lane.y0_mm + lane.y1_mm) / 2.0 - y)).number
