"""Kinds of cameras and of light, each a range to draw from. All names and numbers are ours, within what phones do."""

from dataclasses import dataclass, replace

import numpy as np

from samples.camera import Camera
from samples.light import Backlight, Blocker, Light, Lobe, Rgb
from samples.sensor import Sensor


@dataclass(frozen=True)
class CameraKind:
    """Ranges: px_per_mm, 35 mm-equivalent focal length, real focal length mm, f-number, lens blur px."""

    name: str
    size_px: tuple[int, int]
    px_per_mm: tuple[float, float]
    f35_mm: tuple[float, float]
    crop: float
    f_number: tuple[float, float]
    blur_px: tuple[float, float]
    body_half_mm: tuple[float, float]
    model: str


CAMERAS = {
    kind.name: kind
    for kind in (
        CameraKind("phone-12mp", (4032, 3024), (50, 100), (24, 28), 4.6, (1.6, 1.9), (0.6, 1.1), (75, 36), "P12"),
        CameraKind("phone-48mp", (4032, 3024), (50, 100), (48, 52), 9.2, (1.6, 1.9), (0.9, 1.5), (75, 36), "P48"),
        CameraKind("ultra-wide", (4032, 3024), (50, 100), (13, 16), 7.0, (2.0, 2.4), (0.8, 1.4), (75, 36), "P12W"),
        CameraKind("tele-macro", (4000, 3000), (45, 95), (70, 120), 6.5, (2.8, 3.5), (0.7, 1.3), (75, 36), "P12T"),
        CameraKind("system", (6000, 4000), (60, 140), (90, 150), 1.5, (8, 16), (0.8, 1.5), (60, 45), "S24"),
        CameraKind("usb-microscope", (2592, 1944), (60, 120), (30, 60), 9.0, (4, 8), (0.9, 1.8), (17, 17), "U5"),
    )
}
"""`crop` is f35 / real focal length."""


@dataclass(frozen=True)
class Processing:
    """What a camera does to the picture, beyond the usual: ranges of the fields of the same names in Sensor."""

    denoise: tuple[float, float]
    sharpen: tuple[float, float]
    sharpen_px: tuple[float, float]
    contrast: tuple[float, float]

    def apply(self, rng: np.random.Generator, sensor: Sensor) -> Sensor:
        """The sensor with its treatment drawn from these ranges."""
        return replace(
            sensor,
            denoise=float(rng.uniform(*self.denoise)),
            sharpen=float(rng.uniform(*self.sharpen)),
            sharpen_px=float(rng.uniform(*self.sharpen_px)),
            contrast=float(rng.uniform(*self.contrast)),
        )


PROCESSING = {
    "untreated": Processing((0.0, 0.2), (0.0, 0.2), (0.8, 1.2), (0.0, 0.2)),
    "crisp": Processing((0.3, 0.9), (1.0, 1.8), (0.7, 1.1), (0.3, 0.7)),
    "haloed": Processing((0.5, 1.0), (0.8, 1.8), (1.6, 3.0), (0.3, 0.9)),
    "smeared": Processing((0.9, 1.0), (0.5, 1.2), (1.0, 1.8), (0.2, 0.6)),
}
"""Treatments of hard conditions: none at all; fine and strong sharpening; wide halos; noise and texture smeared away."""


LIGHTS = ("window", "office", "lamp", "overcast", "one-sided", "lit-sheet", "backlight")
"""Soft window; ceiling panels; a small hard lamp; soft from all sides; a dim room with light from one side; the sheet lit
through from below; a raised backlight under a window in the sheet."""


def backlight(rng: np.random.Generator, centre_mm: tuple[float, float], white: float) -> Backlight:
    """A bright screen 70 to 140 mm below the sheet, masked to 0.9 of that across the instrument; `white` its level."""
    depth = float(rng.uniform(70, 140))
    return Backlight(
        centre_mm, (float(rng.uniform(55, 80)), 0.45 * depth), depth, _grey(rng, white), (0.01, 0.01, 0.01)
    )


def draw_light(rng: np.random.Generator, preset: str | None = None) -> Light:
    """A light of the preset, or of a random one; see LIGHTS. 'backlight' has its patch added by the scene."""
    preset = preset or str(rng.choice(LIGHTS[:5]))
    az = float(rng.uniform(0, 360))
    dim = float(rng.uniform(0.10, 0.3))
    low, high = _grey(rng, dim * 0.8), _grey(rng, dim)
    lobes: list[Lobe] = []
    if preset == "window":
        lobes = [_lobe(rng, az, (18, 45), (14, 32), (12, 24), 4.0, 9.0, bars=True)]
    elif preset == "office":
        for k in range(int(rng.integers(2, 5))):
            lobes.append(_lobe(rng, az + 90 * k + float(rng.normal(0, 15)), (35, 70), (5, 16), (3, 7), 1.5, 12.0))
    elif preset == "lamp":
        lobes = [_lobe(rng, az, (25, 60), (3, 7), (3, 7), 1.0, 60.0)]
    elif preset == "overcast":
        low, high = _grey(rng, 0.9), _grey(rng, 1.3)
        lobes = [_lobe(rng, az, (20, 50), (35, 60), (18, 30), 12.0, 1.5)]
    elif preset in ("lit-sheet", "backlight"):
        low, high = _grey(rng, 0.06), _grey(rng, 0.05)
        lobes = [_lobe(rng, az, (15, 40), (15, 30), (8, 15), 8.0, 0.8)]
    else:
        low, high = _grey(rng, 0.06), _grey(rng, 0.08)
        lobes = [_lobe(rng, az, (12, 30), (12, 26), (8, 16), 5.0, 9.0)]
    if preset in ("window", "office", "lamp", "one-sided") and rng.random() < 0.5:
        lobes.append(_lobe(rng, az + float(rng.uniform(120, 240)), (10, 35), (20, 40), (8, 15), 8.0, 0.7))
    glow = _grey(rng, 0.5) if preset == "lit-sheet" else (0.0, 0.0, 0.0)
    return Light(preset, low, high, tuple(lobes), glow)


def _grey(rng: np.random.Generator, level: float) -> Rgb:
    warm = float(rng.normal(0, 0.04))
    return level * (1 + warm), level, level * (1 - warm)


def _lobe(
    rng: np.random.Generator,
    azimuth: float,
    elevation: tuple[float, float],
    width: tuple[float, float],
    height: tuple[float, float],
    soft: float,
    level: float,
    bars: bool = False,
) -> Lobe:
    size = float(rng.uniform(*width)), float(rng.uniform(*height))
    bright = level * float(rng.uniform(0.7, 1.4))
    return Lobe(azimuth % 360, float(rng.uniform(*elevation)), *size, soft, _grey(rng, bright), bars)


def camera_body(kind: CameraKind, rng: np.random.Generator, camera: Camera) -> Blocker:
    """The dark shape of the camera above the sheet: the lens sits near one end of a phone, or in the middle."""
    half, turn = kind.body_half_mm, camera.turn_deg
    x, y, height = (float(v) for v in camera.position)
    phone = half[0] > 70
    off = (half[0] - 18.0, half[1] - 18.0) if phone else (0.0, 0.0)
    sign = rng.choice([-1.0, 1.0], 2)
    c, s = np.cos(np.radians(turn)), np.sin(np.radians(turn))
    u, v = off[0] * sign[0], off[1] * sign[1]
    tone = float(rng.uniform(0.01, 0.08))
    return Blocker((x + float(u * c - v * s), y + float(u * s + v * c)), turn, height, half, 4.0, (tone, tone, tone))
