"""Windows for the damage network: instruments hurt in several ways at once, whole ones, and look-alikes of damage."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from models.train.examples import COLUMNS, FAMILIES, aimed, step_of
from models.train.hurts import HURTS
from samples.draw_damage import bowed, damages_of, marked, pre_curved, with_damage
from samples.draw_free import draw_of
from samples.instrument import Instrument
from samples.population import draw_macro
from samples.scene import Scene

PX_PER_MM = (40.0, 130.0)
DRAWN = (0.29, 0.29, 0.27, 0.15)  # how often each family; a broach takes the renderer three times as long, and tells most clearly
FINE_PX_PER_MM = 55.0  # from here on four rays a pixel do: the picture of a lens and a sensor is softer than that
WHOLE = 0.4  # of the instruments that are not hurt at all
# Chance of each kind in an instrument that is hurt; a twist goes wrong in one way at most.
TWISTS, TWIST = ("unwound", "reverse-wound", "overwound"), 0.55
OTHERS = {"crest-chipped": 0.6, "kinked": 0.3, "barbs-folded": 0.5, "barbs-missing": 0.5, "worn": 0.1, "corroded": 0.1, "stained": 0.1}
TIP_LOST, DEBRIS, SCRATCH = 0.25, 0.3, 0.25
MOST_CHIPS = 3
# How broaches are made differs from one to the next, and nothing published says how: slivers and notches of every depth, lying as flat
# as they may. A row of barbs is to be missed because it is gone, whatever was under it.
NOTCH, LYING, STANDING, ACROSS = (0.0, 1.4), (0.05, 0.35), (0.7, 1.3), (0.6, 1.4)
# Half of these: what turns back several times as fast as it was wound looks overwound to who has only seen it turn back slowly.
STRONG_DEG = {"reverse-wound": (120.0, 700.0)}


def draw_damaged(seed: int) -> tuple[Scene, float]:
    """Draw a scene whose picture is a window along part of a shaft, mostly where it is hurt; and the strip's step in px."""
    rng = np.random.default_rng([seed, 21])
    px_per_mm = float(np.exp(rng.uniform(*np.log(PX_PER_MM))))
    instrument = hurt_instrument(rng)
    scene = draw_macro(
        seed, None, "flat" if rng.random() < 0.5 else "free", px_per_mm,
        preset=("phone-12mp", "phone-48mp", "tele-macro")[int(rng.integers(3))],
        light="backlight" if rng.random() < 0.04 else None,
        image_px=(64, 64), instrument=instrument, conditions="hard" if rng.random() < 0.2 else "usual",
    )  # fmt: skip
    scene = replace(scene, supersample=2) if px_per_mm > FINE_PX_PER_MM else scene
    step = step_of(instrument, px_per_mm)
    return aimed(scene, rng, _middle_mm(rng, instrument, COLUMNS * step / px_per_mm), step), step


def hurt_instrument(rng: np.random.Generator) -> Instrument:
    """An instrument of one of the four families with nothing, one or several things wrong, and what is harmless."""
    one = draw_of(rng, ("nominal", "nominal", "wide", "free")[int(rng.integers(4))], FAMILIES[int(rng.choice(4, p=DRAWN))])  # type: ignore[arg-type]
    if one.twist is not None and one.cross_section != "round" and one.number <= 40 and rng.random() < 0.3:
        one = pre_curved(rng, one)
    if rng.random() < 0.25:
        one = bowed(rng, one)
    if one.barbs:
        one = _made_elsewhere(rng, one)
    whole = rng.random() < WHOLE
    if not whole:
        one = _hurt(rng, one)
    if rng.random() < DEBRIS:
        one = marked(rng, one, "debris", float(np.exp(rng.uniform(np.log(0.004), np.log(0.12)))))
    return marked(rng, one, "scratch") if rng.random() < SCRATCH else one


def _made_elsewhere(rng: np.random.Generator, one: Instrument) -> Instrument:
    """The same broach with barbs and notches of another shape, alike all along."""
    notch, lying, standing, across = (float(rng.uniform(*of)) for of in (NOTCH, LYING, STANDING, ACROSS))
    barbs = tuple(
        replace(b, notch=notch, lying=lying, height_mm=b.height_mm * standing, width_mm=b.width_mm * across) for b in one.barbs
    )
    return replace(one, barbs=barbs)


def _hurt(rng: np.random.Generator, one: Instrument) -> Instrument:
    can = damages_of(one)
    kinds = [str(rng.choice(TWISTS))] if "unwound" in can and rng.random() < TWIST else []
    for kind, chance in OTHERS.items():
        if kind in can and rng.random() < chance:
            kinds += [kind] * (int(rng.integers(1, MOST_CHIPS + 1)) if kind == "crest-chipped" else 1)
    if rng.random() < TIP_LOST:
        kinds.append("tip-lost")  # the last, since all places move with the new end
    for kind in kinds:
        one = _with(rng, one, kind)
    return one


def _with(rng: np.random.Generator, one: Instrument, kind: str) -> Instrument:
    """With one more damage; without it where this instrument cannot take what was drawn."""
    strong = kind in STRONG_DEG and rng.random() < 0.5
    strength = float(np.exp(rng.uniform(*np.log(STRONG_DEG[kind])))) if strong else None
    try:
        return with_damage(rng, one, kind, strength)
    except ValueError:
        return one


def _middle_mm(rng: np.random.Generator, one: Instrument, shown_mm: float) -> float:
    """Middle of the window: about a damage mostly, else the tip, else anywhere on the working part."""
    end = one.working_part_mm + 1.0
    places = [0.5 * (d.from_mm + d.to_mm) for d in (*one.damage, *one.marks) if d.kind in HURTS]
    draw = rng.random()
    if places and draw < 0.75:
        return float(rng.choice(places) + rng.uniform(-0.35, 0.35) * shown_mm)
    if draw < 0.85:
        return float(0.5 * shown_mm - rng.uniform(0.3, 1.0))
    return float(rng.uniform(0.3 * shown_mm, max(end - 0.3 * shown_mm, 0.35 * shown_mm)))
