"""Photos of the sheet as files, warped from its own drawing by a known camera, with the record a camera writes."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from PIL import Image
from test_scale import F35_MM, View, as_photo, texture, warped

FOCAL_MM = 5.6
QUARTERS = {1: 0, 3: 2, 6: 1, 8: 3}


@dataclass(frozen=True)
class Lean(View):
    """A view whose tilt is toward ``lean_deg`` in the picture: 0 tilts about its x axis, 90 about its y axis."""

    lean_deg: float = 0.0

    def rotation(self):
        about = cv2.Rodrigues(np.radians([0.0, 0.0, self.lean_deg]))[0]
        tilt = cv2.Rodrigues(np.radians([self.tilt_deg, 0.0, 0.0]))[0]
        turn = cv2.Rodrigues(np.radians([0.0, 0.0, self.turn_deg]))[0]
        return about @ tilt @ about.T @ turn


# Straight down, and tilted to the four sides; from nearer and from further away.
TOUR = (
    Lean(26.0, tilt_deg=1.0, turn_deg=0.0),
    Lean(26.0, tilt_deg=20.0, turn_deg=10.0, over_mm=(80.0, 140.0)),
    Lean(24.0, tilt_deg=-20.0, turn_deg=95.0, over_mm=(110.0, 120.0)),
    Lean(34.0, tilt_deg=18.0, turn_deg=185.0, over_mm=(120.0, 90.0), lean_deg=90.0),
    Lean(24.0, tilt_deg=-18.0, turn_deg=-80.0, over_mm=(70.0, 100.0), lean_deg=90.0),
    Lean(30.0, tilt_deg=15.0, turn_deg=40.0, over_mm=(90.0, 110.0), lean_deg=45.0),
)


def save_view(path: Path, view: View, *, model: str = "T1", zoom: float | None = None, orientation: int = 1) -> Path:
    """Write one photo; ``orientation``: how its rows are stored (EXIF value 1, 3, 6 or 8)."""
    rgb = as_photo(warped(view, *texture(view)), view.blur_px).rgb
    exif = Image.Exif()
    exif[0x010F], exif[0x0110], exif[0x0112] = "Invented", model, orientation
    more = exif.get_ifd(0x8769)
    more[0x920A], more[0xA405] = FOCAL_MM, round(F35_MM)
    if zoom is not None:
        more[0xA404] = zoom
    stored = np.ascontiguousarray(np.rot90(rgb, QUARTERS[orientation]))
    Image.fromarray(stored).save(path, quality=95, subsampling=0, exif=exif)
    return path
