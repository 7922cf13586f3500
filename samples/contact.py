"""A contact sheet: 24 varied small renders with captions, to see at a glance what the renderer can do."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from samples.arrays import Floats
from samples.draw_damage import pre_curved, with_damage
from samples.draw_free import draw_of
from samples.instrument import Family, Instrument, Population
from samples.population import PoseKind, draw_macro, draw_stranger_macro
from samples.render import render
from samples.scene import Scene
from samples.tray import draw_tray
from samples.views import draw_views

IMAGE_PX = (1200, 900)
CELL_PX = (600, 450)
COLUMNS = 6
CAPTION_PX = 26
GAP_PX = 6

Draw = Callable[[int], Scene]


@dataclass(frozen=True)
class Cell:
    """What stands below a picture, and how its scene is drawn from a seed."""

    caption: str
    draw: Draw


def _macro(caption: str, px_per_mm: float, pose: PoseKind, tip: bool = False, **rest: Any) -> Cell:
    """A close-up; with `tip` the camera looks at the working part (`at_tip`)."""

    def draw(seed: int) -> Scene:
        scene = draw_macro(seed, None, pose, px_per_mm, image_px=IMAGE_PX, **rest)
        return at_tip(scene) if tip else scene

    return Cell(caption, draw)


def _of(
    caption: str,
    family: Family,
    px_per_mm: float,
    pose: PoseKind,
    population: Population = "nominal",
    tip: bool = False,
    **rest: Any,
) -> Cell:
    return _hurt(caption, family, (), px_per_mm, pose, population, tip, **rest)


def _hurt(
    caption: str,
    family: Family,
    damage: tuple[tuple[str, float], ...],
    px_per_mm: float,
    pose: PoseKind,
    population: Population = "nominal",
    tip: bool = True,
    curved: bool = False,
    size: int | None = None,
    **rest: Any,
) -> Cell:
    def draw(seed: int) -> Scene:
        rng = np.random.default_rng([seed, 13])
        instrument: Instrument = draw_of(rng, population, family, size)
        instrument = pre_curved(rng, instrument) if curved else instrument
        for kind, strength in damage:
            instrument = with_damage(rng, instrument, kind, strength)
        return _macro(caption, px_per_mm, pose, tip, instrument=instrument, **rest).draw(seed)

    return Cell(caption, draw)


def _stranger(kind: str, **rest: Any) -> Cell:
    return Cell(
        f"stranger: {kind}",
        lambda seed: draw_stranger_macro(seed, kind, "free", 32.0, image_px=IMAGE_PX, **rest),
    )


def _tray(caption: str, count: int, **rest: Any) -> Cell:
    return Cell(caption, lambda seed: draw_tray(seed, count, image_px=(1600, 1200), **rest))


def _second_view(seed: int) -> Scene:
    return draw_views(seed, "untouched", 2, "k-file", "free", 24.0, preset="phone-12mp", image_px=IMAGE_PX)[1]


CELLS: tuple[Cell, ...] = (
    _of("K-file 25, held flat, window", "k-file", 32, "flat", size=25, light="window", preset="phone-12mp"),
    _of("K-file 40, free, office light", "k-file", 32, "free", size=40, light="office", preset="phone-48mp"),
    _of("reamer 35, flat, overcast", "reamer", 32, "flat", size=35, light="overcast", preset="tele-macro"),
    _of("Hedstroem file 30, free, lamp", "hedstroem-file", 32, "free", size=30, light="lamp", preset="phone-12mp"),
    _of("barbed broach 40, flat, window", "barbed-broach", 32, "flat", size=40, light="window", preset="phone-12mp"),
    _tray("tray of 12, some crossing", 12, messy=0.5),
    _hurt("unwound by 200 deg", "k-file", (("unwound", 200.0),), 70, "free", size=25, light="window"),
    _hurt("reverse-wound by 420 deg", "k-file", (("reverse-wound", 420.0),), 70, "flat", size=30, light="office"),
    _hurt("kink of 35 deg", "k-file", (("kinked", 35.0),), 70, "free", size=20, light="overcast"),
    _hurt("tip lost, 2.5 mm", "hedstroem-file", (("tip-lost", 2.5),), 70, "flat", size=35, light="one-sided"),
    _hurt("pre-curved and unwound", "k-file", (("unwound", 120.0),), 60, "free", curved=True, size=20, light="window"),
    _hurt("four barbs folded", "barbed-broach", (("barbs-folded", 4),), 70, "free", size=50, light="lamp"),
    _hurt("stained and corroded", "reamer", (("stained", 0.4), ("corroded", 0.2)), 70, "free", size=60, light="window"),
    _hurt("crest chipped, worn, debris", "reamer", (("crest-chipped", 80.0), ("worn", 55.0), ("debris", 0.04)), 70, "flat", size=70),
    _of("free: any taper and size, K-file", "k-file", 32, "free", "free", light="window"),
    _of("free: any taper and size, reamer", "reamer", 32, "flat", "free", light="office"),
    _of("hard conditions", "hedstroem-file", 24, "free", "wide", conditions="hard"),
    _of("hard conditions", "reamer", 30, "flat", "free", conditions="hard"),
    _of("over a backlit window", "k-file", 32, "flat", size=45, light="backlight"),
    Cell("second view, camera moved across", _second_view),
    _stranger("needle", light="window"),
    _stranger("paper-clip", light="office"),
    _stranger("paste-carrier", light="window"),
    _tray("tray of 20, with strangers", 20, strangers=0.3, messy=0.2),
)  # fmt: skip


def at_tip(scene: Scene) -> Scene:
    """The same with the camera above a place four tenths along the working part, so that the tip is in the middle of things."""
    laid = scene.laid[0]
    part = laid.instrument.working_part_mm
    point = laid.pose.to_sheet(np.array([0.4 * part, 0.0, 0.0]))
    moved = replace(scene.camera, target_mm=(float(point[0]), float(point[1])))
    body = scene.blocker
    if body is not None:
        gone = moved.position - scene.camera.position
        centre = (body.centre_mm[0] + float(gone[0]), body.centre_mm[1] + float(gone[1]))
        body = replace(body, centre_mm=centre)
    return replace(scene, camera=moved, blocker=body)


def contact_sheet(seed: int, cells: tuple[Cell, ...] = CELLS) -> Image.Image:
    """Render every cell, cell k with seed + k, and lay them out in rows of COLUMNS."""
    width, height = CELL_PX[0] + GAP_PX, CELL_PX[1] + CAPTION_PX + GAP_PX
    rows = -(-len(cells) // COLUMNS)
    page = Image.new("RGB", (min(len(cells), COLUMNS) * width + GAP_PX, rows * height + GAP_PX), (250, 250, 250))
    pen, font = ImageDraw.Draw(page), ImageFont.load_default(18)
    for k, cell in enumerate(cells):
        x, y = GAP_PX + k % COLUMNS * width, GAP_PX + k // COLUMNS * height
        picture: Floats = render(cell.draw(seed + k))[0]
        page.paste(Image.fromarray(picture).resize(CELL_PX, Image.Resampling.LANCZOS), (x, y))
        pen.text((x + 4, y + CELL_PX[1] + 2), f"{cell.caption}  (seed {seed + k})", (20, 20, 20), font)
    return page


def write_contact_sheet(path: Path, seed: int) -> None:
    """Render the contact sheet to `path`, PNG or JPEG by its ending."""
    path.parent.mkdir(parents=True, exist_ok=True)
    options: dict[str, Any] = {"quality": 80} if path.suffix.lower() in (".jpg", ".jpeg") else {}
    contact_sheet(seed).save(path, **options)
