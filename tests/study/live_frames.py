"""Frames a live camera might give: rendered good ones, and what spoils them, each made from a good one by a known amount."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from samples import render
from samples.draw_free import draw_of
from samples.lay import PoseKind
from samples.population import draw_macro
from samples.scene import Scene
from vision.live.look import Look
from vision.photo import LINEAR

Image = NDArray[np.uint8]
Spoil = Callable[[np.random.Generator, Image, Look], Image]
WIDE, SMALL = (1920, 1080), (1280, 720)
PRESETS = ("usb-microscope", "tele-macro", "phone-48mp")
LEAST_PX_PER_MM, MOST_PX_PER_MM = 41.0, 64.0
FILLED = 0.85  # of the frame's width, at most, by the shaft: somebody who frames it well


def good_frame(seed: int) -> Image:
    """A sharp, square-on, well-lit and well-framed frame of an invented instrument; scale, camera and pose go by the seed."""
    picture, _ = render(good_scene(seed))
    return np.asarray(picture, dtype=np.uint8)


def good_scene(seed: int) -> Scene:
    """Its scene: every second one of 1280 x 720 px where the shaft is short enough for that at 41 px/mm."""
    rng = np.random.default_rng([seed, 77])
    instrument = draw_of(np.random.default_rng(seed), "nominal", None, None)
    most = {size: FILLED * size[0] / (instrument.length_mm + 2.5) for size in (WIDE, SMALL)}
    size = SMALL if seed % 2 == 0 and most[SMALL] > LEAST_PX_PER_MM else WIDE
    px_per_mm = float(rng.uniform(LEAST_PX_PER_MM, min(most[size], MOST_PX_PER_MM)))
    pose: PoseKind = "free" if seed % 3 else "flat"
    scene = draw_macro(seed, None, pose, px_per_mm, preset=PRESETS[seed % 3], image_px=size, instrument=instrument)
    at_instrument = scene.laid[0].pose.height_mm + float(rng.normal(0.0, 0.15))
    return replace(scene, camera=replace(scene.camera, focus_height_mm=at_instrument))


def defocused(rng: np.random.Generator, frame: Image, look: Look) -> Image:
    """The whole frame out of focus by 0.07 to 0.14 mm (Gaussian width)."""
    return _in_light(frame, lambda light: cv2.GaussianBlur(light, (0, 0), rng.uniform(0.07, 0.14) * scale_of(look)))


def focused_on_paper(rng: np.random.Generator, frame: Image, look: Look) -> Image:
    """Out of focus within 1.2 mm of the instrument alone, as when the camera focuses on the sheet."""
    mask = np.zeros(frame.shape[:2], dtype=np.uint8)
    line = np.round(np.array(look.axis_px)).astype(np.int32)
    cv2.polylines(mask, [line], False, 255, thickness=round(2.4 * scale_of(look)))
    share = cv2.GaussianBlur(mask.astype(np.float32) / 255.0, (0, 0), 0.2 * scale_of(look))[..., None]
    soft = rng.uniform(0.07, 0.14) * scale_of(look)
    return _in_light(frame, lambda light: light * (1 - share) + share * cv2.GaussianBlur(light, (0, 0), soft))


def shaken(rng: np.random.Generator, frame: Image, look: Look) -> Image:
    """Moved by 0.25 to 0.6 mm during the exposure."""
    length, way = rng.uniform(0.25, 0.6) * scale_of(look), rng.uniform(0.0, np.pi)
    kernel = np.zeros((2 * int(length) + 1,) * 2, dtype=np.float32)
    step = length / 2.0 * np.array([np.cos(way), np.sin(way)])
    middle = np.array([int(length)] * 2)
    cv2.line(kernel, tuple(np.round(middle - step).astype(int).tolist()), tuple(np.round(middle + step).astype(int).tolist()), 1.0, 1)
    return _in_light(frame, lambda light: cv2.filter2D(light, -1, kernel / kernel.sum()))


def cut_tip(rng: np.random.Generator, frame: Image, look: Look) -> Image:
    """Part of the frame that leaves out the last 0.5 to 4 mm of the tip."""
    return _without_tip(frame, look, rng.uniform(0.5, 4.0))


def cut_shank(rng: np.random.Generator, frame: Image, look: Look) -> Image:
    """Part of the frame that shows the tip and only 6 to 12 mm behind it."""
    axis = np.array(look.axis_px)
    way = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(axis, axis=0), axis=1))])
    at = rng.uniform(6.0, 12.0) * scale_of(look)
    inner = np.array([np.interp(at, way, axis[:, k]) for k in (0, 1)])
    return _half(frame, inner, axis[0])


def glaring(rng: np.random.Generator, frame: Image, look: Look) -> Image:
    """A lamp mirrored by the paper over 1.5 to 4 mm of the working part, at least as bright as the picture can be."""
    axis = np.array(look.axis_px)
    place = axis[int(rng.integers(0, max(len(axis) * 2 // 3, 1)))] + rng.normal(0.0, 0.5, 2) * scale_of(look)
    size = rng.uniform(1.5, 4.0) * scale_of(look)
    y, x = np.indices(frame.shape[:2], dtype=np.float32)
    lamp = rng.uniform(1.2, 3.0) * np.exp(-0.5 * ((x - place[0]) ** 2 + (y - place[1]) ** 2) / size**2)[..., None]
    return _in_light(frame, lambda light: light + lamp.astype(np.float32))


def dark(rng: np.random.Generator, frame: Image, look: Look) -> Image:
    """Exposed so that paper is at 3 to 9 % of white."""
    return _in_light(frame, lambda light: light * (rng.uniform(0.03, 0.09) / max(look.paper or 1.0, 0.1)))


def blown(rng: np.random.Generator, frame: Image, look: Look) -> Image:
    """Exposed so that paper is beyond white by 1.3 to 2.5 times."""
    return _in_light(frame, lambda light: light * (rng.uniform(1.3, 2.5) / max(look.paper or 1.0, 0.1)))


def tilted(rng: np.random.Generator, frame: Image, look: Look) -> Image:  # noqa: ARG001
    """Seen 16 to 28 degrees from the side, through the usual lens."""
    height, width = frame.shape[:2]
    focal, angle, to = width * 35.0 / 36.0, np.radians(rng.uniform(16, 28)), rng.uniform(0, 2 * np.pi)
    camera = np.array([[focal, 0, width / 2], [0, focal, height / 2], [0, 0, 1]])
    turn, _ = cv2.Rodrigues(angle * np.array([np.cos(to), np.sin(to), 0.0]))
    # The picture as a plane at distance 1, turned about its own middle.
    plane = turn @ np.linalg.inv(camera) + np.outer(np.array([0, 0, 1.0]) - turn[:, 2], [0, 0, 1])
    return np.asarray(cv2.warpPerspective(frame, camera @ plane, (width, height), flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT))


def coarse(rng: np.random.Generator, frame: Image, look: Look) -> Image:
    """The same view with 15 to 32 px/mm."""
    share = rng.uniform(15.0, 32.0) / scale_of(look)
    return np.asarray(cv2.resize(frame, None, fx=share, fy=share, interpolation=cv2.INTER_AREA))


SPOILED: dict[str, Spoil] = {
    "defocused": defocused,
    "focused on paper": focused_on_paper,
    "shaken": shaken,
    "tip cut": cut_tip,
    "shank cut": cut_shank,
    "glaring": glaring,
    "dark": dark,
    "overexposed": blown,
    "tilted": tilted,
    "too coarse": coarse,
}


def scale_of(look: Look) -> float:
    """px/mm of a frame that shows the sheet."""
    assert look.px_per_mm is not None
    return look.px_per_mm


def _in_light(frame: Image, change: Callable[[NDArray[np.float32]], NDArray[np.floating]]) -> Image:
    """Change a frame in linear light."""
    light = np.clip(change(LINEAR.astype(np.float32)[frame]), 0.0, 1.0)
    code = np.where(light <= 0.0031308, 12.92 * light, 1.055 * np.maximum(light, 1e-9) ** (1 / 2.4) - 0.055)
    return np.asarray(np.round(255.0 * code), dtype=np.uint8)


def _without_tip(frame: Image, look: Look, loss_mm: float) -> Image:
    axis = np.array(look.axis_px)
    way = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(axis, axis=0), axis=1))])
    border = np.array([np.interp(loss_mm * scale_of(look), way, axis[:, k]) for k in (0, 1)])
    return _half(frame, border, axis[-1])


def _half(frame: Image, border: NDArray[np.floating], keep: NDArray[np.floating]) -> Image:
    """The part of a frame on the side of ``keep`` of a line through ``border``, along the frame's longer difference."""
    axis = int(np.abs(keep - border).argmax())
    at = int(np.clip(border[axis], 1, frame.shape[1 - axis] - 1))
    part = slice(at, None) if keep[axis] > border[axis] else slice(None, at)
    return np.ascontiguousarray(frame[:, part] if axis == 0 else frame[part])
