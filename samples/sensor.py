"""From linear light on the sensor to the phone's picture: noise, colour, sharpening, tone."""

from dataclasses import dataclass

import numpy as np

from samples.arrays import CPU, Array, Backend, Floats
from samples.camera import Camera
from samples.images import demosaiced, gaussian, magnified


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


def expose(linear: Array, camera: Camera, sensor: Sensor, paper_level: float, backend: Backend = CPU) -> Array:
    """Scale so that paper of radiance `paper_level` reaches `exposure`; add cast and vignetting (cos^4-like)."""
    out = linear * float(np.float32(sensor.exposure / paper_level))
    out *= backend.constant(sensor.white_balance)
    h, w = out.shape[:2]
    y, x = (backend.put(np.arange(n, dtype=np.float32) - np.float32((n - 1) / 2)) for n in (h, w))
    r2 = (y[:, None] ** 2 + x[None, :] ** 2) / float(np.float32(camera.half_diagonal_px**2))
    return out * (1.0 - float(np.float32(camera.vignetting)) * r2)[..., None]


def fringe(linear: Array, camera: Camera, backend: Backend = CPU) -> Array:
    """Lateral colour: magnify red and shrink blue about the middle, by `chroma_px` in the corner."""
    if camera.chroma_px == 0.0:
        return linear
    out = 1.0 * linear
    for channel, sign in ((0, 1.0), (2, -1.0)):
        grow = 1.0 + sign * camera.chroma_px / camera.half_diagonal_px
        out[..., channel] = magnified(backend, linear[..., channel], camera.centre_px, grow)
    return out


def add_noise(linear: Array, sensor: Sensor, rng: np.random.Generator, backend: Backend = CPU) -> Array:
    """Shot and read noise: variance = mean / full_well + (read_noise / full_well)^2, in units of the white level."""
    read = float(np.float32((sensor.read_noise / sensor.full_well) ** 2))
    variance = backend.xp.clip(linear, 0.0, None) / float(np.float32(sensor.full_well)) + read
    return linear + backend.xp.sqrt(variance) * backend.put(rng.standard_normal(tuple(linear.shape), np.float32))


def develop(linear: Array, sensor: Sensor, rng: np.random.Generator, backend: Backend = CPU) -> Floats:
    """Noise, mosaic, denoising, sharpening and tone; returns uint8 H x W x 3."""
    spoilt = _through_mosaic if sensor.mosaic else add_noise
    linear = spoilt(linear, sensor, rng, backend)
    if sensor.denoise > 0:
        soft = gaussian(backend, linear, 1.0)
        linear = linear + float(np.float32(sensor.denoise)) * _where_flat(backend, linear, soft, sensor) * (
            soft - linear
        )
    code = encode(linear, sensor.contrast, backend)
    if sensor.sharpen > 0:
        code = code + float(np.float32(sensor.sharpen)) * (code - gaussian(backend, code, sensor.sharpen_px))
    return np.asarray(backend.get(backend.xp.clip(code * 255.0 + 0.5, 0, 255)).astype(np.uint8))


def _through_mosaic(linear: Array, sensor: Sensor, rng: np.random.Generator, backend: Backend) -> Array:
    """One colour a pixel (red, green / green, blue), noise on it, and the other two interpolated back."""
    raw = 1.0 * linear[..., 1]
    raw[0::2, 0::2] = linear[0::2, 0::2, 0]
    raw[1::2, 1::2] = linear[1::2, 1::2, 2]
    raw = add_noise(raw, sensor, rng, backend)
    scale = 16000.0
    counts = backend.xp.clip(raw * scale + 512.0, 0, 1.4 * scale)
    return (demosaiced(backend, counts) - 512.0) / scale


def _where_flat(backend: Backend, linear: Array, soft: Array, sensor: Sensor) -> Array:
    """Weight that is 1 where the picture differs from its blur by noise only and falls to 0 on edges."""
    variance = backend.xp.clip(soft, 0.0, None) / float(np.float32(sensor.full_well)) + float(np.float32(1e-6))
    return 1.0 / (1.0 + (linear - soft) ** 2 / (6.0 * variance))


def encode(linear: Array, contrast: float, backend: Backend = CPU) -> Array:
    """sRGB curve (IEC 61966-2-1), then an optional S-shape; in and out 0..1, float32, from a table of 16-bit levels."""
    level = np.arange(65536) / 65535.0
    code = np.where(level <= 0.0031308, 12.92 * level, 1.055 * level ** (1 / 2.4) - 0.055)
    code += contrast * (code * code * (3 - 2 * code) - code)
    index = backend.as_index(backend.xp.clip(linear, 0.0, 1.0) * 65535.0 + 0.5)
    return backend.rows(backend.put(code), index.reshape(-1)).reshape(linear.shape)
