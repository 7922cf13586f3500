"""The few rendered photos that everything here is made from: invented instruments with their truth, 45 px/mm, small."""

from __future__ import annotations

import io
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from samples import write
from samples.population import draw_macro

Picture = NDArray[np.uint8]
DRAWN = (("k-file", "flat", 30), ("reamer", "flat", 45), ("hedstroem-file", "flat", 35), ("k-file", "free", 50))
PX_PER_MM = 45.0


@dataclass(frozen=True)
class Base:
    """A rendered photo: its picture, the truth of its one instrument, what its camera recorded."""

    name: str
    rgb: Picture
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
    path = folder / f"{seed}.jpg"
    if not path.exists():
        light = "overcast" if seed % 2 else "window"
        first = draw_macro(seed, family, pose, PX_PER_MM, size=size, light=light, preset="phone-12mp")  # type: ignore[arg-type]
        width = int((first.laid[0].instrument.length_mm + 9.0) * PX_PER_MM * 1.02)
        write(
            draw_macro(
                seed, family, pose, PX_PER_MM, size=size, light=light, preset="phone-12mp", image_px=(width, int(0.66 * width))
            ),  # type: ignore[arg-type]
            path,
        )
    with Image.open(io.BytesIO(path.read_bytes())) as image:
        truth = json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))["instruments"][0]
        return Base(f"{family} {seed}", np.asarray(image.convert("RGB")), truth, image.getexif().tobytes(), pose)
