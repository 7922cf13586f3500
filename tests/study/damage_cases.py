"""Cases of the damage study: which instrument, which damage, how strong, how much of it lies in the outline."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from models.train.facing import seen
from samples.arrays import CPU
from samples.bodies import place
from samples.draw_damage import STEEPEST, bowed, marked, pre_curved, with_damage
from samples.draw_free import draw_of
from samples.instrument import SIDES, Damage, Instrument
from samples.outline import outline_px
from samples.population import draw_macro
from samples.scene import Laid, Scene

HEALTHY, DIRTY = "healthy", "dirty"
# Strengths are drawn log-uniformly within these: about the limits a photo has, and the strengths that must be found.
SPREAD: dict[str, tuple[float, float]] = {
    "unwound": (25.0, 400.0),
    "reverse-wound": (120.0, 700.0),
    "overwound": (30.0, 250.0),
    "kinked": (5.0, 60.0),
    "tip-lost": (0.3, 5.0),
    "crest-chipped": (10.0, 95.0),
    "barbs-folded": (1.0, 8.0),
    "barbs-missing": (1.0, 8.0),
}
DIRT_MM2 = (0.005, 0.12)
FAMILIES = {
    "unwound": ("k-file", "reamer"),
    "reverse-wound": ("k-file", "reamer"),
    "overwound": ("k-file", "reamer"),
    "crest-chipped": ("k-file", "reamer", "hedstroem-file"),
    "barbs-folded": ("barbed-broach",),
    "barbs-missing": ("barbed-broach",),
}
ALL = ("k-file", "reamer", "hedstroem-file", "barbed-broach")
WIDE, FREE_POSE, PRE_CURVED, BOWED, SCRATCHED = 0.25, 0.35, 0.3, 0.25, 0.15
PX_PER_MM = (60.0, 85.0)
# As wide as the white of a lane and along it: with a stated scale nothing tells print from an instrument.
FRAME_MM, LEAST_PX, TURN_DEG = 6.5, 400, 0.6
CLEAR_MM = 0.9  # of the crop's border: half a shaft, and the print's edge


@dataclass(frozen=True)
class Case:
    """One photo of the study: ``kind`` HEALTHY, DIRTY or a kind of finding; ``view`` and ``views``: turned by view / views."""

    kind: str
    seed: int
    view: int = 0
    views: int = 1


def scene_of(case: Case) -> Scene:
    """Draw the photo: a crop at 60 to 85 px/mm that holds the shaft and the handle's front. Views share the instrument."""
    rng = np.random.default_rng([case.seed, 77, _number(case.kind)])
    instrument = instrument_of(rng, case.kind)
    px_per_mm = float(rng.uniform(*PX_PER_MM))
    size = (int((instrument.length_mm + 5.0) * px_per_mm), max(int(FRAME_MM * px_per_mm), LEAST_PX))
    pose = "free" if rng.random() < FREE_POSE else "flat"
    turn = 180.0 * float(rng.integers(2)) + float(rng.normal(0.0, TURN_DEG))
    scene = draw_macro(case.seed, None, pose, px_per_mm, image_px=size, instrument=instrument, light=None, turn_deg=turn)  # type: ignore[arg-type]
    if case.view == 0:
        return scene
    laid = scene.laid[0]
    turned = replace(laid.pose, roll_deg=laid.pose.roll_deg + 360.0 * case.view / case.views)
    return replace(scene, laid=(Laid(laid.instrument, turned),), seed=case.seed + 100_000 * case.view)


def instrument_of(rng: np.random.Generator, kind: str) -> Instrument:
    """An instrument of the families that this can happen to, with what is harmless and, unless healthy, one damage."""
    families = FAMILIES.get(kind, ALL)
    family = families[int(rng.integers(len(families)))]
    population = "wide" if rng.random() < WIDE else "nominal"
    one = draw_of(rng, population, family)  # type: ignore[arg-type]
    if one.twist is not None and one.cross_section != "round" and one.number <= 40 and rng.random() < PRE_CURVED:
        one = pre_curved(rng, one)
    if one.bow is None and rng.random() < BOWED:
        one = bowed(rng, one)
    if rng.random() < SCRATCHED:
        one = marked(rng, one, "scratch")
    if kind == HEALTHY:
        return one
    if kind == DIRTY:
        return marked(rng, one, "debris", _between(rng, *DIRT_MM2))
    return hurt(rng, one, kind)


def hurt(rng: np.random.Generator, one: Instrument, kind: str) -> Instrument:
    """With a damage of a strength drawn across the limits; lowered where this instrument cannot take so much."""
    low, high = SPREAD[kind]
    strength = _between(rng, low, high)
    if kind in ("barbs-folded", "barbs-missing"):
        strength = min(round(strength), len(one.barbs))
    if kind == "unwound":
        strength = min(strength, 0.8 * STEEPEST * _rate(one) * min(one.working_part_mm - 4.0, 6.0))
    return with_damage(rng, one, kind, strength)


def _rate(one: Instrument) -> float:
    assert one.twist is not None
    return 360.0 / (one.twist.pitch_mm * SIDES[one.cross_section])


def _between(rng: np.random.Generator, low: float, high: float) -> float:
    return float(np.exp(rng.uniform(math.log(low), math.log(high))))


def _number(kind: str) -> int:
    return sum(kind.encode())


def in_view(scene: Scene) -> bool:
    """Whether the whole shaft, curved or kinked as it is, lies inside the crop and clear of the print at its borders."""
    laid = scene.laid[0]
    axis = place(laid.instrument, laid.pose, CPU).axis_points(np.linspace(0.0, laid.instrument.length_mm, 60))
    px, border = scene.camera.project(axis), CLEAR_MM * scene.camera.px_per_mm
    return bool(((px > border) & (px < [scene.camera.width_px - border, scene.camera.height_px - border])).all())


def truth_row(scene: Scene) -> dict[str, Any]:
    """What the study compares with: the instrument, its damage, and how much of it this photo's outline holds."""
    laid = scene.laid[0]
    one = laid.instrument
    row: dict[str, Any] = {
        "family": one.family,
        "size": one.size,
        "section": one.cross_section,
        "population": one.population,
        "px_per_mm": round(scene.camera.px_per_mm, 1),
        "pose": laid.pose.kind,
        "light": scene.light.preset,
        "pitch_mm": None if one.twist is None else round(one.twist.pitch_mm, 3),
        "scatter_deg": None if one.twist is None else round(one.twist.scatter_deg, 1),
        "pre_curve_mm": None if one.pre_curve is None else round(one.pre_curve.radius_mm, 1),
        "stop_mm": None if one.stop is None else round(one.stop.from_tip_mm, 1),
        "part_mm": round(one.working_part_mm, 2),
        "length_mm": round(one.length_mm, 2),
    }
    for damage in one.damage or one.marks[-1:]:
        row |= {"hurt": damage.kind, "strength": round(damage.strength, 2), "from_mm": round(damage.from_mm, 2)}
        row |= {"to_mm": round(damage.to_mm, 2), "shown": _shown(scene, damage), "faces": seen(one, laid.pose, damage) is not None}
    return row


def _shown(scene: Scene, damage: Damage) -> float | None:
    """Strength that lies in the outline: projected degrees of a kink, % of crest height cut, barbs at the outline; else None."""
    if damage.kind == "kinked":
        return _projected_deg(scene, damage)
    if damage.kind == "crest-chipped":
        return _cut_share(scene, damage)
    if damage.kind in ("barbs-folded", "barbs-missing"):
        return float(_barbs_in_outline(scene))
    return None


def _projected_deg(scene: Scene, damage: Damage) -> float:
    """Angle between the axis's directions on both sides of a kink, as seen."""
    laid = scene.laid[0]
    placed = place(laid.instrument, laid.pose, CPU)
    reach = 0.5 * (damage.to_mm - damage.from_mm) + 0.1
    middle = 0.5 * (damage.from_mm + damage.to_mm)
    at = np.array([middle - reach - 0.3, middle - reach, middle + reach, middle + reach + 0.3])
    px = scene.camera.project(placed.axis_points(at))
    before, after = px[1] - px[0], px[3] - px[2]
    turn = math.atan2(before[0] * after[1] - before[1] * after[0], float(before @ after))
    return round(abs(math.degrees(turn)), 1)


def _cut_share(scene: Scene, damage: Damage) -> float:
    """Greatest cut of the outline by a chip, % of the crest height, from the outlines with and without it."""
    laid = scene.laid[0]
    whole = replace(laid.instrument, damage=tuple(d for d in laid.instrument.damage if d is not damage))
    lines = [outline_px(place(one, laid.pose, CPU), scene.camera) for one in (laid.instrument, whole)]
    deepest = 0.0
    for side in (0, 1):
        hurt_px, whole_px = (np.array(line[side]) for line in lines)
        near = (hurt_px[:, 0] > damage.from_mm - 0.1) & (hurt_px[:, 0] < damage.to_mm + 0.1)
        if near.any():
            deepest = max(deepest, float(np.linalg.norm(hurt_px[near, 1:] - whole_px[near, 1:], axis=1).max()))
    return round(100.0 * deepest / scene.camera.px_per_mm / _crest_mm(whole, 0.5 * (damage.from_mm + damage.to_mm)), 1)


def _crest_mm(one: Instrument, x_mm: float) -> float:
    radius = one.envelope_mm(x_mm) / 2.0
    share = {"square": 1.0 - math.cos(math.pi / 4.0), "triangle": 0.5, "rhombus": 1.0 - one.rhombus_ratio}
    return radius * share.get(one.cross_section, 1.0 - one.core_ratio)


def _barbs_in_outline(scene: Scene) -> int:
    """Hurt barbs that would stand out of the outline by half of their height and more, were they whole."""
    laid = scene.laid[0]
    axes, count = laid.pose.axes, 0
    for barb in laid.instrument.barbs:
        if not (barb.folded or barb.missing):
            continue
        angle = math.radians(barb.angle_deg)
        direction = math.cos(angle) * axes[1] + math.sin(angle) * axes[2]
        sideways = math.hypot(direction[0], direction[1])
        radius = laid.instrument.envelope_mm(barb.x_mm) / 2.0
        count += (radius + barb.height_mm) * sideways > radius + 0.5 * barb.height_mm
    return count
