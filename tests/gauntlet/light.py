"""What light, lens and sensor do to a picture: functions of an (H, W, 3) uint8 sRGB picture."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.gauntlet.bases import Picture
from vision.photo import LINEAR

Light = NDArray[np.float64]


def linear(rgb: Picture) -> Light:
    return np.asarray(LINEAR[rgb])


def coded(light: Light) -> Picture:
    light = np.clip(light, 0.0, 1.0)
    code = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    return np.asarray(np.rint(255.0 * code), dtype=np.uint8)


def exposed(rgb: Picture, factor: float, noise: float = 0.0, bloom_px: float = 0.0) -> Picture:
    """More or less light; ``noise``: standard deviation of the linear light at half of full light, shot noise."""
    light = linear(rgb) * factor
    if bloom_px:
        light = light + 0.6 * cv2.GaussianBlur(np.maximum(light - 1.0, 0.0), (0, 0), bloom_px)
    if noise:
        grain = np.random.default_rng(7).normal(0.0, 1.0, light.shape)
        light = light + grain * noise * np.sqrt(np.maximum(light, 0.0) + 1e-3)
    return coded(light)


def tinted(rgb: Picture, colour: tuple[float, float, float]) -> Picture:
    return coded(linear(rgb) * colour)


def shaded(rgb: Picture, across: float, width: float, depth: float) -> Picture:
    """A shadow band at a share of the width, ``width`` px of penumbra; ``depth`` is the light that is left."""
    x = np.arange(rgb.shape[1])
    band = 1.0 / (1.0 + np.exp(-(np.abs(x - across * rgb.shape[1]) - 0.12 * rgb.shape[1]) / width))
    return coded(linear(rgb) * (depth + (1.0 - depth) * band)[None, :, None])


def glossy(rgb: Picture, places: list[NDArray[np.float64]], radius_px: float, strength: float) -> Picture:
    """Mirrored lamps on a shiny sheet: bright soft spots."""
    rows, columns = np.indices(rgb.shape[:2])
    light = linear(rgb)
    for x, y in places:
        spot = np.exp(-((np.hypot(columns - x, rows - y) / radius_px) ** 4))
        light = light + strength * spot[..., None]
    return coded(light)


def defocused(rgb: Picture, sigma_px: float) -> Picture:
    return coded(cv2.GaussianBlur(linear(rgb), (0, 0), sigma_px))


def smeared(rgb: Picture, along: NDArray[np.float64], length_px: float) -> Picture:
    """Motion blur: the mean over a straight path of that length."""
    steps = np.linspace(-0.5, 0.5, max(int(length_px) + 1, 2)) * length_px
    return _mean_of_shifts(rgb, [along / np.linalg.norm(along) * step for step in steps])


def shaken(rgb: Picture, apart_px: float) -> Picture:
    """Two exposures in one: the hand held still twice."""
    return _mean_of_shifts(rgb, [np.zeros(2), np.array([0.6, 0.8]) * apart_px])


def _mean_of_shifts(rgb: Picture, shifts: list[NDArray[np.float64]]) -> Picture:
    light = linear(rgb).astype(np.float32)
    size = (rgb.shape[1], rgb.shape[0])
    total = np.zeros_like(light)
    for dx, dy in shifts:
        move = np.array([[1.0, 0.0, dx], [0.0, 1.0, dy]])
        total += cv2.warpAffine(light, move, size, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return coded(total / len(shifts))


def noisy(rgb: Picture, sigma_code: float) -> Picture:
    grain = np.random.default_rng(8).normal(0.0, sigma_code, rgb.shape)
    return np.asarray(np.clip(rgb + grain, 0, 255), dtype=np.uint8)


def sharpened(rgb: Picture, amount: float, radius_px: float) -> Picture:
    soft = cv2.GaussianBlur(rgb.astype(np.float32), (0, 0), radius_px)
    return np.asarray(np.clip(rgb + amount * (rgb - soft), 0, 255), dtype=np.uint8)


def wiped_smooth(rgb: Picture, size_px: int) -> Picture:
    return np.asarray(cv2.medianBlur(rgb, size_px), dtype=np.uint8)


def coarse_jpeg(rgb: Picture, quality: int) -> Picture:
    _, data = cv2.imencode(".jpg", rgb[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])
    return np.ascontiguousarray(cv2.imdecode(data, cv2.IMREAD_COLOR)[..., ::-1])


def resized(rgb: Picture, factor: float) -> Picture:
    return np.asarray(cv2.resize(rgb, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA), dtype=np.uint8)


def through_a_messenger(rgb: Picture, factor: float) -> Picture:
    """Made small, coded hard, blown up again."""
    small = coarse_jpeg(resized(rgb, factor), 70)
    return np.asarray(cv2.resize(small, (rgb.shape[1], rgb.shape[0]), interpolation=cv2.INTER_CUBIC), dtype=np.uint8)


def fringed(rgb: Picture, shift_px: float) -> Picture:
    """Red and blue seen a little larger and smaller than green, from the picture's middle."""
    result = rgb.copy()
    height, width = rgb.shape[:2]
    for channel, sign in ((0, 1.0), (2, -1.0)):
        zoom = 1.0 + sign * shift_px / (width / 2.0)
        move = np.array([[zoom, 0.0, (1 - zoom) * width / 2], [0.0, zoom, (1 - zoom) * height / 2]])
        result[..., channel] = cv2.warpAffine(rgb[..., channel], move, (width, height), borderMode=cv2.BORDER_REPLICATE)
    return result


def on_a_screen(rgb: Picture, pitch_px: float, turn_deg: float, black: float) -> Picture:
    """Everything shown by dots of red, green and blue stripes between black bars; ``black``: how dark the bars are."""
    rows, columns = np.indices(rgb.shape[:2])
    c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    u, v = (c * columns + s * rows) / pitch_px, (c * rows - s * columns) / pitch_px
    mask = np.empty(rgb.shape)
    for k in range(3):
        stripe = 0.5 + 0.5 * np.cos(2 * np.pi * (u - k / 3.0))
        mask[..., k] = (1.0 - black) + black * 2.0 * stripe * (0.75 + 0.25 * np.cos(2 * np.pi * v))
    mask = cv2.GaussianBlur(mask, (0, 0), 0.8)
    return coded(linear(rgb) * mask)
