"""Writes a photo as a phone would: JPEG with EXIF, and the truth as JSON beside it."""

import json
from os import PathLike
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image

from samples.arrays import Floats
from samples.render import render
from samples.scene import Scene

TURNS = {1: 0, 6: 1, 3: 2, 8: 3}
"""EXIF orientation -> quarter turns anticlockwise that the stored pixels have been given."""


def write(scene: Scene, path: str | PathLike[str], orientation: int = 1) -> dict[str, Any]:
    """Render and write `path` (.jpg) and its truth (.json); returns the truth, whose pixels are those of the upright
    picture. orientation: EXIF value 1, 3, 6 or 8; the stored pixels are turned to match.
    """
    picture, truth = render(scene)
    save(picture, truth, path, scene, orientation)
    return truth


def save(picture: Floats, truth: dict[str, Any], path: str | PathLike[str], scene: Scene, orientation: int = 1) -> None:
    """Write a rendered picture and its truth."""
    target = Path(path)
    stored = np.ascontiguousarray(np.rot90(picture, TURNS[orientation]))
    quality = scene.sensor.jpeg_quality
    Image.fromarray(stored).save(
        target, quality=quality, subsampling=0 if quality > 88 else 2, exif=_exif(scene, orientation)
    )
    target.with_suffix(".json").write_text(json.dumps(_plain(truth), separators=(",", ":")) + "\n")


def _exif(scene: Scene, orientation: int) -> Image.Exif:
    """Tags of EXIF 2.32 that phones write; the maker is invented."""
    camera = scene.camera
    exif = Image.Exif()
    exif[0x010F], exif[0x0110], exif[0x0112] = "Invented", camera.model, orientation
    exif[0x0131] = "invented scene"
    exif[0x0132] = "2024:01:01 12:00:00"
    more = exif.get_ifd(0x8769)
    more[0x829D], more[0x920A] = camera.f_number, round(camera.focal_mm, 2)
    more[0xA405] = round(camera.f35_mm)
    more[0x8827], more[0x829A] = 125, 0.01
    more[0xA002], more[0xA003] = camera.width_px, camera.height_px
    return exif


def _plain(value: Any) -> Any:
    """Numbers rounded to what JSON should carry, arrays as lists."""
    if isinstance(value, dict):
        return {key: _plain(v) for key, v in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(v) for v in value]
    if isinstance(value, float | np.floating):
        return round(float(value), 7) if np.isfinite(value) else None
    return value.item() if isinstance(value, np.generic) else value
