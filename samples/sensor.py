"""From linear light on the sensor to the phone's picture: noise, colour, sharpening, tone."""

from dataclasses import dataclass

import cv2
import numpy as np

from samples.arrays import Floats
from samples.camera import Camera


@dataclass(frozen=True)
class Sensor:
    """`full_well`: electrons at the white level; `read_noise`: electrons rms. `white_balance`: gains (r, g, b) left in
    the picture (a cast). `exposure`: linear level that white paper in the middle gets. `sharpen`: strength of the
    unsharp mask of radius `sharpen_px`. `contrast`: 0 plain sRGB, up to 1 for a phone's S-shaped curve.
    """

    full_well: float = 6000.0
    read_noise: float = 3.0
    white_balance: tuple[float, float, float] = (1.0, 1.0, 1.0)
    exposure: float = 0.62
    mosaic: bool = True
    denoise: float = 0.3
    sharpen: float = 0.5
    sharpen_px: float = 1.0
    contrast: float = 0.2
    jpeg_quality: int = 90


def expose(linear: Floats, camera: Camera, sensor: Sensor, paper_level: float) -> Floats:
    """Scale so that paper of radiance `paper_level` reaches `exposure`; add cast and vignetting (cos^4-like)."""
    out = linear * np.float32(sensor.exposure / paper_level)
    out *= np.array(sensor.white_balance, np.float32)
    h, w = out.shape[:2]
    y, x = (np.arange(n, dtype=np.float32) - np.float32((n - 1) / 2) for n in (h, w))
    r2 = (y[:, None] ** 2 + x[None, :] ** 2) / np.float32(camera.half_diagonal_px**2)
    return np.asarray(out * (1.0 - np.float32(camera.vignetting) * r2)[..., None])


def fringe(linear: Floats, camera: Camera) -> Floats:
    """Lateral colour: magnify red and shrink blue about the middle, by `chroma_px` in the corner."""
    if camera.chroma_px == 0.0:
        return linear
    out = linear.copy()
    cx, cy = camera.centre_px
    for channel, sign in ((0, 1.0), (2, -1.0)):
        grow = 1.0 + sign * camera.chroma_px / camera.half_diagonal_px
        shift = np.array([[grow, 0, cx * (1 - grow)], [0, grow, cy * (1 - grow)]])
        size = (linear.shape[1], linear.shape[0])
        plane = np.ascontiguousarray(linear[..., channel])
        out[..., channel] = cv2.warpAffine(plane, shift, size, flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
    return out


def add_noise(linear: Floats, sensor: Sensor, rng: np.random.Generator) -> Floats:
    """Shot and read noise: variance = mean / full_well + (read_noise / full_well)^2, in units of the white level."""
    variance = np.maximum(linear, 0.0) / np.float32(sensor.full_well) + np.float32(
        (sensor.read_noise / sensor.full_well) ** 2
    )
    return np.asarray(linear + np.sqrt(variance) * rng.standard_normal(linear.shape, np.float32))


def develop(linear: Floats, sensor: Sensor, rng: np.random.Generator) -> Floats:
    """Noise, mosaic, denoising, sharpening and tone; returns uint8 H x W x 3."""
    linear = _through_mosaic(linear, sensor, rng) if sensor.mosaic else add_noise(linear, sensor, rng)
    if sensor.denoise > 0:
        soft = cv2.GaussianBlur(linear, (0, 0), 1.0)
        linear = linear + np.float32(sensor.denoise) * _where_flat(linear, soft, sensor) * (soft - linear)
    code = encode(linear, sensor.contrast)
    if sensor.sharpen > 0:
        code = code + np.float32(sensor.sharpen) * (code - cv2.GaussianBlur(code, (0, 0), sensor.sharpen_px))
    return np.asarray(np.clip(code * 255.0 + 0.5, 0, 255).astype(np.uint8))


def _through_mosaic(linear: Floats, sensor: Sensor, rng: np.random.Generator) -> Floats:
    """One colour a pixel (red, green / green, blue), noise on it, and the other two interpolated back."""
    raw = linear[..., 1].copy()
    raw[0::2, 0::2] = linear[0::2, 0::2, 0]
    raw[1::2, 1::2] = linear[1::2, 1::2, 2]
    raw = add_noise(raw, sensor, rng)
    scale = 16000.0
    counts = np.clip(raw * scale + 512.0, 0, 1.4 * scale).astype(np.uint16)
    full = cv2.cvtColor(counts, cv2.COLOR_BayerRGGB2RGB)
    return np.asarray((full.astype(np.float32) - 512.0) / scale)


def _where_flat(linear: Floats, soft: Floats, sensor: Sensor) -> Floats:
    """Weight that is 1 where the picture differs from its blur by noise only and falls to 0 on edges."""
    variance = np.maximum(soft, 0.0) / np.float32(sensor.full_well) + np.float32(1e-6)
    return np.asarray(1.0 / (1.0 + (linear - soft) ** 2 / (np.float32(6.0) * variance)))


def encode(linear: Floats, contrast: float) -> Floats:
    """sRGB curve (IEC 61966-2-1), then an optional S-shape; in and out 0..1, float32, from a table of 16-bit levels."""
    level = np.arange(65536) / 65535.0
    code = np.where(level <= 0.0031308, 12.92 * level, 1.055 * level ** (1 / 2.4) - 0.055)
    code += contrast * (code * code * (3 - 2 * code) - code)
    index = np.clip(linear, 0.0, 1.0) * np.float32(65535.0) + np.float32(0.5)
    return np.asarray(code.astype(np.float32)[index.astype(np.uint16)])
