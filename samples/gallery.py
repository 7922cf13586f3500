"""The sample photos that come with the project: one recipe a photo, reproducible by seed."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from samples.draw_damage import bleached, pre_curved, with_damage
from samples.draw_instrument import draw_instrument
from samples.instrument import Family, Instrument
from samples.lay import PoseKind
from samples.photo import write
from samples.population import draw_macro
from samples.scene import Scene

Change = Callable[[np.random.Generator, Instrument], Instrument]


@dataclass(frozen=True)
class Recipe:
    """A photo's name, seed and what is special about it."""

    name: str
    seed: int
    family: Family
    size: int
    pose: PoseKind
    light: str
    camera: str = "phone-12mp"
    px_per_mm: float = 60.0
    change: Change | None = None
    orientation: int = 1


def _hurt(kind: str, strength: float) -> Change:
    return lambda rng, instrument: with_damage(rng, instrument, kind, strength)


def _bleach(rng: np.random.Generator, instrument: Instrument) -> Instrument:
    return replace(instrument, handle=bleached(rng, instrument.handle))


RECIPES = (
    Recipe("k-file-25-flat", 101, "k-file", 25, "flat", "window"),
    Recipe("k-file-40-free", 102, "k-file", 40, "free", "office"),
    Recipe("k-file-30-flat-unwound", 103, "k-file", 30, "flat", "overcast", change=_hurt("unwound", 220.0)),
    Recipe("k-file-20-flat-kinked", 122, "k-file", 20, "flat", "window", px_per_mm=80.0, change=_hurt("kinked", 28.0)),
    Recipe("k-file-15-free-pre-curved", 125, "k-file", 15, "free", "overcast", "tele-macro", 80.0, pre_curved),
    Recipe("k-file-35-free-bleached", 106, "k-file", 35, "free", "lamp", change=_bleach, orientation=6),
    Recipe("reamer-35-flat", 107, "reamer", 35, "flat", "office"),
    Recipe("reamer-50-free", 108, "reamer", 50, "free", "window", "phone-48mp"),
    Recipe("hedstroem-file-30-free", 109, "hedstroem-file", 30, "free", "one-sided"),
    Recipe(
        "hedstroem-file-25-flat-tip-lost", 110, "hedstroem-file", 25, "flat", "window", change=_hurt("tip-lost", 2.6)
    ),
    Recipe("barbed-broach-40-flat", 111, "barbed-broach", 40, "flat", "window"),
    Recipe("k-file-80-free", 114, "k-file", 80, "free", "overcast"),
)


def scene_of(recipe: Recipe) -> Scene:
    """The scene of one recipe; phone-like quality, so that the collection stays small."""
    rng = np.random.default_rng(recipe.seed)
    instrument = draw_instrument(rng, recipe.family, recipe.size)
    if recipe.change is not None:
        instrument = recipe.change(rng, instrument)
    scene = draw_macro(
        recipe.seed,
        recipe.family,
        recipe.pose,
        recipe.px_per_mm,
        preset=recipe.camera,
        light=recipe.light,
        sheet_id="A4-1",
        instrument=instrument,
    )
    sensor = replace(scene.sensor, jpeg_quality=88, full_well=max(scene.sensor.full_well, 6000.0), denoise=0.7)
    return replace(scene, sensor=sensor)


def write_gallery(folder: Path, only: str = "") -> Iterator[Path]:
    """Render every recipe whose name contains `only` into `folder`; yields each photo's path once it is written."""
    folder.mkdir(parents=True, exist_ok=True)
    for recipe in RECIPES:
        if only in recipe.name:
            path = folder / f"{recipe.name}.jpg"
            write(scene_of(recipe), path, recipe.orientation)
            yield path
