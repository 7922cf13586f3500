"""What the accuracy study photographs: set-ups, seeds, and the scenes of each item.

Seeds: every set-up counts up from its own place after ``--seed`` (own renderer) or ``--traced-seed`` (path tracer), so that
more of one set-up moves no other. Development seeds lie below 5000; reported ones must not have been read before.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np

from samples.camera import Camera
from samples.draw_free import draw_of
from samples.instrument import Family, Instrument
from samples.population import draw_macro, draw_stranger_macro
from samples.presets import CAMERAS
from samples.scene import Scene
from samples.views import draw_views

FAMILIES: tuple[Family, ...] = ("k-file", "reamer", "hedstroem-file", "barbed-broach")
POPULATIONS = {"free": 0.6, "nominal": 0.25, "wide": 0.15}
LEAST_D0_MM, THICKEST_MM = 0.14, 1.8  # sizes from 15 up; a size 140 reaches 1.72 mm at D16
PX_PER_MM = (50.0, 140.0)
LEAST_Z_MM = 50.0
PRESETS = ("phone-12mp", "phone-48mp", "phone-48mp", "tele-macro", "system")
BESIDE_MM = 8.0  # picture beyond the shaft, both ends together: the tip's surroundings and some of the handle
HEIGHT_MM, TURN_DEG = (18.0, 22.0), 6.0  # across: the rows of markers on both sides of the lane; turned a little
WIDEST_PX, LEAST_FRAME_MM = 6000, 26.0
HEIGHT_KNOWN_TO = 0.05  # of the camera's height, as the focal length recorded in the photo tells it: rectangular


@dataclass(frozen=True)
class Setup:
    """How the photos of one set-up are taken; ``from_seed`` is where its seeds begin."""

    name: str
    pose: Literal["flat", "free", "either"]
    from_seed: int
    photos: int = 1
    hard: bool = False
    traced: bool = False
    stranger: bool = False
    print_checked: bool = True


SETUPS = {
    one.name: one
    for one in (
        Setup("flat", "flat", 0),
        Setup("same", "free", 2000, photos=2),
        Setup("free", "free", 4000),
        Setup("hard", "either", 6000, hard=True),
        Setup("unchecked", "flat", 7000, print_checked=False),
        Setup("strangers", "free", 8000, stranger=True),
        Setup("traced-flat", "flat", 0, traced=True),
        Setup("traced-free", "free", 500, traced=True),
    )
}


@dataclass(frozen=True)
class Item:
    """One thing to photograph: a set-up and a seed."""

    setup: str
    seed: int

    @property
    def name(self) -> str:
        """Unique name, also of its files."""
        return f"{self.setup}-{self.seed}"


def plan(counts: Mapping[str, int], first: int, first_traced: int) -> list[Item]:
    """Return the items of all set-ups, mixed evenly, so that a run that is cut short has its share of each."""
    rows = []
    for name, count in counts.items():
        start = SETUPS[name].from_seed + (first_traced if SETUPS[name].traced else first)
        rows += [((k + 0.5) / count, Item(name, start + k)) for k in range(count)]
    return [item for _, item in sorted(rows, key=lambda row: (row[0], row[1].name))]


def scenes(item: Item) -> list[Scene]:
    """Draw the scenes of an item: one, or two of the same untouched instrument."""
    setup, rng = SETUPS[item.setup], np.random.default_rng([item.seed, 31])
    pose = ("flat" if (item.seed // len(FAMILIES)) % 2 else "free") if setup.pose == "either" else setup.pose
    px_per_mm = float(rng.uniform(*PX_PER_MM))
    preset = str(rng.choice([name for name in PRESETS if _least_z_mm(name, px_per_mm) >= LEAST_Z_MM]))
    if setup.stranger:
        return [_stranger(item.seed, rng, px_per_mm, preset)]
    piece = instrument(item.seed, rng)
    turn = float(rng.normal(0.0, TURN_DEG)) + 180.0 * float(rng.integers(2))
    how: dict[str, Any] = {"preset": preset, "instrument": piece, "turn_deg": turn, "image_px": _frame(rng, piece.length_mm, px_per_mm)}
    family = FAMILIES[item.seed % len(FAMILIES)]
    if setup.photos > 1:
        return draw_views(item.seed, "untouched", setup.photos, family, pose, px_per_mm, **how)
    return [draw_macro(item.seed, family, pose, px_per_mm, conditions="hard" if setup.hard else "usual", **how)]


def instrument(seed: int, rng: np.random.Generator) -> Instrument:
    """Draw a new, undamaged instrument of the seed's family, no thinner than a 15, no thicker than a 140, by POPULATIONS."""
    family = FAMILIES[seed % len(FAMILIES)]
    population: Any = str(rng.choice(list(POPULATIONS), p=list(POPULATIONS.values())))
    for k in range(200):
        piece = draw_of(np.random.default_rng([seed, 32, k]), population, family)
        sized = piece.size >= 15 or population == "free"
        if sized and piece.d0_mm >= LEAST_D0_MM and piece.shank_width_mm <= THICKEST_MM:
            return piece
    raise ValueError(f"no {family} of size 15 or more in 200 draws of population {population}")


def stated_camera(camera: Camera, seed: int) -> Camera:
    """Return the camera as the photo records it: a focal length, and with it the height, off by up to HEIGHT_KNOWN_TO."""
    off = float(np.random.default_rng([seed, 33]).uniform(-HEIGHT_KNOWN_TO, HEIGHT_KNOWN_TO))
    return replace(camera, f35_mm=camera.f35_mm * (1.0 + off))


def _least_z_mm(preset: str, px_per_mm: float) -> float:
    kind = CAMERAS[preset]
    return kind.size_px[0] * kind.f35_mm[0] / 36.0 / px_per_mm


def _frame(rng: np.random.Generator, length_mm: float, px_per_mm: float) -> tuple[int, int]:
    width = min(round((length_mm + BESIDE_MM) * px_per_mm), WIDEST_PX)
    return width, round(float(rng.uniform(*HEIGHT_MM)) * px_per_mm)


def _stranger(seed: int, rng: np.random.Generator, px_per_mm: float, preset: str) -> Scene:
    """Something else: its length is not known before it is drawn, so it is drawn twice."""
    first = draw_stranger_macro(seed, px_per_mm=px_per_mm, preset=preset)
    wide_mm = float(np.clip(first.laid[0].instrument.length_mm + BESIDE_MM, LEAST_FRAME_MM, 48.0))
    px_per_mm = max(min(px_per_mm, WIDEST_PX / wide_mm), PX_PER_MM[0])
    frame = round(wide_mm * px_per_mm), round(float(rng.uniform(*HEIGHT_MM)) * px_per_mm)
    return draw_stranger_macro(seed, px_per_mm=px_per_mm, preset=preset, image_px=frame)
