"""The few rendered photos that everything here is made from: invented instruments with their truth, 45 px/mm, small."""

from __future__ import annotations

import io
import json
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from samples import write
from samples.population import draw_macro
from samples.scene import Laid, Scene

Picture = NDArray[np.uint8]
DRAWN = (("k-file", "flat", 30), ("reamer", "flat", 45), ("hedstroem-file", "flat", 35), ("k-file", "free", 50))
PX_PER_MM = 45.0


@dataclass(frozen=True)
class Base:
    """A rendered photo: its picture, the truth of its one instrument, what its camera recorded.

    ``bare`` is the same photo without the instrument.
    """

    name: str
    rgb: Picture
    bare: Picture
    truth: dict[str, Any]
    exif: bytes
    pose: str

    @property
    def tip_px(self) -> NDArray[np.float64]:
        return np.array(self.truth["tip_px"])

    @property
    def front_px(self) -> NDArray[np.float64]:
        return np.array(self.truth["handle_px"])

    def at(self, share: float) -> NDArray[np.float64]:
        """Place on the axis: 0 at the tip, 1 at the handle's front."""
        return self.tip_px + share * (self.front_px - self.tip_px)


def bases(folder: Path, seed: int) -> list[Base]:
    """Render the photos unless they are there already; seeds below 5000 are for building, from 9000 on for reporting."""
    folder.mkdir(parents=True, exist_ok=True)
    return [_base(folder, seed + number, *drawn) for number, drawn in enumerate(DRAWN)]


def _base(folder: Path, seed: int, family: str, pose: str, size: int) -> Base:
    path, bare = folder / f"{seed}.jpg", folder / f"{seed}-bare.jpg"
    if not path.exists() or not bare.exists():
        scene = _scene(seed, family, pose, size)
        write(scene, path)
        write(replace(scene, laid=(_far_off(scene.laid[0]),)), bare)
    with Image.open(io.BytesIO(path.read_bytes())) as image, Image.open(bare) as empty:
        truth = json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))["instruments"][0]
        pictures = np.asarray(image.convert("RGB")), np.asarray(empty.convert("RGB"))
        return Base(f"{family} {seed}", *pictures, truth, image.getexif().tobytes(), pose)


def of_sample(path: Path, pose: str, factor: float) -> Base:
    """A base from a photo that is there already, made smaller; its ``bare`` picture is a grey nothing."""
    with Image.open(path) as image:
        small = image.convert("RGB").resize((round(image.width * factor), round(image.height * factor)), Image.Resampling.BOX)
        exif = image.getexif().tobytes()
    truth = json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))["instruments"][0]
    for name in ("tip_px", "handle_px"):
        truth[name] = [(value + 0.5) * factor - 0.5 for value in truth[name]]
    rgb = np.asarray(small)
    return Base(path.stem, rgb, np.full_like(rgb, 128), truth, exif, pose)


def _far_off(laid: Laid) -> Laid:
    """The renderer wants an instrument: it lies where the camera does not look."""
    return replace(laid, pose=replace(laid.pose, x_mm=laid.pose.x_mm + 400.0))


def _scene(seed: int, family: str, pose: str, size: int) -> Scene:
    light = "overcast" if seed % 2 else "window"
    drawn = partial(draw_macro, seed, family, pose, PX_PER_MM, size=size, light=light, preset="phone-12mp")
    width = int((drawn().laid[0].instrument.length_mm + 9.0) * PX_PER_MM * 1.02)
    return drawn(image_px=(width, int(0.66 * width)))
