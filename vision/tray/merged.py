"""Overlapping photos of one laying -> one list in which nothing is counted twice."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from vision.tray.looked import TrayPhoto
from vision.tray.told import Told

NEAR_MM = 5.0  # the same instrument from another side: what its height moves it by, and what is seen of it differs
TURN_DEG = 12.0


@dataclass(frozen=True)
class Seen:
    """One instrument of the tray: what counts (the closest view), and every photo and number under which it was seen.

    ``one_photo``: the whole tray is in one photo, so that a number alone says which instrument is meant.
    """

    best: Told
    views: tuple[Told, ...]
    one_photo: bool = True

    @property
    def numbers(self) -> str:
        """Its numbers in the photos, for instance '7' or '7 (a.jpg), 2 (b.jpg)'."""
        if len(self.views) == 1 and self.one_photo:
            return str(self.best.number)
        return ", ".join(f"{view.number} ({view.photo})" for view in self.views)


def merge(photos: Sequence[TrayPhoto], *, relaid: bool = False) -> list[Seen]:
    """Join what lies at one place of one sheet. ``relaid``: the instruments were laid anew between photos, join nothing."""
    groups: list[tuple[str | None, list[Told]]] = []
    for photo in photos:
        fresh: list[tuple[str | None, list[Told]]] = []
        for one in photo.told:
            home = None if relaid else _home(groups, photo.sheet, one)
            if home is None:
                fresh.append((photo.sheet, [one]))
            else:
                home.append(one)
        groups += fresh
    return [replace(_joined(views), one_photo=len(photos) == 1) for _, views in groups]


def filled_in(photos: Sequence[TrayPhoto]) -> frozenset[int]:
    """Numbers of the slots in which something lies in any of the photos of one laying."""
    return frozenset(slot for photo in photos for slot in photo.filled)


def _home(groups: list[tuple[str | None, list[Told]]], sheet: str | None, one: Told) -> list[Told] | None:
    """The instrument seen before at this place, the nearest if there are several."""
    if sheet is None or one.place_mm is None or one.axis_deg is None:
        return None
    near = [
        (math.dist(one.place_mm, views[0].place_mm), views)
        for id_, views in groups
        if id_ == sheet and views[0].place_mm is not None and _turn(one, views[0]) < TURN_DEG
        and all(view.photo != one.photo for view in views)
    ]  # fmt: skip
    near = [(gap, views) for gap, views in near if gap < NEAR_MM]
    return min(near, key=lambda pair: pair[0])[1] if near else None


def _turn(one: Told, other: Told) -> float:
    """Angle between two directions, tip and handle not told apart, deg."""
    if one.axis_deg is None or other.axis_deg is None:
        return 0.0
    apart = abs(one.axis_deg - other.axis_deg) % 180.0
    return min(apart, 180.0 - apart)


def _joined(views: list[Told]) -> Seen:
    """The closest view counts; damage seen in any view stays, and views that contradict each other leave it undecided."""
    best = max(views, key=lambda view: (view.kind != "undecided", view.px_per_mm))
    hurt = [view for view in views if view.kind == "damaged"]
    if hurt and best.kind != "damaged":
        best = replace(best, kind="damaged", why=(*hurt[0].why, *best.why))
    if hurt:
        best = replace(best, certain=any(view.certain for view in hurt))
    names = {(view.family, view.size) for view in views if view.kind == "named"}
    if len(names) > 1:
        said = " or ".join(sorted(view.name for view in views if view.kind == "named"))
        best = replace(best, kind="undecided", in_doubt=True, why=(f"the photos contradict each other: {said}", *best.why))
    return Seen(best, tuple(views))
